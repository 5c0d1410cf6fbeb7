package availability_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/availability"
	"spanyard.example/services/stock/internal/conformity"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

type dice struct{ t *rapid.T }

func (d dice) Roll(n int) int { return rapid.IntRange(0, n-1).Draw(d.t, "roll") }

// told is a yard after a random story.
func told(t *rapid.T) (yard.State, *yardtest.Teller) {
	rules := yardtest.Rules
	if rapid.Bool().Draw(t, "sampling plan") {
		rules.Sampling = []yard.SamplingRule{{Kind: yard.Beams, Specimen: yard.Cylinder, Count: 2, AgeDays: 3, ForRelease: true}}
	}
	s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: rules})
	teller := &yardtest.Teller{Dice: dice{t}, Now: yardtest.Start}
	for range rapid.IntRange(1, 120).Draw(t, "commands") {
		if events, err := yard.Decide(s, teller.Next(s)); err == nil {
			s = yard.EvolveAll(s, events)
		}
	}
	return s, teller
}

// counts are the numbers of a line that piece by piece counting gives.
type counts struct{ Free, Kept, NotReleased, Withheld, Promised, Stopped, OnRuns int }

// byHand looks at every piece and every loose block.
func byHand(s yard.State) map[availability.Product]counts {
	out := map[availability.Product]counts{}
	add := func(b yard.Batch, p availability.Product, n int, state yard.PieceState, kept bool) {
		c := out[p]
		switch {
		case n == 0:
			return
		case state == yard.Reserved && b.State != yard.Released:
			c.Stopped += n
		case state == yard.Reserved:
			c.Promised += n
		case state == yard.Picked || state == yard.Loaded:
			c.OnRuns += n
		case state != yard.InYard:
			return
		case b.State == yard.Quarantined || len(b.FailedJudgements()) > 0 && b.State != yard.Released:
			c.Withheld += n
		case b.State == yard.Curing:
			c.NotReleased += n
		case kept:
			c.Kept += n
		default:
			c.Free += n
		}
		out[p] = c
	}
	s.Pieces(func(p yard.Piece) {
		b, _ := s.Batch(p.BatchID)
		if p.IsPallet() {
			add(b, availability.Product{BlockKind: b.Lot.BlockKind}, p.Blocks, p.State, false)
			return
		}
		add(b, availability.Product{Profile: b.Profile, WirePattern: b.WirePattern, LengthMM: p.LengthMM}, 1, p.State, p.Kept != nil)
	})
	s.Batches(func(b yard.Batch) {
		if b.Kind == yard.Blocks {
			add(b, availability.Product{BlockKind: b.Lot.BlockKind}, b.Loose(), yard.InYard, false)
		}
	})
	return out
}

// TestEveryPieceIsCountedOnce compares with counting piece by piece.
func TestEveryPieceIsCountedOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, teller := told(t)
		today := s.Day(teller.Now)
		day := today + civil.Day(rapid.IntRange(0, 6).Draw(t, "days ahead"))
		got := map[availability.Product]counts{}
		for _, l := range availability.On(s, today, day, nil).Lines {
			c := counts{Free: l.Free, Kept: l.Kept, NotReleased: l.Provisional + l.Later, Withheld: l.Withheld, Promised: l.Promised, Stopped: l.Stopped, OnRuns: l.OnRuns}
			if c != (counts{}) {
				got[l.Product] = c
			}
			coming := 0
			for _, b := range l.Coming {
				coming += b.Count
			}
			if coming != l.Provisional+l.Later {
				t.Fatalf("%v: batches come to %d of %d", l.Product, coming, l.Provisional+l.Later)
			}
		}
		if diff := cmp.Diff(byHand(s), got); diff != "" {
			t.Fatalf("by hand (-) and as answered (+):\n%s", diff)
		}
	})
}

// TestProvisionalIsTrue: what is said to be provisional can be released on its
// earliest day when good results come, and not on the day before.
func TestProvisionalIsTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, teller := told(t)
		today := s.Day(teller.Now)
		for _, l := range availability.On(s, today, today+10, nil).Lines {
			for _, c := range l.Coming {
				b, _ := s.Batch(c.BatchID)
				if c.EarliestOn < today {
					t.Fatalf("batch %s may be released on %v, before today, %v", b.ID, c.EarliestOn, today)
				}
				if !releasable(t, s, b, c.EarliestOn) {
					t.Fatalf("batch %s cannot be released on %v", b.ID, c.EarliestOn)
				}
				if c.EarliestOn > today && releasable(t, s, b, c.EarliestOn-1) {
					t.Fatalf("batch %s can be released before %v", b.ID, c.EarliestOn)
				}
			}
		}
	})
}

// releasable records good results for what is sampled and due by a day, and
// tries to release on it.
func releasable(t *rapid.T, s yard.State, b yard.Batch, day civil.Day) bool {
	now := day.At(12*60, s.Clock(yardtest.Start).Location())
	test := yard.RecordTest{BatchID: b.ID, TestID: "good", Laboratory: "Fennmoor Lab", TestedOn: day, By: "Ida Lorn", At: now,
		Specimen: yard.Cylinder, Strengths: []conformity.MilliMPa{60_000, 60_000, 60_000}}
	if b.Kind == yard.Blocks {
		test.Specimen, test.Strengths = yard.Block, []conformity.MilliMPa{9_000, 9_000, 9_000}
	}
	events, err := yard.Decide(s, test)
	if err != nil {
		t.Fatal(err)
	}
	_, err = yard.Decide(yard.EvolveAll(s, events), yard.ReleaseBatch{BatchID: b.ID, By: "Oda Brink", At: now})
	return err == nil
}

// TestShort deals what there is out to the jobs, one beam after the other.
func TestShort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, teller := told(t)
		today := s.Day(teller.Now)
		needs := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) availability.Need {
			return availability.Need{
				Product: availability.Product{Profile: rapid.SampledFrom([]string{"T15", "T18"}).Draw(t, "profile"), WirePattern: "W3", LengthMM: 3000 + 500*rapid.IntRange(0, 3).Draw(t, "length")},
				Count:   rapid.IntRange(1, 8).Draw(t, "count"), JobID: rapid.SampledFrom([]string{"J1", "J2", ""}).Draw(t, "job"),
			}
		}), 0, 6).Draw(t, "needs")
		for _, l := range availability.On(s, today, today, needs).Lines {
			asked := map[string]int{}
			needed := 0
			for _, n := range needs {
				if n.Product == l.Product {
					asked[n.JobID] += n.Count
					needed += n.Count
				}
			}
			s.Pieces(func(p yard.Piece) {
				b, _ := s.Batch(p.BatchID)
				if p.State == yard.Reserved && b.State != yard.Released && b.Profile == l.Profile && b.WirePattern == l.WirePattern && p.LengthMM == l.LengthMM && l.BlockKind == "" {
					asked[p.Allocation.JobID]++
					needed++
				}
			})
			if l.BlockKind == "" && l.Needed != needed {
				t.Fatalf("%v: %d needed of %d asked", l.Product, l.Needed, needed)
			}
			free := 0
			s.Pieces(func(p yard.Piece) {
				b, _ := s.Batch(p.BatchID)
				if b.State != yard.Released || p.State != yard.InYard || b.Profile != l.Profile || b.WirePattern != l.WirePattern || p.LengthMM != l.LengthMM {
					return
				}
				if p.Kept == nil {
					free++
				} else if asked[p.Kept.JobID] > 0 {
					asked[p.Kept.JobID]--
				}
			})
			short := 0
			for _, n := range asked {
				short += n
			}
			if short = max(0, short-free); l.BlockKind == "" && l.Short != short {
				t.Fatalf("%v: %d short, dealt out by hand %d", l.Product, l.Short, short)
			}
			if l.ShortEvenSo > l.Short {
				t.Fatalf("%v: more is short when more comes: %d, %d", l.Product, l.ShortEvenSo, l.Short)
			}
		}
	})
}

// TestQuarantineTakesAway: what lies free in the yard goes from free to
// withheld, and whoever counts on a piece is named.
func TestQuarantineTakesAway(t *testing.T) {
	s := yard.Evolve(yard.New("alder"), yard.RulesSet{Rules: yardtest.CommonRules("Etc/UTC")})
	now := yardtest.Start
	today := s.Day(now)
	do := func(c yard.Command) {
		t.Helper()
		events, err := yard.Decide(s, c)
		if err != nil {
			t.Fatal(err)
		}
		s = yard.EvolveAll(s, events)
	}
	do(yard.ReceiveBatch{BatchID: "B1", Kind: yard.Beams, MadeOn: today - 20, Profile: "T15", WirePattern: "W3", At: now,
		Concrete: yard.Concrete{FckCylinder: 40_000, FckCube: 50_000},
		Lines:    []yard.BeamLine{{LengthMM: 4200, Count: 5, MassGEach: 90_000, StackID: "S1", KeptJob: "J7", KeptMarks: []string{"1-01-01", "1-01-02", "1-01-03", "1-01-04", "1-01-05"}}}})
	do(yard.RecordTest{BatchID: "B1", TestID: "T1", Laboratory: "Fennmoor Lab", TestedOn: today - 1, Specimen: yard.Cylinder, Strengths: []conformity.MilliMPa{60_000, 60_000, 60_000}, By: "Ida Lorn", At: now})
	do(yard.ReleaseBatch{BatchID: "B1", By: "Oda Brink", At: now})
	take := yard.ReservePieces{ReservationID: "V1", Lines: []yard.ReserveLine{{PieceID: "B1-005", Allocation: yard.Allocation{RunID: "R1", SiteID: "QF", JobID: "J7", Mark: "1-01-05"}}}}
	foreign := take
	foreign.Lines = []yard.ReserveLine{{PieceID: "B1-005", Allocation: yard.Allocation{RunID: "R1", SiteID: "QF", JobID: "J8"}}}
	if _, err := yard.Decide(s, foreign); err == nil {
		t.Fatal("a beam that is kept for job J7 was promised to job J8")
	}
	do(take)
	do(yard.EndKeeping{PieceIDs: []string{"B1-001"}, By: "Per Holt", Reason: "drawn anew"})
	want := availability.Line{Product: availability.Product{Profile: "T15", WirePattern: "W3", LengthMM: 4200}, Free: 1, Kept: 3, Promised: 1, Needed: 6, Short: 2, ShortEvenSo: 2}
	needs := []availability.Need{{Product: want.Product, Count: 3, JobID: "J8"}, {Product: want.Product, Count: 3, JobID: "J7"}}
	answer := availability.On(s, today, today, needs)
	if diff := cmp.Diff([]availability.Line{want}, answer.Lines); diff != "" {
		t.Errorf("before (-want +got):\n%s", diff)
	}
	do(yard.QuarantineBatch{BatchID: "B1", Reason: "cracks", By: "Oda Brink", At: now})
	answer = availability.On(s, today, today, nil)
	if l := answer.Lines[0]; l.Free+l.Kept != 0 || l.Withheld != 4 {
		t.Errorf("after: %+v", l)
	}
	if w := answer.Withheld; len(w) != 1 || w[0].Taken != 4 || len(w[0].Hits) != 1 || w[0].Hits[0].Allocation.Mark != "1-01-05" {
		t.Errorf("withheld: %+v", answer.Withheld)
	}
}
