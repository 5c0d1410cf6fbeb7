// Package yardtest makes up random but plausible things that happen in a
// yard, for tests of the domain and of the view.
package yardtest

import (
	"fmt"
	"slices"
	"time"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
)

// Dice decides; Roll returns a number from 0 to n-1.
type Dice interface{ Roll(n int) int }

// Start is when a story begins.
var Start = time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)

// Failing is a strength at which everything in a story fails.
const Failing conformity.MilliMPa = 1_000

// Rules are short, so that a story of a few weeks sees releases.
var Rules = yard.Rules{TimeZone: "Europe/Vienna", BeamMinAgeDays: 2, BlockMinAgeDays: 4, BeamsPerStackTier: 3}

// CommonRules are common practice: beams leave after 14 days, blocks after 28.
func CommonRules(timeZone string) yard.Rules {
	return yard.Rules{TimeZone: timeZone, BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 4}
}

// Teller makes up a story command by command.
type Teller struct {
	Dice Dice
	// Now moves on by hours from command to command.
	Now     time.Time
	pallets int
	tests   int
}

// Next returns a command that makes some sense in the state, most of the time.
func (t *Teller) Next(s yard.State) yard.Command {
	t.Now = t.Now.Add(time.Duration(t.Dice.Roll(14)) * time.Hour)
	makers := []func(yard.State) yard.Command{
		t.receive, t.receive, t.test, t.test, t.release, t.release, t.release, t.release,
		t.reserve, t.reserve, t.reserve, t.reserve, t.drop, t.pick, t.pick, t.pick, t.pick,
		t.load, t.load, t.load, t.deliver, t.deliver, t.deliver, t.giveBack, t.giveBack, t.scrap, t.move,
		t.quarantine, t.lift, t.lift, t.lift, t.free, t.relocate, t.cure, t.exchange, t.exchange, t.pack, t.pack, t.repack, t.repack,
	}
	return makers[t.Dice.Roll(len(makers))](s)
}

func (t *Teller) one(list ...string) string { return list[t.Dice.Roll(len(list))] }

func (t *Teller) batch() string { return fmt.Sprintf("B%d", t.Dice.Roll(8)) }

func (t *Teller) stack() string { return fmt.Sprintf("S%d", t.Dice.Roll(24)) }

func (t *Teller) run() string { return fmt.Sprintf("R%d", t.Dice.Roll(3)) }

// pieces returns some pieces of the yard, mostly in a certain state.
func (t *Teller) pieces(s yard.State, want yard.PieceState, runID string) []string {
	var all, fitting []string
	s.Batches(func(b yard.Batch) {
		mayLeave := b.State == yard.Released || want > yard.Reserved || t.Dice.Roll(10) == 0
		for _, id := range b.PieceIDs() {
			all = append(all, id)
			if p, _ := s.Piece(id); p.State == want && mayLeave && (runID == "" || p.Allocation.RunID == runID) {
				fitting = append(fitting, id)
			}
		}
	})
	if len(fitting) == 0 || t.Dice.Roll(8) == 0 {
		fitting = append(all, "X-001")
	}
	n := 1 + t.Dice.Roll(min(len(fitting), 6))
	from := t.Dice.Roll(len(fitting) - n + 1)
	return fitting[from : from+n]
}

func (t *Teller) receive(s yard.State) yard.Command {
	c := yard.ReceiveBatch{
		BatchID: t.batch(), Kind: yard.Beams, At: t.Now, Source: "story",
		MadeOn: s.Day(t.Now) - civil.Day(t.Dice.Roll(5)) + civil.Day(t.Dice.Roll(8)/7),
	}
	if t.Dice.Roll(3) == 0 {
		c.Kind = yard.Blocks
		c.Concrete.DeclaredBlock = 7000
		c.Lot = yard.Lot{BlockKind: t.one("K20", "K25"), Count: 20 + t.Dice.Roll(60), MassGEach: 17_500, StackID: t.stack()}
		return c
	}
	c.Concrete = yard.Concrete{FckCylinder: 40_000, FckCube: 50_000}
	c.Profile, c.WirePattern = t.one("T15", "T18"), t.one("W3", "W5")
	for range 1 + t.Dice.Roll(3) {
		line := yard.BeamLine{LengthMM: 3000 + 500*t.Dice.Roll(4), Count: 1 + t.Dice.Roll(5), MassGEach: 90_000, StackID: t.stack()}
		if t.Dice.Roll(4) == 0 {
			line.KeptJob = t.one("J1", "J2")
			for i := range line.Count * t.Dice.Roll(2) {
				line.KeptMarks = append(line.KeptMarks, fmt.Sprintf("1-02-%02d", i))
			}
		}
		c.Lines = append(c.Lines, line)
	}
	return c
}

func (t *Teller) test(s yard.State) yard.Command {
	t.tests++
	c := yard.RecordTest{
		BatchID: t.batch(), TestID: fmt.Sprintf("T%d", t.tests), Laboratory: "Fennmoor Lab", By: "Ida Lorn",
		TestedOn: s.Day(t.Now) - civil.Day(t.Dice.Roll(3)), Specimen: yard.Cylinder, At: t.Now,
		Strengths: []conformity.MilliMPa{42_000},
	}
	if b, ok := s.Batch(c.BatchID); ok && b.Kind == yard.Blocks {
		c.Specimen, c.Strengths = yard.Block, []conformity.MilliMPa{7_100, 7_000}
	}
	if t.Dice.Roll(6) == 0 {
		c.Specimen, c.Strengths = yard.Cube, []conformity.MilliMPa{52_000, 51_000}
	}
	if t.Dice.Roll(30) == 0 {
		c.Strengths = []conformity.MilliMPa{Failing}
	}
	return c
}

func (t *Teller) release(yard.State) yard.Command {
	return yard.ReleaseBatch{BatchID: t.batch(), By: t.one("Oda Brink", "Per Holt", "Oda Brink", "Per Holt", "Oda Brink", ""), At: t.Now}
}

func (t *Teller) quarantine(s yard.State) yard.Command {
	if t.Dice.Roll(3) > 0 {
		return t.release(s)
	}
	return yard.QuarantineBatch{BatchID: t.batch(), Reason: "cracks seen", By: t.one("Oda Brink", "Per Holt"), At: t.Now}
}

func (t *Teller) lift(yard.State) yard.Command {
	return yard.LiftQuarantine{BatchID: t.batch(), Reason: "surface only", By: "Oda Brink"}
}

func (t *Teller) reserve(s yard.State) yard.Command {
	c := yard.ReservePieces{ReservationID: fmt.Sprintf("V%d", t.Dice.Roll(4))}
	a := yard.Allocation{RunID: t.run(), SiteID: t.one("Alderby", "Quarn"), JobID: "J1", CallOffID: "C1"}
	if t.Dice.Roll(2) == 0 {
		t.pallets++
		c.Lines = append(c.Lines, yard.ReserveLine{
			BatchID: t.batch(), Blocks: 1 + t.Dice.Roll(15), PalletID: fmt.Sprintf("P%d", t.pallets-t.Dice.Roll(9)/8), Allocation: a,
		})
		if t.Dice.Roll(2) == 0 {
			return c
		}
	}
	for i, id := range t.pieces(s, yard.InYard, "") {
		a.Mark = fmt.Sprintf("1-01-%02d", i)
		c.Lines = append(c.Lines, yard.ReserveLine{PieceID: id, Allocation: a})
	}
	return c
}

func (t *Teller) cure(yard.State) yard.Command {
	return yard.RecordCure{BatchID: t.batch(), Cure: yard.Cure{Cement: t.one("R", "N", "S"), Spells: []yard.CureSpell{{Celsius: 45, Days: 0.5 + float64(t.Dice.Roll(3))}}}}
}

func (t *Teller) relocate(s yard.State) yard.Command {
	var c yard.Relocate
	for _, id := range t.pieces(s, yard.PieceState(1+t.Dice.Roll(2)), "") {
		c.Moves = append(c.Moves, yard.Relocation{PieceID: id, StackID: t.stack()})
	}
	if t.Dice.Roll(2) == 0 {
		c.Moves = c.Moves[:1]
	}
	return c
}

func (t *Teller) exchange(s yard.State) yard.Command {
	old := t.pieces(s, yard.PieceState(int(yard.Reserved)+t.Dice.Roll(2)*int(yard.Scrapped-yard.Reserved)), "")[0]
	c := yard.ExchangePieces{Exchanges: []yard.Exchange{{OldID: old, NewID: t.pieces(s, yard.InYard, "")[0]}}, By: "Per Holt", Reason: "not where it should be"}
	if p, ok := s.Piece(old); ok && (p.State == yard.Reserved || p.State == yard.Scrapped && p.Allocation != nil) && !p.IsPallet() && t.Dice.Roll(2) == 0 {
		if equal := s.Equal(p); equal != "" {
			c.Exchanges[0].NewID = equal
		}
	}
	return c
}

func (t *Teller) pack(yard.State) yard.Command {
	t.pallets++
	return yard.PackPallets{BatchID: t.batch(), Pallets: []yard.PackedPallet{{ID: fmt.Sprintf("P%d", t.pallets-t.Dice.Roll(9)/8), Blocks: 1 + t.Dice.Roll(12)}}}
}

// repack splits, merges or unpacks pallets.
func (t *Teller) repack(s yard.State) yard.Command {
	var pallets []string
	s.Pieces(func(p yard.Piece) {
		if p.IsPallet() && p.State == yard.InYard {
			pallets = append(pallets, p.ID)
		}
	})
	slices.Sort(pallets)
	if len(pallets) == 0 {
		pallets = []string{"X-001"}
	}
	one := func() string { return pallets[t.Dice.Roll(len(pallets))] }
	switch t.Dice.Roll(3) {
	case 0:
		t.pallets++
		return yard.SplitPallet{PieceID: one(), NewID: fmt.Sprintf("P%d", t.pallets), Blocks: 1 + t.Dice.Roll(6)}
	case 1:
		return yard.MergePallets{PieceID: one(), FromIDs: []string{one()}}
	default:
		return yard.UnpackPallets{PieceIDs: []string{one()}}
	}
}

func (t *Teller) free(s yard.State) yard.Command {
	return yard.EndKeeping{PieceIDs: t.pieces(s, yard.InYard, "")[:1], By: "Per Holt", Reason: "the job takes another length"}
}

func (t *Teller) drop(yard.State) yard.Command {
	return yard.DropReservation{ReservationID: fmt.Sprintf("V%d", t.Dice.Roll(5)), RunID: t.one("", t.run()), Reason: "site not ready"}
}

func (t *Teller) pick(s yard.State) yard.Command {
	run := t.run()
	return yard.PickPieces{RunID: run, PieceIDs: t.pieces(s, yard.Reserved, run)}
}

func (t *Teller) load(s yard.State) yard.Command {
	run := t.run()
	return yard.LoadPieces{RunID: run, TruckID: "L1", PieceIDs: t.pieces(s, yard.Picked, run)}
}

func (t *Teller) deliver(s yard.State) yard.Command {
	run := t.run()
	return yard.DeliverPieces{RunID: run, SiteID: t.one("Alderby", "Quarn"), PieceIDs: t.pieces(s, yard.Loaded, run), At: t.Now}
}

func (t *Teller) giveBack(s yard.State) yard.Command {
	ids := t.pieces(s, yard.PieceState(int(yard.Picked)+t.Dice.Roll(3)), "")
	return yard.ReturnPieces{StackID: t.stack(), Reason: "not needed", PieceIDs: ids[:1]}
}

func (t *Teller) scrap(s yard.State) yard.Command {
	c := yard.ScrapPieces{Reason: "broken"}
	if t.Dice.Roll(3) == 0 {
		c.BatchID, c.Blocks = t.batch(), 1+t.Dice.Roll(10)
		return c
	}
	c.PieceIDs = t.pieces(s, yard.PieceState(1+t.Dice.Roll(6)), "")[:1]
	return c
}

func (t *Teller) move(s yard.State) yard.Command {
	return yard.MovePieces{StackID: t.stack(), PieceIDs: t.pieces(s, yard.InYard, "")[:1]}
}
