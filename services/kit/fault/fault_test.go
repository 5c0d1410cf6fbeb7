package fault_test

import (
	"slices"
	"testing"

	"spanyard.example/services/kit/fault"
)

// What the sentence says of a place is not said again under it.
func TestLinesDoNotRepeatTheSentence(t *testing.T) {
	err := fault.New(fault.Stale, "TOO_YOUNG", "Batch B1 cannot be released: it is too young.").
		At("age", "8 days", "it is too young", "14 days or more").
		At("state", "", "it is too young", "").
		At("tests", "", "no test of it is recorded", "at least one test").
		At("batch_id", "B1", "is unknown", "")
	want := []string{
		`age: "8 days"; allowed: 14 days or more`,
		"tests: no test of it is recorded; allowed: at least one test",
		`batch_id: "B1" is unknown`,
	}
	if got := err.Lines(); !slices.Equal(got, want) {
		t.Errorf("lines\n%q, want\n%q", got, want)
	}
}
