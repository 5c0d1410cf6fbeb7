package office_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/office"
	"spanyard.example/services/layout/internal/officetest"
)

func changes(c office.Comparison) []string {
	var out []string
	for _, x := range c.Changes {
		what := map[office.ChangeKind]string{office.Added: "added", office.Removed: "removed", office.Remade: "remade", office.Moved: "moved"}[x.Kind]
		out = append(out, fmt.Sprintf("%s %s %d to %d by %.0f", x.Mark, what, x.Before.LengthMM, x.After.LengthMM, x.MovedMM))
	}
	return out
}

// TestCompare edits a floor of two rooms of 5 and 4 beams and says beam by
// beam what has become of it.
func TestCompare(t *testing.T) {
	zero, ninety := 0.0, 90.0
	hall, study := officetest.Box("01", 1, 0, 0, 3000, 3060), officetest.Box("02", 2, 4000, 0, 3000, 2400)
	hall.DirectionDegrees, study.DirectionDegrees = &zero, &zero
	square := officetest.Box("03", 3, 8000, 0, 3060, 3060)
	square.DirectionDegrees = &zero
	turned := square
	turned.DirectionDegrees = &ninety
	s := must(t, withCatalogue(t), drawn(hall, study, square))
	first := newest(s)
	if n := len(first.Rooms[0].Beams); n != 5 {
		t.Fatalf("the hall has %d beams", n)
	}
	with := func(rooms ...design.Room) office.Plan {
		t.Helper()
		return newest(must(t, withCatalogue(t), drawn(rooms...)))
	}
	longer := officetest.Box("01", 1, 0, 0, 3200, 3060)
	aside := officetest.Box("01", 1, 0, 20, 3000, 3060)
	narrower := officetest.Box("01", 1, 0, 0, 3000, 2550)
	longer.DirectionDegrees, aside.DirectionDegrees, narrower.DirectionDegrees = &zero, &zero, &zero
	late, early := hall, study
	late.Order, early.Order = 2, 1
	five := func(format string, args ...any) []string {
		var out []string
		for i := range 5 {
			out = append(out, fmt.Sprintf("1-01-%02d ", i+1)+fmt.Sprintf(format, args...))
		}
		return out
	}
	for name, c := range map[string]struct {
		after   office.Plan
		changes []string
		rest    office.Comparison
	}{
		"nothing":     {after: with(hall, study, square), rest: office.Comparison{Unchanged: 14}},
		"remade":      {after: with(longer, study, square), changes: five("remade 3200 to 3400 by 200"), rest: office.Comparison{Unchanged: 9}},
		"moved":       {after: with(aside, study, square), changes: five("moved 3200 to 3200 by 20"), rest: office.Comparison{Unchanged: 9}},
		"removed":     {after: with(narrower, study, square), changes: five("removed 3200 to 0 by 0")[4:], rest: office.Comparison{Unchanged: 13}},
		"room gone":   {after: with(study, square), changes: five("removed 3200 to 0 by 0"), rest: office.Comparison{Unchanged: 9, RoomsRemoved: []string{"01"}}},
		"other order": {after: with(late, early, square), rest: office.Comparison{Unchanged: 14, OrderChanged: true}},
	} {
		t.Run(name, func(t *testing.T) {
			got := office.Compare(first, c.after)
			if d := cmp.Diff(c.changes, changes(got)); d != "" {
				t.Errorf("changes (-want +got):\n%s", d)
			}
			got.Changes = nil
			if d := cmp.Diff(c.rest, got); d != "" {
				t.Errorf("the rest (-want +got):\n%s", d)
			}
		})
	}
	// Turned about its middle, a beam lies elsewhere even if its middle stays.
	if c := office.Compare(first, with(hall, study, turned)); len(c.Changes) != 5 || c.Unchanged != 9 {
		t.Errorf("turned: %v, %d unchanged", changes(c), c.Unchanged)
	}
	if c := office.Compare(with(study), first); len(c.RoomsAdded) != 2 || c.Unchanged != 4 || len(c.Changes) != 10 {
		t.Errorf("two rooms more: %+v", c)
	}
}

// TestCompareSchedules: places of rooms of a schedule are not true, so nothing
// in them moves.
func TestCompareSchedules(t *testing.T) {
	wide := row(2, mill.Job, mill.Floor, "01", 1)
	wide.Room.ClearSpanMM = 3300
	s := must(t, withCatalogue(t), draft(row(2, mill.Job, mill.Floor, "01", 1), row(3, mill.Job, mill.Floor, "02", 2)), draft(wide, row(3, mill.Job, mill.Floor, "02", 2)))
	r := s.Revisions(mill)
	c := office.Compare(r[0].Plan, r[1].Plan)
	if len(c.Changes) != 5 || c.Unchanged != 5 {
		t.Fatalf("%v, %d unchanged", changes(c), c.Unchanged)
	}
	for _, x := range c.Changes {
		if x.Kind != office.Remade || x.MovedMM != 0 {
			t.Errorf("%+v", x)
		}
	}
}

// TestCompareBothWays: a plan does not differ from itself, and what is added
// one way is removed the other way.
func TestCompareBothWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan := func(name string) office.Plan {
			s := office.Evolve(office.New(), decided(t, office.New(), office.SetCatalogue{Catalogue: officetest.Catalogue()}))
			var rooms []design.Room
			for i := range rapid.IntRange(1, 3).Draw(t, name) {
				rooms = append(rooms, officetest.Box(fmt.Sprintf("%02d", i+1), rapid.IntRange(1, 9).Draw(t, "order"), float64(i)*6000, 0,
					float64(500*rapid.IntRange(2, 9).Draw(t, "w")), float64(500*rapid.IntRange(2, 9).Draw(t, "h"))))
			}
			return newest(office.Evolve(s, decided(t, s, drawn(rooms...))))
		}
		a, b := plan("before"), plan("after")
		if c := office.Compare(a, a); len(c.Changes)+len(c.RoomsAdded)+len(c.RoomsRemoved) > 0 || c.OrderChanged || c.Unchanged != a.Totals().Beams {
			t.Fatalf("a plan differs from itself: %+v", c)
		}
		there, back := office.Compare(a, b), office.Compare(b, a)
		count := func(c office.Comparison) (n [5]int) {
			for _, x := range c.Changes {
				n[x.Kind]++
			}
			return n
		}
		n, m := count(there), count(back)
		m[office.Added], m[office.Removed] = m[office.Removed], m[office.Added]
		if n != m || there.Unchanged != back.Unchanged || there.OrderChanged != back.OrderChanged {
			t.Fatalf("there %v and %d unchanged, back %v and %d", n, there.Unchanged, m, back.Unchanged)
		}
		if d := cmp.Diff(there.RoomsAdded, back.RoomsRemoved); d != "" {
			t.Fatal(d)
		}
		if all := there.Unchanged + n[office.Remade] + n[office.Moved]; all+n[office.Removed] != a.Totals().Beams || all+n[office.Added] != b.Totals().Beams {
			t.Fatalf("%v and %d unchanged are not %d and %d beams", n, there.Unchanged, a.Totals().Beams, b.Totals().Beams)
		}
	})
}
