package promises

import (
	"testing"
	"time"
)

// told is a short history: who was told what, and when.
type told struct {
	question        Question
	answer          Answer
	asked, answered time.Duration
}

func judge(history []told) error {
	h := &History{}
	for caller, t := range history {
		t.question.Batch = "B"
		h.Add(caller, t.question, t.answer, t.asked, t.answered)
	}
	return h.Judge(10 * time.Second)
}

// TestJudge: short histories whose verdict is plain.
func TestJudge(t *testing.T) {
	done, no, open := Answer{}, Answer{Outcome: Refused}, Answer{Outcome: Unknown}
	first := Question{Kind: Reserve, Beams: 0b01, Reservation: 0}
	second := Question{Kind: Reserve, Beams: 0b11, Reservation: 1}
	drop, pick, stop := Question{Kind: Drop}, Question{Kind: Pick, Beams: 0b01}, Question{Kind: Quarantine}
	lift, release, back := Question{Kind: Lift}, Question{Kind: Release}, Question{Kind: Return, Beams: 0b01}
	freed := Answer{Freed: 0b01}
	for _, c := range []struct {
		name    string
		history []told
		right   bool
	}{
		{"one of two has it", []told{{first, done, 0, 10}, {second, no, 5, 15}}, true},
		{"promised twice", []told{{first, done, 0, 10}, {second, done, 5, 15}}, false},
		{"promised twice, much later", []told{{first, done, 0, 10}, {second, done, 500, 510}}, false},
		{"refused although nobody has it", []told{{first, no, 0, 10}, {second, done, 20, 30}}, false},
		{"refused on old news", []told{{first, done, 0, 10}, {drop, freed, 20, 30}, {second, no, 40, 50}}, false},
		{"refused while it is being dropped", []told{{first, done, 0, 10}, {drop, freed, 20, 45}, {second, no, 40, 50}}, true},
		{"freed what it does not hold", []told{{first, done, 0, 10}, {drop, Answer{Freed: 0b10}, 20, 30}}, false},
		{"freed nothing although it holds", []told{{first, done, 0, 10}, {drop, done, 20, 30}}, false},
		{"a reservation forgotten", []told{{first, done, 0, 10}, {drop, no, 20, 30}}, false},
		{"unknown, and it happened", []told{{first, open, 0, 10}, {second, no, 20, 30}}, true},
		{"unknown, and it did not", []told{{first, open, 0, 10}, {second, done, 20, 30}}, true},
		{"unknown, and it happened in between", []told{{first, open, 0, 10}, {drop, no, 11, 12}, {second, no, 20, 30}}, true},
		{"unknown, happened and undone", []told{{first, open, 0, 10}, {second, no, 20, 30}, {second, done, 40, 50}}, false},
		{"picked and not to be dropped", []told{{first, done, 0, 10}, {pick, done, 20, 30}, {drop, done, 40, 50}}, true},
		{"picked and dropped all the same", []told{{first, done, 0, 10}, {pick, done, 20, 30}, {drop, freed, 40, 50}}, false},
		{"picked twice", []told{{first, done, 0, 10}, {pick, done, 20, 30}, {pick, done, 40, 50}}, false},
		{"picked out of quarantine", []told{{first, done, 0, 10}, {stop, done, 20, 30}, {pick, done, 40, 50}}, false},
		{"promised out of quarantine", []told{{stop, done, 0, 10}, {first, done, 20, 30}}, false},
		{"promised when released again", []told{{stop, done, 0, 10}, {lift, done, 20, 30}, {release, done, 40, 50}, {first, done, 60, 70}}, true},
		{"brought back and promised again", []told{{first, done, 0, 10}, {pick, done, 20, 30}, {back, done, 40, 50}, {second, done, 60, 70}}, true},
		{"brought back without having left", []told{{first, done, 0, 10}, {back, done, 40, 50}}, false},
	} {
		if err := judge(c.history); (err == nil) != c.right {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
