package readmodel

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/redis/go-redis/v9"
	"google.golang.org/protobuf/testing/protocmp"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

const testYard = "tarn"

// onEachRedis runs a test on the in-process Redis and on a real one.
func onEachRedis(t *testing.T, test func(t *testing.T, client redis.UniversalClient)) {
	t.Run("in process", func(t *testing.T) {
		server := miniredis.RunT(t)
		client := redis.NewClient(&redis.Options{Addr: server.Addr()})
		t.Cleanup(func() { _ = client.Close() })
		test(t, client)
	})
	t.Run("redis-server", func(t *testing.T) { test(t, realRedis(t)) })
}

// realRedis starts Debian's redis-server on a free port.
func realRedis(t testing.TB) redis.UniversalClient {
	t.Helper()
	binary, err := exec.LookPath("redis-server")
	if err != nil {
		if os.Getenv("SPANYARD_TEST") == "full" {
			t.Fatal("redis-server is not installed; scripts/test installs it")
		}
		t.Skip("redis-server is not installed; this half of the test runs in the full test only")
	}
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, port, _ := strings.Cut(lis.Addr().String(), ":")
	if err := lis.Close(); err != nil {
		t.Fatal(err)
	}
	server := exec.Command(binary, "--port", port, "--bind", "127.0.0.1", "--save", "", "--appendonly", "no", "--dir", t.TempDir())
	server.Stdout, server.Stderr = io.Discard, io.Discard
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	client := redis.NewClient(&redis.Options{Addr: "127.0.0.1:" + port})
	t.Cleanup(func() {
		_ = client.Close()
		_ = server.Process.Kill()
		_ = server.Wait()
	})
	within(t, "redis-server answers", func() bool { return client.Ping(context.Background()).Err() == nil })
	return client
}

func within(t testing.TB, what string, done func() bool) {
	t.Helper()
	deadline := time.After(15 * time.Second)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !done() {
		select {
		case <-tick.C:
		case <-deadline:
			t.Fatal("not within 15 s: " + what)
		}
	}
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// project keeps a view of a book until the test ends.
func project(t testing.TB, client redis.UniversalClient, b *book) *View {
	t.Helper()
	v := New(client, quiet())
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = v.Project(ctx, testYard, b)
	}()
	t.Cleanup(func() { cancel(); <-done })
	return v
}

type dice struct{ r *rand.Rand }

func (d dice) Roll(n int) int { return d.r.IntN(n) }

// tell plays some commands of a made-up story into a book.
func tell(b *book, teller *yardtest.Teller, commands int) {
	if len(b.events) == 0 {
		b.append(yard.RulesSet{Rules: yardtest.Rules})
	}
	for range commands {
		state, _, _ := b.State(context.Background(), testYard, 0)
		if events, err := yard.Decide(state, teller.Next(state)); err == nil && len(events) > 0 {
			b.append(events...)
		}
	}
}

func newTeller(seed uint64) *yardtest.Teller {
	return &yardtest.Teller{Dice: dice{rand.New(rand.NewPCG(seed, 7))}, Now: yardtest.Start}
}

func TestEveryQueryAgreesWithTheState(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		b, teller := newBook(), newTeller(1)
		tell(b, teller, 30)
		v := project(t, client, b)
		for range 12 {
			tell(b, teller, 25)
			compare(t, v, b)
		}
		// Lost in the middle: the same answers, built again.
		if err := client.FlushDB(t.Context()).Err(); err != nil {
			t.Fatal(err)
		}
		tell(b, teller, 25)
		compare(t, v, b)
		// A second writer changes nothing and may come late.
		second := project(t, client, b)
		for range 8 {
			tell(b, teller, 25)
			compare(t, v, b)
			compare(t, second, b)
		}
	})
}

// TestGoesOnFromWhereItStood restarts the projection at a view that lags.
func TestGoesOnFromWhereItStood(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		b, teller := newBook(), newTeller(2)
		tell(b, teller, 60)
		for range 6 {
			v := New(client, quiet())
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan struct{})
			go func() { defer close(done); _ = v.Project(ctx, testYard, b) }()
			compare(t, v, b)
			cancel()
			<-done
			before, err := client.Get(t.Context(), pointerKey(testYard)).Result()
			if err != nil {
				t.Fatal(err)
			}
			tell(b, teller, 40)
			v2 := project(t, client, b)
			compare(t, v2, b)
			if after := client.Get(t.Context(), pointerKey(testYard)).Val(); after != before {
				t.Fatal("a view that only lagged was built anew")
			}
		}
	})
}

func TestAViewOfAnotherLedgerIsReplaced(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		first, second := newBook(), newBook()
		tell(first, newTeller(3), 80)
		v := New(client, quiet())
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); _ = v.Project(ctx, testYard, first) }()
		compare(t, v, first)
		cancel()
		<-done
		tell(second, newTeller(4), 40)
		for i := range second.events {
			second.events[i].ID = "other-" + second.events[i].ID
		}
		within(t, "the other ledger shows", func() bool {
			pctx, stop := context.WithTimeout(t.Context(), 300*time.Millisecond)
			defer stop()
			_ = New(client, quiet()).Project(pctx, testYard, second)
			_, position, err := New(client, quiet()).Batches(t.Context(), testYard, 0)
			return err == nil && position == second.last()
		})
		compare(t, New(client, quiet()), second)
		// Nothing of the old generation is left behind.
		keys, err := client.Keys(t.Context(), "spanyard:*").Result()
		if err != nil {
			t.Fatal(err)
		}
		prefix := generationKeys(testYard, client.Get(t.Context(), pointerKey(testYard)).Val()).prefix
		for _, k := range keys {
			if k != pointerKey(testYard) && !strings.HasPrefix(k, prefix) {
				t.Errorf("left behind: %s", k)
			}
		}
	})
}

func TestWritesAreOrderedAndOnce(t *testing.T) {
	onEachRedis(t, func(t *testing.T, client redis.UniversalClient) {
		k := generationKeys(testYard, "x")
		write := func(from, to uint64, value string) int {
			b := newBatch(k, from)
			b.to = to
			b.hset(k.pieces(), "P", value)
			n, err := writeScript.Run(t.Context(), client, b.names, b.args()...).Int()
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
		// Beyond 2^53 numbers lose digits; positions near it must not.
		const far = 9_007_199_254_740_900
		for _, step := range []struct {
			from, to uint64
			value    string
			answer   int
			holds    string
		}{
			{0, 5, "a", 1, "a"}, {0, 5, "again", 0, "a"}, {3, 4, "late", 0, "a"}, {9, 12, "early", -1, "a"},
			{5, 12, "b", 1, "b"}, {5, 13, "overlapping", 1, "overlapping"}, {13, far, "c", 1, "c"}, {far, far + 1, "d", 1, "d"}, {far, far + 1, "e", 0, "d"},
		} {
			if got := write(step.from, step.to, step.value); got != step.answer {
				t.Errorf("%+v answered %d", step, got)
			}
			if got := client.HGet(t.Context(), k.pieces(), "P").Val(); got != step.holds {
				t.Errorf("%+v left %q", step, got)
			}
		}
		if got := client.Get(t.Context(), k.cursor()).Val(); got != fmt.Sprint(uint64(far+1)) {
			t.Errorf("cursor is %s", got)
		}
	})
}

// TestOneSlot makes sure that no call names keys of two hash slots.
func TestOneSlot(t *testing.T) {
	k := generationKeys("quarry-9", "abc")
	for _, name := range append(k.tables(), pointerKey("quarry-9"), buildingKey("quarry-9"), k.prefix+pieceHistory("B}1{x")) {
		open := strings.IndexByte(name, '{')
		if open < 0 || !strings.HasPrefix(name[open:], "{quarry-9}") {
			t.Errorf("%s does not lie in the yard's slot", name)
		}
	}
}

func TestReadsSayWhatIsWrong(t *testing.T) {
	server := miniredis.RunT(t)
	client := redis.NewClient(&redis.Options{Addr: server.Addr(), MaxRetries: -1})
	defer client.Close()
	b := newBook()
	tell(b, newTeller(5), 40)
	short := func() context.Context {
		ctx, cancel := context.WithTimeout(t.Context(), 60*time.Millisecond)
		t.Cleanup(cancel)
		return ctx
	}
	v := New(client, quiet())
	if _, _, err := v.Batches(short(), testYard, 0); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("without a view: %v", err)
	}
	v = project(t, client, b)
	compare(t, v, b)
	if _, _, err := v.Batches(short(), testYard, b.last()+1); fault.ReasonOf(err) != "POSITION_NOT_REACHED" {
		t.Errorf("ahead of the ledger: %v", err)
	}
	if _, _, _, err := v.Batch(t.Context(), testYard, "B-none", 0); fault.ReasonOf(err) != "BATCH_UNKNOWN" {
		t.Errorf("unknown batch: %v", err)
	}
	if _, err := v.History(t.Context(), testYard, "P-none", 0); fault.ReasonOf(err) != "PIECE_UNKNOWN" {
		t.Errorf("unknown piece: %v", err)
	}
	if _, err := v.Stack(t.Context(), testYard, "S-none", 0); fault.ReasonOf(err) != "STACK_UNKNOWN" {
		t.Errorf("unknown stack: %v", err)
	}
	server.Close()
	if _, _, err := v.Batches(t.Context(), testYard, 0); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("without Redis: %v", err)
	}
}

// compare asks every query and works the answers out from the state, slowly.
func compare(t *testing.T, v *View, b *book) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 15*time.Second)
	defer cancel()
	s, last, _ := b.State(ctx, testYard, 0)
	same := func(what string, got, want any) {
		t.Helper()
		if d := gocmp.Diff(want, got, protocmp.Transform(), cmpopts.EquateEmpty()); d != "" {
			t.Fatalf("%s (- state, + view):\n%s", what, d)
		}
	}
	batches, position, err := v.Batches(ctx, testYard, last)
	if err != nil {
		t.Fatal(err)
	}
	if position != last {
		t.Fatalf("view stands at %d, the ledger at %d", position, last)
	}
	var want []*stockv1.Batch
	var ids []string
	s.Batches(func(x yard.Batch) { want = append(want, BatchDoc(s.Rules(), x)) })
	s.Pieces(func(p yard.Piece) { ids = append(ids, p.ID) })
	slices.Sort(ids)
	same("batches", batches, want)
	if len(ids) > 0 {
		pieces, _, err := v.Pieces(ctx, testYard, append(ids, "X-unknown"), last)
		if err != nil {
			t.Fatal(err)
		}
		var wantPieces []*stockv1.Piece
		for _, id := range ids {
			wantPieces = append(wantPieces, slowPiece(s, id))
		}
		same("pieces", pieces, wantPieces)
	}
	compareFree(t, v, s, last, same)
	s.Batches(func(x yard.Batch) {
		got, pieces, _, err := v.Batch(ctx, testYard, x.ID, last)
		if err != nil {
			t.Fatal(err)
		}
		same("batch", got, BatchDoc(s.Rules(), x))
		var wantPieces []*stockv1.Piece
		for _, id := range x.PieceIDs() {
			wantPieces = append(wantPieces, slowPiece(s, id))
		}
		same("pieces of "+x.ID, pieces, slices.Clip(wantPieces))
	})
	s.Stacks(func(st yard.Stack) {
		got, err := v.Stack(ctx, testYard, st.ID, last)
		if err != nil {
			t.Fatal(err)
		}
		ids := slices.Clone(st.Pieces)
		slices.Reverse(ids)
		var gotIDs []string
		for _, p := range got.GetPieces() {
			gotIDs = append(gotIDs, p.GetPieceId())
		}
		same("stack "+st.ID, gotIDs, ids)
	})
	compareHistories(t, v, b, ids, last)
	compareSummary(t, v, s, last, same)
}

func slowPiece(s yard.State, id string) *stockv1.Piece {
	p, _ := s.Piece(id)
	b, _ := s.Batch(p.BatchID)
	m := pieceDoc(p, b)
	addBatch(m, BatchDoc(s.Rules(), b))
	if st, ok := s.Stack(p.StackID); ok {
		if i := slices.Index(st.Pieces, id); i >= 0 {
			m.Tier = int32(i/s.Rules().BeamsPerStackTier) + 1
			for j := range st.Pieces {
				if j/s.Rules().BeamsPerStackTier+1 > int(m.Tier) {
					m.PiecesAbove++
				}
			}
		}
	}
	return m
}

func compareFree(t *testing.T, v *View, s yard.State, last uint64, same func(string, any, any)) {
	t.Helper()
	beams, blocks, _, err := v.Free(t.Context(), testYard, FreeFilter{}, last)
	if err != nil {
		t.Fatal(err)
	}
	var want []*stockv1.Piece
	s.Pieces(func(p yard.Piece) {
		if b, _ := s.Batch(p.BatchID); p.State == yard.InYard && b.State == yard.Released {
			want = append(want, slowPiece(s, p.ID))
		}
	})
	byID := func(a, b *stockv1.Piece) int { return cmp.Compare(a.GetPieceId(), b.GetPieceId()) }
	for i := 1; i < len(beams); i++ {
		a, b := beams[i-1], beams[i]
		if a.GetReleasedOn() > b.GetReleasedOn() || a.GetReleasedOn() == b.GetReleasedOn() && a.GetStackId() == b.GetStackId() && a.GetBatchId() == b.GetBatchId() && a.GetTier() < b.GetTier() {
			t.Fatalf("%v stands before %v", a, b)
		}
	}
	sorted := slices.Clone(beams)
	slices.SortFunc(sorted, byID)
	slices.SortFunc(want, byID)
	same("free beams", sorted, want)
	loose := 0
	s.Batches(func(b yard.Batch) {
		if b.Kind == yard.Blocks && b.State == yard.Released {
			loose += b.Counts.InYard
		}
	})
	for _, l := range blocks {
		loose -= int(l.GetBlockCount())
	}
	same("free blocks", loose, 0)
}

func compareHistories(t *testing.T, v *View, b *book, ids []string, last uint64) {
	t.Helper()
	for i := 0; i < len(ids); i += 7 {
		got, err := v.History(t.Context(), testYard, ids[i], last)
		if err != nil {
			t.Fatal(err)
		}
		var want []uint64
		for _, e := range b.events {
			for _, tale := range tales(e.Fact) {
				if tale.pieceID == ids[i] || tale.batchID == got.GetBatch().GetBatchId() {
					want = append(want, e.Position)
				}
			}
		}
		var positions []uint64
		for _, e := range got.GetEntries() {
			positions = append(positions, e.GetPosition())
			if e.GetActor() == "" || e.GetSentence() == "" {
				t.Fatalf("a history says nothing: %v", e)
			}
		}
		if !slices.Equal(positions, want) {
			t.Fatalf("history of %s has %v, want %v", ids[i], positions, want)
		}
	}
}

func compareSummary(t *testing.T, v *View, s yard.State, last uint64, same func(string, any, any)) {
	t.Helper()
	day := s.Day(yardtest.Start) + 9
	got, err := v.Summary(t.Context(), testYard, day, last)
	if err != nil {
		t.Fatal(err)
	}
	var free, provisional, reserved, held int32
	s.Pieces(func(p yard.Piece) {
		b, _ := s.Batch(p.BatchID)
		switch {
		case p.LengthMM == 0:
		case p.State == yard.Reserved:
			reserved++
		case p.State != yard.InYard:
		case b.State == yard.Released:
			free++
		case b.State == yard.Quarantined:
			held++
		case s.Rules().OldEnoughOn(b.Kind, b.MadeOn) <= day:
			provisional++
		}
	})
	for _, x := range got.GetBeams() {
		free, provisional = free-x.GetFree(), provisional-x.GetProvisional()
		reserved, held = reserved-x.GetReserved(), held-x.GetQuarantined()
	}
	same("summary of beams", []int32{free, provisional, reserved, held}, []int32{0, 0, 0, 0})
}

func BenchmarkRebuild(b *testing.B) {
	client := realRedis(b)
	ledger, teller := newBook(), newTeller(9)
	for len(ledger.events) < 20_000 {
		tell(ledger, teller, 2000)
	}
	v := New(client, quiet())
	b.ResetTimer()
	for b.Loop() {
		if _, err := v.rebuild(b.Context(), testYard, ledger, "o", client.Get(b.Context(), pointerKey(testYard)).Val()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(ledger.events)*b.N)/b.Elapsed().Seconds(), "events/s")
}
