package yard_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

// rapidDice shrinks well but likes small numbers; flatDice is fair.
type rapidDice struct{ t *rapid.T }

func (d rapidDice) Roll(n int) int { return rapid.IntRange(0, n-1).Draw(d.t, "roll") }

type flatDice struct{ *rand.Rand }

func (d flatDice) Roll(n int) int { return d.IntN(n) }

func dice(t *rapid.T) yardtest.Dice {
	if rapid.IntRange(0, 3).Draw(t, "fair") == 3 {
		return rapidDice{t}
	}
	return flatDice{rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))}
}

// TestStories tells random stories and compares the domain with the model
// after every step.
func TestStories(t *testing.T) {
	accepted := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		rules := yardtest.Rules
		if rapid.Bool().Draw(t, "rules of stacking") {
			rules.Stacks = yard.StackRules{MaxTiers: 3, MaxOverhangMM: 300, BearerInsetMM: 250}
		}
		m := newModel(rules)
		open := yard.RulesSet{Rules: rules}
		s := yard.Evolve(yard.New("alder"), open)
		history := []yard.Event{open}
		teller := yardtest.Teller{Dice: dice(t), Now: yardtest.Start}
		for range rapid.SampledFrom([]int{300, 200, 100, 20}).Draw(t, "steps") {
			c := teller.Next(s)
			events, err := yard.Decide(s, c)
			if want := m.accepts(c); want != (err == nil) {
				t.Fatalf("%T %+v: the model says %v, the yard says %v", c, c, want, err)
			}
			if err != nil {
				continue
			}
			before := s
			checkHits(t, before, events)
			s = yard.EvolveAll(s, events)
			history = append(history, events...)
			m.apply(c)
			checkAgainst(t, s, m)
			accepted[nameOf(c)]++
		}
		checkReplay(t, s, history)
	})
	all := 0
	for _, n := range accepted {
		all += n
	}
	// A short look, as the race detector takes, need not come to everything.
	if all >= 1000 && len(accepted) < 19 {
		t.Errorf("the stories hardly say anything: %v", accepted)
	}
}

func nameOf(c yard.Command) string {
	switch c.(type) {
	case yard.ReceiveBatch:
		return "receive"
	case yard.RecordTest:
		return "test"
	case yard.ReleaseBatch:
		return "release"
	case yard.QuarantineBatch:
		return "quarantine"
	case yard.LiftQuarantine:
		return "lift"
	case yard.ReservePieces:
		return "reserve"
	case yard.DropReservation:
		return "drop"
	case yard.PickPieces:
		return "pick"
	case yard.LoadPieces:
		return "load"
	case yard.DeliverPieces:
		return "deliver"
	case yard.ReturnPieces:
		return "return"
	case yard.ScrapPieces:
		return "scrap"
	case yard.EndKeeping:
		return "free"
	case yard.Relocate:
		return "relocate"
	case yard.ExchangePieces:
		return "exchange"
	case yard.PackPallets:
		return "pack"
	case yard.SplitPallet:
		return "split"
	case yard.MergePallets:
		return "merge"
	case yard.UnpackPallets:
		return "unpack"
	default:
		return "move"
	}
}

// checkHits compares the hits of a quarantine with every piece of the yard.
func checkHits(t *rapid.T, s yard.State, events []yard.Event) {
	for _, event := range events {
		q, ok := event.(yard.BatchQuarantined)
		if !ok {
			continue
		}
		got := map[string]yard.Hit{}
		for _, hit := range q.Hits {
			got[hit.PieceID] = hit
		}
		want := map[string]yard.Hit{}
		s.Pieces(func(p yard.Piece) {
			if p.BatchID == q.BatchID && slices.Contains([]yard.PieceState{yard.Reserved, yard.Picked, yard.Loaded, yard.Delivered}, p.State) {
				want[p.ID] = yard.Hit{PieceID: p.ID, State: p.State, Allocation: *p.Allocation}
			}
		})
		if diff := cmp.Diff(want, got); diff != "" || len(got) != len(q.Hits) {
			t.Fatalf("hits of batch %s (-want +got):\n%s", q.BatchID, diff)
		}
	}
}

// checkAgainst compares the state with the model, piece by piece, and checks
// what must always hold.
func checkAgainst(t *rapid.T, s yard.State, m *model) {
	count := 0
	s.Pieces(func(p yard.Piece) {
		count++
		want := m.pieces[p.ID]
		if want == nil || want.state != p.State || want.batch != p.BatchID {
			t.Fatalf("piece %s is %+v, the model has %+v", p.ID, p, want)
		}
		switch p.State {
		case yard.InYard, yard.Dissolved:
			if p.Allocation != nil {
				t.Fatalf("piece %s is nobody's but promised: %+v", p.ID, p.Allocation)
			}
		case yard.Scrapped:
		default:
			if p.Allocation == nil || p.Allocation.RunID != want.run || p.Allocation.ReservationID != want.reservation {
				t.Fatalf("piece %s is promised to %+v, the model has %+v", p.ID, p.Allocation, want)
			}
		}
		if !p.IsPallet() && p.StackID != want.stack {
			t.Fatalf("piece %s lies on %q, the model has %q", p.ID, p.StackID, want.stack)
		}
	})
	if count != len(m.pieces) {
		t.Fatalf("%d pieces, the model has %d", count, len(m.pieces))
	}
	s.Batches(func(b yard.Batch) { checkBatch(t, b, m) })
	stacks := 0
	s.Stacks(func(st yard.Stack) {
		stacks++
		if m.holds(st.ID) != st.BatchID || !slices.Equal(st.Pieces, m.stacks[st.ID]) {
			t.Fatalf("stack %+v, the model has %s: %v", st, m.holds(st.ID), m.stacks[st.ID])
		}
	})
	checkReservations(t, s, m)
}

func checkBatch(t *rapid.T, b yard.Batch, m *model) {
	want := m.batches[b.ID]
	if want == nil || want.state != b.State {
		t.Fatalf("batch %s is %+v, the model has %+v", b.ID, b, want)
	}
	if (b.State == yard.Released) != (b.Release != nil) {
		t.Fatalf("batch %s in state %d has release %+v", b.ID, b.State, b.Release)
	}
	counts := yard.Counts{Made: want.made, InYard: want.loose, Scrapped: want.scrapped}
	for _, p := range m.of(b.ID) {
		n := max(p.blocks, 1)
		switch p.state {
		case yard.InYard:
			counts.InYard += n
		case yard.Reserved:
			counts.Reserved += n
		case yard.Picked:
			counts.Picked += n
		case yard.Loaded:
			counts.Loaded += n
		case yard.Delivered:
			counts.Delivered += n
		case yard.Scrapped:
			counts.Scrapped += n
		}
	}
	if b.Counts != counts {
		t.Fatalf("counts of batch %s are %+v, counted %+v", b.ID, b.Counts, counts)
	}
	if c := b.Counts; c.Made != c.InYard+c.Reserved+c.Picked+c.Loaded+c.Delivered+c.Scrapped {
		t.Fatalf("batch %s lost or found pieces: %+v", b.ID, c)
	}
}

func checkReservations(t *rapid.T, s yard.State, m *model) {
	want := map[string]int{}
	for _, p := range m.pieces {
		if p.state == yard.Reserved {
			want[p.reservation]++
		}
	}
	seen := map[string]string{}
	for _, id := range []string{"V0", "V1", "V2", "V3"} {
		for _, piece := range s.Promised(id) {
			if other, twice := seen[piece]; twice {
				t.Fatalf("piece %s is promised by %s and by %s", piece, other, id)
			}
			seen[piece] = id
		}
		if got := len(s.Promised(id)); got != want[id] {
			t.Fatalf("reservation %s holds %d pieces, the model has %d", id, got, want[id])
		}
	}
}

// checkReplay makes the state again from its history and from a snapshot.
func checkReplay(t *rapid.T, s yard.State, history []yard.Event) {
	if diff := cmp.Diff(picture(s), picture(yard.EvolveAll(yard.New("alder"), history)), cmpopts.IgnoreUnexported(yard.Batch{})); diff != "" {
		t.Fatalf("replay differs (-state +replay):\n%s", diff)
	}
	data, err := yard.Snapshot(s)
	if err != nil {
		t.Fatal(err)
	}
	restored, err := yard.Restore("alder", data)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(picture(s), picture(restored), cmpopts.IgnoreUnexported(yard.Batch{})); diff != "" {
		t.Fatalf("restored snapshot differs (-state +restored):\n%s", diff)
	}
}

// picture is a state as plain values that can be compared.
func picture(s yard.State) any {
	type batch struct {
		Batch   yard.Batch
		Pallets []string
	}
	var p struct {
		Rules    yard.Rules
		Open     bool
		Batches  []batch
		Pieces   map[string]yard.Piece
		Stacks   map[string]yard.Stack
		Promised map[string][]string
	}
	p.Rules, p.Open = s.Rules(), s.Open()
	p.Pieces, p.Stacks, p.Promised = map[string]yard.Piece{}, map[string]yard.Stack{}, map[string][]string{}
	s.Batches(func(b yard.Batch) {
		p.Batches = append(p.Batches, batch{b, b.PalletIDs()})
	})
	s.Pieces(func(piece yard.Piece) { p.Pieces[piece.ID] = piece })
	s.Stacks(func(st yard.Stack) { p.Stacks[st.ID] = st })
	for _, id := range []string{"V0", "V1", "V2", "V3"} {
		p.Promised[id] = append([]string{}, s.Promised(id)...)
	}
	return p
}
