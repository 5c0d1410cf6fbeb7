// Command morningbench plans made-up mornings of growing size, has the
// independent checker look at every plan, and prints a table: how long a
// dispatcher waits for the first whole plan, how many runs it takes, how many
// after more time, and how many any plan needs at least.
package main

import (
	"flag"
	"fmt"
	"os"
	"time"

	"spanyard.example/services/dispatch/internal/check"
	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/morning/morningtest"
	"spanyard.example/services/dispatch/internal/routing"
)

// sizes of mornings: call-offs, trucks, rooms of a call-off and beams of a room.
var sizes = []morningtest.Options{
	{CallOffs: 10, Trucks: 5, Rooms: 4, BeamsPerRoom: 10},
	{CallOffs: 20, Trucks: 8, Rooms: 5, BeamsPerRoom: 15},
	{CallOffs: 40, Trucks: 12, Rooms: 5, BeamsPerRoom: 15},
	{CallOffs: 80, Trucks: 24, Rooms: 5, BeamsPerRoom: 15},
	{CallOffs: 120, Trucks: 36, Rooms: 5, BeamsPerRoom: 15},
	{CallOffs: 200, Trucks: 60, Rooms: 5, BeamsPerRoom: 15},
}

func main() {
	seconds := flag.Float64("seconds", 2, "time to improve each plan")
	seed := flag.Uint64("seed", 7, "seed of the mornings")
	most := flag.Int("most", 200, "call-offs of the largest morning")
	flag.Parse()
	fmt.Println("| call-offs | trucks | beams asked for | pieces on runs | first plan s | runs | runs after " + fmt.Sprint(*seconds) + " s | at least | gap % | beams left | broken rules |")
	fmt.Println("| - | - | - | - | - | - | - | - | - | - | - |")
	broken := 0
	for _, o := range sizes {
		if o.CallOffs > *most {
			continue
		}
		o.Seed = *seed
		broken += measure(wide(morningtest.Make(o)), *seconds)
	}
	if broken > 0 {
		fmt.Fprintln(os.Stderr, "morningbench: the checker found broken rules")
		os.Exit(1)
	}
}

// nearer is how far the sites of a bench lie, of what a test's do.
const nearer = 0.35

// wide is a morning that its trucks can just about serve: whoever can takes the
// beams until the afternoon, the small trucks are as large as the others, and the
// sites lie around the yard's own town.
func wide(p morning.Problem) morning.Problem {
	yard := p.Rules.Place
	for i := range p.Sites {
		at := &p.Sites[i].Place
		at.LatitudeDeg = yard.LatitudeDeg + nearer*(at.LatitudeDeg-yard.LatitudeDeg)
		at.LongitudeDeg = yard.LongitudeDeg + nearer*(at.LongitudeDeg-yard.LongitudeDeg)
	}
	for i := range p.Orders {
		p.Orders[i].Window = morning.Window{OpensMinute: 6 * 60, ClosesMinute: 16 * 60}
	}
	for i := range p.Trucks {
		id := p.Trucks[i].ID
		p.Trucks[i] = p.Trucks[i%2]
		p.Trucks[i].ID, p.Trucks[i].Name = id, id
	}
	return p
}

func measure(p morning.Problem, seconds float64) int {
	began := time.Now()
	first := routing.Plan(p, func() bool { return true })
	took := time.Since(began)
	until := time.Now().Add(time.Duration(seconds * float64(time.Second)))
	later := routing.Plan(p, func() bool { return time.Now().After(until) })
	violations := len(check.Plan(p, first)) + len(check.Plan(p, later))
	pieces, left, asked := 0, 0, 0
	for _, o := range p.Orders {
		for _, r := range o.Rooms {
			asked += len(r.Beams)
		}
	}
	for _, r := range later.Runs {
		pieces += len(r.Picks)
	}
	for _, u := range later.Unserved {
		left += u.BeamCount
	}
	gap := 0.0
	if later.LowerBound > 0 {
		gap = 100 * float64(len(later.Runs)-later.LowerBound) / float64(later.LowerBound)
	}
	fmt.Printf("| %d | %d | %d | %d | %.2f | %d | %d | %d | %.0f | %d | %d |\n", len(p.Orders), len(p.Trucks), asked, pieces, took.Seconds(), len(first.Runs),
		len(later.Runs), later.LowerBound, gap, left, violations)
	return violations
}
