package yard_test

import (
	"testing"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// TestRetest: results that fail stop a batch until a retest of at least as many
// specimens conforms and a named person lifts the quarantine; the failed ones
// stay on record.
func TestRetest(t *testing.T) {
	now := yardtest.Start
	s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: yardtest.CommonRules("Etc/UTC")})
	day := s.Day(now)
	do := func(c yard.Command) {
		t.Helper()
		events, err := yard.Decide(s, c)
		if err != nil {
			t.Fatal(err)
		}
		s = yard.EvolveAll(s, events)
	}
	test := func(id string, age int, strengths ...conformity.MilliMPa) {
		t.Helper()
		do(yard.RecordTest{BatchID: "B1", TestID: id, Laboratory: "Fennmoor Lab", TestedOn: day - 40 + 1 + civil.Day(age), Specimen: yard.Cylinder, Strengths: strengths, By: "Ida Lorn", At: now})
	}
	release := func() error {
		_, err := yard.Decide(s, yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: now})
		return err
	}
	do(yard.ReceiveBatch{BatchID: "B1", Kind: yard.Beams, MadeOn: day - 39, Profile: "T15", WirePattern: "W3", At: now, Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000},
		Lines: []yard.BeamLine{{LengthMM: 4200, Count: 5, MassGEach: 90_000, StackID: "S1"}}})
	test("T14", 14, 34_000, 35_000, 34_500)
	if b, _ := s.Batch("B1"); b.State != yard.Quarantined {
		t.Fatal("results that fail do not stop the batch")
	}
	test("T28a", 28, 47_000)
	do(yard.LiftQuarantine{BatchID: "B1", By: "Oda Brink", Reason: "one good specimen"})
	if fault.ReasonOf(release()) != "TEST_FAILED" {
		t.Errorf("one good specimen after three bad ones: %v", release())
	}
	test("T28b", 28, 48_000, 47_500)
	if err := release(); err != nil {
		t.Errorf("three good specimens at 28 days: %v", err)
	}
	b, _ := s.Batch("B1")
	if all := b.Judgements(); len(all) != 2 || all[0].Verdict.Conforms || !all[0].Superseded || all[1].Superseded {
		t.Errorf("on record are %+v", all)
	}
}
