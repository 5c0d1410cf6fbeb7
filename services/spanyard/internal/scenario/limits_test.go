package scenario_test

import (
	"fmt"
	"math"
	"testing"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
)

// sheet is a plan with the rules, trucks and sites it has to keep to, for an
// independent look at every limit, from the printed numbers alone.
type sheet struct {
	plan     *dispatcheventv1.MorningPlan
	rules    *dispatcheventv1.YardRules
	trucks   map[string]*dispatcheventv1.Truck
	sites    map[string]*dispatcheventv1.Site
	callOffs map[string]*dispatcheventv1.CallOff
	heights  map[string]int32
	pallets  map[string]int32
}

func (s *sheet) check(t *testing.T) {
	t.Helper()
	seen := map[string]bool{}
	for _, run := range s.plan.GetRuns() {
		t.Run(run.GetRunId(), func(t *testing.T) {
			s.masses(t, run)
			s.deck(t, run)
			s.piles(t, run)
			s.order(t, run)
			s.times(t, run)
			for _, item := range itemsOf(run) {
				if seen[item.GetPieceId()] {
					t.Errorf("piece %s is on more than one place", item.GetPieceId())
				}
				seen[item.GetPieceId()] = true
			}
		})
	}
	s.trips(t)
}

func itemsOf(run *dispatcheventv1.Run) []*dispatcheventv1.Item {
	var items []*dispatcheventv1.Item
	for _, pile := range run.GetPiles() {
		for _, tier := range pile.GetTiers() {
			items = append(items, tier.GetItems()...)
		}
	}
	return items
}

// masses adds up every item and turns the piles that are left after each drop
// into axle loads: with the rear axle as the point to turn about, a pile at x
// behind the front axle puts x/wheelbase of its mass on the rear axle.
func (s *sheet) masses(t *testing.T, run *dispatcheventv1.Run) {
	truck := s.trucks[run.GetTruckId()]
	var total int64
	for _, item := range itemsOf(run) {
		total += item.GetMassG()
	}
	if total != run.GetMassG() || total > int64(truck.GetPayloadKg())*1000 {
		t.Errorf("items weigh %d g, run says %d g, payload is %d kg", total, run.GetMassG(), truck.GetPayloadKg())
	}
	if len(run.GetAxleLoads()) != len(run.GetDrops())+1 {
		t.Fatalf("%d axle loads for %d drops", len(run.GetAxleLoads()), len(run.GetDrops()))
	}
	for _, said := range run.GetAxleLoads() {
		front, rear := float64(truck.GetTareFrontKg()), float64(truck.GetTareRearKg())
		for _, pile := range run.GetPiles() {
			if pile.GetDropNumber() <= said.GetAfterDrop() {
				continue
			}
			kg := float64(pile.GetMassG()) / 1000
			x := float64(truck.GetDeckStartMm()+pile.GetFromMm()) + float64(pile.GetLengthMm())/2
			rear += kg * x / float64(truck.GetWheelbaseMm())
			front += kg * (1 - x/float64(truck.GetWheelbaseMm()))
		}
		// A pile's middle is not exactly where its mass is, and kilograms are whole.
		if math.Abs(front-float64(said.GetFrontKg())) > 150 || math.Abs(rear-float64(said.GetRearKg())) > 150 {
			t.Errorf("after drop %d: plan says %d and %d kg, piles give %.0f and %.0f kg", said.GetAfterDrop(), said.GetFrontKg(), said.GetRearKg(), front, rear)
		}
		if said.GetFrontKg() > truck.GetMaxFrontKg() || said.GetRearKg() > truck.GetMaxRearKg() || said.GetFrontKg()+said.GetRearKg() > truck.GetMaxGrossKg() {
			t.Errorf("after drop %d: axle loads %d and %d kg are over the limits", said.GetAfterDrop(), said.GetFrontKg(), said.GetRearKg())
		}
	}
}

// deck looks for piles that hang over, or stand in or too near each other.
func (s *sheet) deck(t *testing.T, run *dispatcheventv1.Run) {
	truck, gap := s.trucks[run.GetTruckId()], s.rules.GetPileGapMm()
	for i, p := range run.GetPiles() {
		if p.GetFromMm() < 0 || p.GetFromMm()+p.GetLengthMm() > truck.GetDeckLengthMm()+s.rules.GetMaxTailOverhangMm() ||
			p.GetLeftMm() < 0 || p.GetLeftMm()+p.GetWidthMm() > truck.GetDeckWidthMm() || p.GetLane() > s.rules.GetMaxLanes() {
			t.Errorf("pile %d does not stand on the deck: %v", p.GetNumber(), p)
		}
		for _, q := range run.GetPiles()[:i] {
			along := p.GetFromMm() < q.GetFromMm()+q.GetLengthMm()+gap && q.GetFromMm() < p.GetFromMm()+p.GetLengthMm()+gap
			across := p.GetLeftMm() < q.GetLeftMm()+q.GetWidthMm()+gap && q.GetLeftMm() < p.GetLeftMm()+p.GetWidthMm()+gap
			if along && across {
				t.Errorf("piles %d and %d stand too near each other", q.GetNumber(), p.GetNumber())
			}
		}
	}
}

// piles looks at tiers, heights, lengths and widths inside each pile.
func (s *sheet) piles(t *testing.T, run *dispatcheventv1.Run) {
	for _, p := range run.GetPiles() {
		var height int32
		lengths := [2]int32{}
		for i, tier := range p.GetTiers() {
			low, high, tall := tierSizes(tier, s.heights, s.pallets)
			height += tall
			if low > 0 {
				height += s.rules.GetBearerHeightMm()
				reach := 2 * s.rules.GetMaxOverhangMm()
				if i > 0 && (high-lengths[0] > reach || lengths[1]-low > reach) {
					t.Errorf("pile %d, tier %d: %d to %d mm on %d to %d mm", p.GetNumber(), i+1, low, high, lengths[0], lengths[1])
				}
				if high > p.GetLengthMm() {
					t.Errorf("pile %d is %d mm long and holds beams of %d mm", p.GetNumber(), p.GetLengthMm(), high)
				}
			}
			lengths = [2]int32{low, high}
		}
		if len(p.GetTiers()) > int(s.rules.GetMaxTiers()) || p.GetHeightMm() > s.rules.GetMaxPileHeightMm() || height > p.GetHeightMm() {
			t.Errorf("pile %d: %d tiers, says %d mm, tiers give %d mm, allowed %d mm", p.GetNumber(), len(p.GetTiers()), p.GetHeightMm(), height, s.rules.GetMaxPileHeightMm())
		}
	}
}

// tierSizes returns the shortest and longest beam (0 for a pallet) and the
// height without bearers.
func tierSizes(tier *dispatcheventv1.Tier, heights, pallets map[string]int32) (low, high, tall int32) {
	for _, item := range tier.GetItems() {
		if item.GetBeam() == nil {
			return 0, 0, pallets[item.GetBlockKind()]
		}
		l := item.GetBeam().GetLengthMm()
		if low == 0 || l < low {
			low = l
		}
		high, tall = max(high, l), max(tall, heights[item.GetBeam().GetProfile()])
	}
	return low, high, tall
}

// order: what is laid first lies on top; a pile comes off at one drop; blocks
// are promised for the site of their drop.
func (s *sheet) order(t *testing.T, run *dispatcheventv1.Run) {
	sites := map[int32]string{}
	for _, d := range run.GetDrops() {
		sites[d.GetNumber()] = d.GetSiteId()
	}
	for _, p := range run.GetPiles() {
		below := int32(math.MaxInt32)
		for _, tier := range p.GetTiers() {
			last := int32(0)
			for _, item := range tier.GetItems() {
				if item.GetLayingNumber() > below {
					t.Errorf("pile %d: %s (%s) is laid after what lies under it", p.GetNumber(), item.GetPieceId(), item.GetMark())
				}
				if got := s.callOffs[item.GetCallOffId()].GetSiteId(); got != sites[p.GetDropNumber()] {
					t.Errorf("pile %d comes off at %s and holds %s for %s", p.GetNumber(), sites[p.GetDropNumber()], item.GetPieceId(), got)
				}
				if last == 0 || item.GetLayingNumber() < last {
					last = item.GetLayingNumber()
				}
			}
			below = last
		}
	}
}

// times looks at hours, access, cranes and windows of a run.
func (s *sheet) times(t *testing.T, run *dispatcheventv1.Run) {
	truck := s.trucks[run.GetTruckId()]
	if run.GetLoadingMinute() < truck.GetHours().GetOpensMinute() || run.GetBackMinute() > truck.GetHours().GetClosesMinute() ||
		run.GetLeaveMinute() < run.GetLoadingMinute()+s.rules.GetLoadingMinutes() {
		t.Errorf("loads %d, leaves %d, back %d", run.GetLoadingMinute(), run.GetLeaveMinute(), run.GetBackMinute())
	}
	before := run.GetLeaveMinute()
	for _, d := range run.GetDrops() {
		site := s.sites[d.GetSiteId()]
		// What counts on the way to a drop is what is on the truck until then.
		arriving := run.GetAxleLoads()[d.GetNumber()-1]
		gross := arriving.GetFrontKg() + arriving.GetRearKg()
		if site.GetMaxGrossKg() > 0 && gross > site.GetMaxGrossKg() || site.GetMaxVehicleLengthMm() > 0 && truck.GetOverallLengthMm() > site.GetMaxVehicleLengthMm() {
			t.Errorf("truck %s cannot get to %s", truck.GetTruckId(), site.GetSiteId())
		}
		if !site.GetHasLifting() && !truck.GetHasCrane() {
			t.Errorf("nothing lifts at %s", site.GetSiteId())
		}
		if d.GetArriveMinute() < before || d.GetUnloadMinute() < max(d.GetArriveMinute(), site.GetOpens().GetOpensMinute()) || d.GetLeaveMinute() > run.GetBackMinute() {
			t.Errorf("drop %d: arrives %d, unloads %d, leaves %d", d.GetNumber(), d.GetArriveMinute(), d.GetUnloadMinute(), d.GetLeaveMinute())
		}
		for _, id := range d.GetCallOffIds() {
			w := s.callOffs[id].GetWindow()
			if d.GetUnloadMinute() < w.GetOpensMinute() || d.GetUnloadMinute() > w.GetClosesMinute() {
				t.Errorf("%s is unloaded at %d, its window is %d to %d", id, d.GetUnloadMinute(), w.GetOpensMinute(), w.GetClosesMinute())
			}
		}
		before = d.GetLeaveMinute()
	}
}

// trips: a truck is back before it is loaded again; a site unloads no more
// trucks at a time than it has places.
func (s *sheet) trips(t *testing.T) {
	type stay struct{ from, to int32 }
	trucks, places := map[string][]stay{}, map[string][]stay{}
	for _, run := range s.plan.GetRuns() {
		trucks[run.GetTruckId()] = append(trucks[run.GetTruckId()], stay{run.GetLoadingMinute(), run.GetBackMinute()})
		for _, d := range run.GetDrops() {
			places[d.GetSiteId()] = append(places[d.GetSiteId()], stay{d.GetUnloadMinute(), d.GetLeaveMinute()})
		}
	}
	atOnce := func(stays []stay) (most int) {
		for _, a := range stays {
			n := 0
			for _, b := range stays {
				if b.from <= a.from && a.from < b.to {
					n++
				}
			}
			most = max(most, n)
		}
		return most
	}
	for id, stays := range trucks {
		if atOnce(stays) > 1 {
			t.Errorf("truck %s is on two runs at once: %v", id, stays)
		}
	}
	for id, stays := range places {
		if n := atOnce(stays); n > int(max(s.sites[id].GetPlaces(), 1)) {
			t.Errorf("site %s unloads %d trucks at once: %v", id, n, stays)
		}
	}
}

// servedAndLeft: what is on runs and what is left add up to what was called
// off of approved floors.
func (s *sheet) servedAndLeft(t *testing.T, floors []*dispatchv1.Floor) {
	t.Helper()
	type sum struct{ beams, blocks int32 }
	var got, want sum
	for _, run := range s.plan.GetRuns() {
		for _, item := range itemsOf(run) {
			if item.GetBeam() != nil {
				got.beams++
			}
			got.blocks += item.GetBlockCount()
		}
	}
	for _, u := range s.plan.GetUnserved() {
		got.beams += u.GetBeamCount()
		got.blocks += u.GetBlockCount()
	}
	for _, f := range floors {
		want.beams += f.GetBeamCount()
		want.blocks += f.GetBlockCount()
	}
	if got != want {
		t.Errorf("on runs and left: %s; called off: %s", fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", want))
	}
}
