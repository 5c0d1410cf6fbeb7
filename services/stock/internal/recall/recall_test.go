package recall_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"spanyard.example/services/stock/internal/recall"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

type dice struct{ *rand.Rand }

func (d dice) Roll(n int) int { return d.IntN(n) }

// Whatever happened in a yard, a recall finds each piece once and all that was
// made.
func TestNothingIsForgotten(t *testing.T) {
	for seed := range uint64(20) {
		teller := yardtest.Teller{Dice: dice{rand.New(rand.NewPCG(seed, 3))}, Now: yardtest.Start}
		s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: yardtest.Rules})
		for range 600 {
			if events, err := yard.Decide(s, teller.Next(s)); err == nil {
				s = yard.EvolveAll(s, events)
			}
		}
		s.Batches(func(b yard.Batch) {
			r, ok := recall.Of(s, b.ID)
			if !ok || r.Batch.ID != b.ID {
				t.Fatalf("batch %s is not found", b.ID)
			}
			units, seen := 0, map[string]bool{}
			byKind := map[recall.Kind]int{}
			for _, p := range r.Places {
				units += p.Units
				byKind[p.Kind] += p.Units
				for _, piece := range p.Pieces {
					if seen[piece.ID] || piece.BatchID != b.ID {
						t.Fatalf("%s is in two places, or of another batch", piece.ID)
					}
					seen[piece.ID] = true
					if (p.Kind == recall.InStack) != (piece.Tier > 0) || p.Kind == recall.InStack && piece.StackID != p.StackID {
						t.Fatalf("%+v is listed in %+v", piece, p)
					}
				}
			}
			c := b.Counts
			if units != c.Made || byKind[recall.OnTruck] != c.Loaded || byKind[recall.AtSite] != c.Delivered ||
				byKind[recall.BesideTruck] != c.Picked || byKind[recall.InStack] != c.InYard+c.Reserved || byKind[recall.WrittenOff] != c.Scrapped {
				t.Fatalf("batch %s has %+v, the recall finds %v of %d", b.ID, c, byKind, units)
			}
		})
	}
	if _, ok := recall.Of(yard.New("alder"), "B1"); ok {
		t.Error("a batch of an empty yard is found")
	}
}

// forty is a batch of which half is on a truck to one site and half at another.
func forty(t testing.TB, pieces int) yard.State {
	t.Helper()
	s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: yardtest.Rules})
	e := yard.BatchReceived{BatchID: "B1", Kind: yard.Beams, Source: "cast C-0412 of line 3", Profile: "T15", WirePattern: "W3"}
	for i := range pieces {
		e.Beams = append(e.Beams, yard.Beam{ID: yard.BeamID("B1", i+1), LengthMM: 4200, MassG: 84_000, StackID: fmt.Sprintf("S%d", i/100)})
	}
	s = yard.Evolve(s, e)
	for i, beam := range e.Beams {
		if i%4 == 3 {
			continue
		}
		run, site := "R1", "Alderby"
		if i%2 == 1 {
			run, site = "R2", "Quarn"
		}
		s = yard.EvolveAll(s, []yard.Event{
			yard.PiecesReserved{ReservationID: "V", Pieces: []yard.ReservedPiece{{PieceID: beam.ID, Allocation: yard.Allocation{RunID: run, SiteID: site, JobID: "J1", Mark: fmt.Sprintf("1-01-%02d", i)}}}},
			yard.PiecePicked{PieceID: beam.ID, RunID: run},
			yard.PieceLoaded{PieceID: beam.ID, RunID: run, TruckID: "T" + run},
		})
		if run == "R2" {
			s = yard.Evolve(s, yard.PieceDelivered{PieceID: beam.ID, RunID: run, SiteID: site, At: time.Unix(1_800_000_000, 0), ReceivedBy: "Mason Ulla Fenn"})
		}
	}
	return s
}

func TestPlacesInOrderOfUrgency(t *testing.T) {
	r, _ := recall.Of(forty(t, 40), "B1")
	if len(r.Places) != 3 {
		t.Fatalf("40 pieces are in %d places", len(r.Places))
	}
	truck, site, stack := r.Places[0], r.Places[1], r.Places[2]
	if truck.Kind != recall.OnTruck || truck.TruckID != "TR1" || truck.SiteID != "Alderby" || truck.Units != 20 || truck.MassG != 20*84_000 {
		t.Errorf("on the road: %+v", truck)
	}
	if site.Kind != recall.AtSite || site.SiteID != "Quarn" || site.Units != 10 || site.Pieces[0].ReceivedBy != "Mason Ulla Fenn" || site.Pieces[0].Allocation.Mark != "1-01-01" {
		t.Errorf("at the site: %+v", site)
	}
	if stack.Kind != recall.InStack || stack.Units != 10 || stack.Pieces[0].Tier != 1 || stack.Pieces[0].Above != 7 {
		t.Errorf("in the yard: %+v", stack)
	}
}

// BenchmarkRecall is the hot path of a recall: 10,000 pieces, well under a
// second.
func BenchmarkRecall(b *testing.B) {
	s := forty(b, 10_000)
	for b.Loop() {
		if r, ok := recall.Of(s, "B1"); !ok || len(r.Places) == 0 {
			b.Fatal("nothing found")
		}
	}
}
