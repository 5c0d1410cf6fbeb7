package picking_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"spanyard.example/services/dispatch/internal/morning"
	"spanyard.example/services/dispatch/internal/picking"
)

var p54 = morning.Product{Profile: "P150", WirePattern: "W5", LengthMM: 5400}

// free is a beam of 1 kg a centimetre in a stack of one beam a tier.
func free(batch, stack string, tier, above, rank int, p morning.Product) morning.FreeBeam {
	return morning.FreeBeam{
		PieceID: fmt.Sprintf("%s-%s-%d", batch, stack, tier), BatchID: batch, Product: p,
		MassG: int64(p.LengthMM) * 100, StackID: stack, Tier: tier, Above: above, ReleaseRank: rank,
	}
}

func order(id string, opens int, rooms ...morning.Room) morning.Order {
	return morning.Order{
		CallOffID: id, SiteID: "site-" + id, JobID: "job", Floor: "1",
		Window: morning.Window{OpensMinute: opens, ClosesMinute: opens + 60}, Rooms: rooms,
	}
}

func room(name string, blocks int, products ...morning.Product) morning.Room {
	r := morning.Room{Name: name, BlockKind: "B", BlockCount: blocks}
	for i, p := range products {
		r.Beams = append(r.Beams, morning.Beam{Mark: fmt.Sprintf("1-%s-%02d", name, i+1), Product: p, MassG: int64(p.LengthMM) * 100})
	}
	return r
}

func problem(stock morning.Stock, orders ...morning.Order) morning.Problem {
	return morning.Problem{
		Orders: orders, Stock: stock, PalletPrefix: "plan-",
		Profiles:   []morning.Profile{{Name: "P150", HeightMM: 150, WidthMM: 140}},
		BlockKinds: []morning.BlockKind{{Name: "B", BlocksPerPallet: 60, PalletLengthMM: 1200, PalletWidthMM: 1000, PalletHeightMM: 1000, PalletTareG: 20_000, MassG: 14_000}},
	}
}

// got lists what a lot holds: piece ids, in laying order.
func got(l picking.Lot) []string {
	var ids []string
	for _, u := range l.Units {
		ids = append(ids, u.Item.PieceID)
	}
	return ids
}

func TestScarceBeamsGoToTheEarliestWindow(t *testing.T) {
	stock := morning.Stock{Beams: []morning.FreeBeam{
		free("new", "S2", 1, 0, 2, p54), free("old", "S1", 1, 1, 1, p54), free("old", "S1", 2, 0, 1, p54),
	}}
	lots := picking.Allot(problem(stock, order("late", 600, room("01", 0, p54, p54)), order("early", 400, room("01", 0, p54, p54))), nil)
	if diff := cmp.Diff([]string{"old-S1-2", "old-S1-1"}, got(lots[1])); diff != "" {
		t.Errorf("the early call-off: %s", diff)
	}
	if diff := cmp.Diff([]string{"new-S2-1"}, got(lots[0])); diff != "" {
		t.Errorf("the late call-off: %s", diff)
	}
	want := &picking.Cut{Number: 2, Reason: morning.NoStock,
		Sentence: "1 beam P150/W5 5.40 m is short for room 1-01 of job; 1 of the 2 it needs are free"}
	if diff := cmp.Diff(want, lots[0].Cut); diff != "" {
		t.Error(diff)
	}
}

func TestNothingIsTakenBehindACut(t *testing.T) {
	p42 := morning.Product{Profile: "P150", WirePattern: "W5", LengthMM: 4200}
	stock := morning.Stock{Beams: []morning.FreeBeam{free("b", "S1", 1, 0, 1, p42)}}
	lots := picking.Allot(problem(stock,
		order("first", 400, room("01", 0, p54, p42)), order("second", 500, room("01", 0, p42))), nil)
	if len(lots[0].Units) != 0 || lots[1].Cut != nil {
		t.Errorf("the beam that only the second can use goes to the first: %v, %v", got(lots[0]), got(lots[1]))
	}
}

func TestPalletsHoldBlocksOfOneBatch(t *testing.T) {
	stock := morning.Stock{Blocks: []morning.FreeBlocks{
		{BatchID: "new", Kind: "B", Count: 500, MassGEach: 14_000, StackID: "Y2", ReleaseRank: 2},
		{BatchID: "old", Kind: "B", Count: 70, MassGEach: 13_000, StackID: "Y1", ReleaseRank: 1},
	}}
	lots := picking.Allot(problem(stock, order("a", 400, room("01", 100))), nil)
	type pallet struct {
		batch, stack string
		count        int
		massG        int64
		number       int
	}
	var all []pallet
	for _, u := range lots[0].Units {
		all = append(all, pallet{u.Item.BatchID, u.StackID, u.Item.BlockCount, u.Item.MassG, u.Item.LayingNumber})
	}
	want := []pallet{{"old", "Y1", 60, 800_000, 1}, {"old", "Y1", 10, 150_000, 1}, {"new", "Y2", 30, 440_000, 1}}
	if diff := cmp.Diff(want, all, cmp.AllowUnexported(pallet{})); diff != "" {
		t.Error(diff)
	}
}

func TestBlocksShortStopTheRoom(t *testing.T) {
	stock := morning.Stock{
		Beams:  []morning.FreeBeam{free("b", "S1", 1, 0, 1, p54)},
		Blocks: []morning.FreeBlocks{{BatchID: "old", Kind: "B", Count: 70, MassGEach: 13_000, StackID: "Y1"}},
	}
	lots := picking.Allot(problem(stock, order("a", 400, room("01", 100, p54))), nil)
	want := &picking.Cut{Number: 1, Reason: morning.NoStock,
		Sentence: "30 blocks B are short for room 1-01 of job; 70 of the 100 it needs are free"}
	if diff := cmp.Diff(want, lots[0].Cut); diff != "" || len(lots[0].Units) != 0 {
		t.Error(diff, got(lots[0]))
	}
}

// TestPicksComeFromTheTop loads two beams from a stack of five, of which the
// second from the top is another product and the topmost is somebody's: worked
// by hand.
func TestPicksComeFromTheTop(t *testing.T) {
	other := morning.Product{Profile: "P150", WirePattern: "W5", LengthMM: 5000}
	stock := morning.Stock{Beams: []morning.FreeBeam{
		free("b", "S1", 1, 4, 1, p54), free("b", "S1", 2, 3, 1, p54), free("b", "S1", 3, 2, 1, p54), free("b", "S1", 4, 1, 1, other),
	}}
	p := problem(stock, order("a", 400, room("01", 0, p54, p54)))
	lots := picking.Allot(p, nil)
	// The first to be laid lies on top, so the second is loaded first.
	first, second := lots[0].Units[0].Item, lots[0].Units[1].Item
	first.PieceID, second.PieceID = "b-S1-1", "b-S1-2"
	runs := []morning.Run{{Piles: []morning.Pile{{Number: 1, DropNumber: 1, Tiers: []morning.Tier{
		{Items: []morning.Item{second}}, {Items: []morning.Item{first}},
	}}}}}
	moved := picking.Finish(p, lots, runs)
	var picks []string
	for _, k := range runs[0].Picks {
		picks = append(picks, fmt.Sprintf("%d %s %s tier %d for %s", k.Number, k.PieceID, k.StackID, k.StackTier, k.Mark))
	}
	want := []string{"1 b-S1-3 S1 tier 3 for 1-01-02", "2 b-S1-2 S1 tier 2 for 1-01-01"}
	if diff := cmp.Diff(want, picks); diff != "" {
		t.Error(diff)
	}
	// Above tier 3 lie the other product and the stranger; above tier 2
	// nothing is left.
	if moved != 2 {
		t.Errorf("%d pieces are lifted aside, want 2", moved)
	}
	if id := runs[0].Piles[0].Tiers[1].Items[0].PieceID; id != "b-S1-2" {
		t.Errorf("the pile still shows %s on top", id)
	}
}
