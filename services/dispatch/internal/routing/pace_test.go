package routing

import (
	"testing"

	"pgregory.net/rapid"

	"spanyard.example/services/dispatch/internal/morning"
)

// Minute by minute, a crew lays what it has, and waits for more from its first
// delivery to its last.
func TestCrewsWaitAsMinutesPass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pace := rapid.IntRange(1, 40).Draw(t, "beams an hour")
		var all []delivery
		for range rapid.IntRange(1, 5).Draw(t, "deliveries") {
			all = insertDelivery(all, delivery{rapid.IntRange(0, 300).Draw(t, "minute"), rapid.IntRange(1, 30).Draw(t, "beams")})
		}
		u := unlaid{perMinute: pace}
		for _, d := range all {
			u.add(d)
		}
		lying, waited := 0, 0
		for minute := all[0].minute; minute <= all[len(all)-1].minute; minute++ {
			if minute > all[0].minute {
				// A minute in which the last beams are laid is begun with them.
				if lying == 0 {
					waited++
				}
				lying = max(0, lying-pace)
			}
			for _, d := range all {
				if d.minute == minute {
					lying += 60 * d.beams
				}
			}
		}
		if u.sixtieths != lying {
			t.Fatalf("%d sixtieths of a beam lie there, minute by minute %d", u.sixtieths, lying)
		}
		if u.waitedMinutes != waited {
			t.Fatalf("the crew waits %d minutes, minute by minute %d", u.waitedMinutes, waited)
		}
	})
}

func TestDriversTakeBreaks(t *testing.T) {
	w := &world{problem: morning.Problem{Rules: morning.Rules{Driver: morning.DriverRules{MaxDrivingMinutes: 200, DrivingBeforeBreakMinutes: 100, BreakMinutes: 30}}}}
	first := outing{span{300, 400}, 70}
	for _, c := range []struct {
		name string
		more outing
		may  bool
	}{
		{"on at once", outing{span{400, 500}, 40}, false},
		{"after too short a break", outing{span{429, 500}, 40}, false},
		{"after a break", outing{span{430, 500}, 40}, true},
		{"little enough", outing{span{400, 500}, 30}, true},
		{"before, without a break", outing{span{200, 290}, 40}, false},
		{"before, with a break", outing{span{170, 270}, 40}, true},
		{"too far in one go", outing{span{430, 600}, 101}, false},
	} {
		if got := w.driverMay([]outing{first}, c.more); got != c.may {
			t.Errorf("%s: %v, want %v", c.name, got, c.may)
		}
	}
	if w.driverMay([]outing{first, {span{430, 500}, 80}}, outing{span{600, 700}, 60}) {
		t.Error("the driver drives 210 of 200 minutes")
	}
}
