package intake_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/intake"
	"spanyard.example/services/layout/internal/sharedtest"
)

var loads = design.Loads{Category: "A", ImposedKNPerM2: 2, FinishesKNPerM2: 0.15}

// drawing makes a DXF of closed outlines, each on a layer, and texts.
func drawing(units string, parts ...string) []byte {
	head := "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1015\n"
	if units != "" {
		head += "9\n$INSUNITS\n70\n" + units + "\n"
	}
	return []byte(head + "0\nENDSEC\n0\nSECTION\n2\nENTITIES\n" + strings.Join(parts, "") + "0\nENDSEC\n0\nEOF\n")
}

func ring(layer, handle string, corners ...float64) string {
	s := fmt.Sprintf("0\nLWPOLYLINE\n5\n%s\n8\n%s\n70\n1\n", handle, layer)
	for i := 0; i < len(corners); i += 2 {
		s += fmt.Sprintf("10\n%g\n20\n%g\n", corners[i], corners[i+1])
	}
	return s
}

func text(value string, x, y float64) string {
	return fmt.Sprintf("0\nTEXT\n8\nT\n10\n%g\n20\n%g\n1\n%s\n", x, y, value)
}

func TestRoomsAndProblems(t *testing.T) {
	in, err := intake.FromDXF("f.dxf", drawing("6",
		ring("ROOMS", "A1", 0, 0, 4, 0, 4, 3, 0, 3), text("Hall", 2, 2), text("12.00 m2", 2, 1),
		ring("ROOMS", "A2", 4.2, 0, 8, 0, 8, 3, 4.2, 3),
		ring("ROOMS", "A3", 5, 1, 6, 1, 6, 2, 5, 2),
		ring("ROOMS", "A4", 10, 0, 14, 3, 14, 0, 10, 3),
		ring("ROOMS", "A5", 20, 0, 20.5, 0, 20.5, 0.5, 20, 0.5),
		ring("VOID", "B1", 1, 1, 2, 1, 2, 2, 1, 2), ring("VOID", "B2", 30, 30, 31, 30, 31, 31)),
		intake.Settings{RoomLayers: []string{"rooms"}, OpeningLayers: []string{"VOID*"}, SmallestM2: 1, Loads: loads})
	if err != nil {
		t.Fatal(err)
	}
	if len(in.Rooms) != 2 || in.Rooms[0].ID != "Hall" || in.Rooms[1].ID != "02" || len(in.Rooms[0].Shape.Holes) != 1 {
		t.Errorf("rooms: %+v", in.Rooms)
	}
	want := map[string]string{"A3": "overlaps the room", "A4": "crosses itself", "A5": "smaller than 1 m2", "B2": "lies in no room"}
	for _, p := range in.Problems {
		for handle, what := range want {
			if strings.Contains(p.Entity, handle) && strings.Contains(p.What, what) {
				delete(want, handle)
			}
		}
	}
	if len(want) > 0 {
		t.Errorf("not named: %v; got %v", want, in.Problems)
	}
}

func TestWrongDrawingsAreRefusedWithWords(t *testing.T) {
	square := ring("R", "1", 0, 0, 4000, 0, 4000, 3000, 0, 3000)
	s := intake.Settings{RoomLayers: []string{"R"}, Loads: loads}
	for reason, c := range map[string]struct {
		content []byte
		says    string
	}{
		"DRAWING_UNIT":       {drawing("", square), "4 m in millimetres"},
		"DRAWING_SIZE":       {drawing("6", square), "4e+03 m by 3e+03 m"},
		"DRAWING_NO_ROOMS":   {drawing("4", strings.ReplaceAll(square, "8\nR\n", "8\nWALLS\n")), "WALLS (1)"},
		"DRAWING_UNREADABLE": {[]byte("no drawing"), "not a DXF file"},
	} {
		_, err := intake.FromDXF("f.dxf", c.content, s)
		if fault.ReasonOf(err) != reason || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", reason, err)
		}
	}
}

// TestRealDrawings takes in every public drawing with all its layers as
// rooms: each gives rooms or is refused with words, none takes long.
func TestRealDrawings(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(sharedtest.Dir(t, "floors", "dxf"), "*.dxf"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	gave := 0
	for _, f := range files {
		content, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, unit := range []float64{0, 10} {
			began := time.Now()
			in, err := intake.FromDXF(filepath.Base(f), content, intake.Settings{RoomLayers: []string{"*"}, UnitMM: unit, SmallestM2: 1, Loads: loads})
			if took := time.Since(began); took > 15*time.Second {
				t.Errorf("%s took %v", filepath.Base(f), took)
			}
			if err != nil && fault.KindOf(err) != fault.Invalid {
				t.Errorf("%s: %v", filepath.Base(f), err)
			}
			for _, p := range in.Problems {
				if p.Entity == "" || p.What == "" {
					t.Errorf("%s: a problem without words: %+v", filepath.Base(f), p)
				}
			}
			if len(in.Rooms) > 0 {
				gave++
			}
		}
	}
	if gave < 12 {
		t.Errorf("rooms came of %d drawings only", gave)
	}
}
