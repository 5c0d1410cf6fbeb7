package design

import (
	"math"
	"testing"

	"spanyard.example/services/layout/internal/arrange"
)

// TestTrimmerVerdictsByHand: 10 kN permanent and 4 kN imposed in the middle of
// 2 m bend as much as 2 P/L spread evenly. With 14.5 kg/m of its own:
// 1.35 x 0.1422 + (1.35 x 10 + 1.5 x 4) x 2 / 2 = 19.69 kN/m at ultimate and
// 0.1422 + 14 x 2 / 2 = 14.14 kN/m in service.
func TestTrimmerVerdictsByHand(t *testing.T) {
	c := invented()
	h := arrange.Header{ClearMM: 2000, Forces: []arrange.PointForce{{AtMM: 1000, Force: arrange.Force{PermanentN: 10_000, VariableN: 4000}}}}
	v := c.TrimmerVerdicts(h, "A")
	if math.Abs(v[0].Demand-19.692) > 0.001 || v[0].Capacity != 17 || v[0].Passes || math.Abs(v[1].Demand-14.142) > 0.001 || v[1].Capacity != 11 || v[1].Passes {
		t.Errorf("H100: %+v", v)
	}
	h.Trimmer = 1 // 24 kg/m, 21 and 14 kN/m up to 3 m
	if v = c.TrimmerVerdicts(h, "A"); !v[0].Passes || v[1].Passes {
		t.Errorf("H140: %+v", v)
	}
}
