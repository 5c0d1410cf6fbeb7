package readmodel

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/redis/go-redis/v9"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/stock/internal/yard"
	"spanyard.example/services/stock/internal/yard/yardtest"
)

const testYard = "tarn"

// onEachRedis runs a test on the in-process Redis and on a real one.
func onEachRedis(t *testing.T, test func(t *testing.T, client redis.UniversalClient)) {
	t.Parallel()
	t.Run("in process", func(t *testing.T) {
		t.Parallel()
		server := miniredis.RunT(t)
		client := redis.NewClient(&redis.Options{Addr: server.Addr()})
		t.Cleanup(func() { _ = client.Close() })
		test(t, client)
	})
	for name, cluster := range map[string]bool{"redis-server": false, "redis cluster": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			test(t, realRedis(t, cluster))
		})
	}
}

// realRedis starts Debian's redis-server on a free port, alone or as a cluster
// of one node, which refuses keys of different slots as a large one does.
func realRedis(t testing.TB, cluster bool) redis.UniversalClient {
	t.Helper()
	binary, err := exec.LookPath("redis-server")
	if err != nil {
		if os.Getenv("SPANYARD_TEST") == "full" {
			t.Fatal("redis-server is not installed; scripts/test installs it")
		}
		t.Skip("redis-server is not installed; this half of the test runs in the full test only")
	}
	port := freePort(t)
	arguments := []string{"--port", port, "--bind", "127.0.0.1", "--save", "", "--appendonly", "no", "--dir", t.TempDir()}
	if cluster {
		arguments = append(arguments, "--cluster-enabled", "yes", "--cluster-port", freePort(t))
	}
	server := exec.Command(binary, arguments...)
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
	if !cluster {
		return client
	}
	if err := client.Do(t.Context(), "CLUSTER", "ADDSLOTSRANGE", 0, 16383).Err(); err != nil {
		t.Fatal(err)
	}
	nodes := redis.NewClusterClient(&redis.ClusterOptions{Addrs: []string{"127.0.0.1:" + port}})
	t.Cleanup(func() { _ = nodes.Close() })
	within(t, "the cluster is up", func() bool { return nodes.Set(context.Background(), "ready", 1, 0).Err() == nil })
	return nodes
}

func freePort(t testing.TB) string {
	t.Helper()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer lis.Close()
	_, port, _ := strings.Cut(lis.Addr().String(), ":")
	return port
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
	v := New(client, b, quiet())
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = v.Project(ctx, testYard)
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
			v := New(client, b, quiet())
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan struct{})
			go func() { defer close(done); _ = v.Project(ctx, testYard) }()
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
		v := New(client, first, quiet())
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); _ = v.Project(ctx, testYard) }()
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
			_ = New(client, second, quiet()).Project(pctx, testYard)
			answer, _, err := New(client, second, quiet()).Batches(t.Context(), testYard, 0, "", 1)
			return err == nil && answer.GetPosition() == second.last()
		})
		compare(t, New(client, second, quiet()), second)
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
			names, args := b.script()
			n, err := writeScript.Run(t.Context(), client, names, args...).Int()
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
	v := New(client, b, quiet())
	if _, _, err := v.Batches(short(), testYard, 0, "", 1); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("without a view: %v", err)
	}
	if _, _, err := New(client, newBook(), quiet()).Batches(short(), testYard, 0, "", 1); fault.ReasonOf(err) != "YARD_UNKNOWN" {
		t.Errorf("without a yard: %v", err)
	}
	v = project(t, client, b)
	compare(t, v, b)
	if _, _, err := v.Batches(short(), testYard, b.last()+1, "", 1); fault.ReasonOf(err) != "POSITION_NOT_REACHED" {
		t.Errorf("ahead of the ledger: %v", err)
	}
	if _, err := v.Batch(t.Context(), testYard, "B-none", 0); fault.ReasonOf(err) != "BATCH_UNKNOWN" {
		t.Errorf("unknown batch: %v", err)
	}
	if _, err := v.History(t.Context(), testYard, "P-none", 0); fault.ReasonOf(err) != "PIECE_UNKNOWN" {
		t.Errorf("unknown piece: %v", err)
	}
	if _, err := v.Stack(t.Context(), testYard, "S-none", 0); fault.ReasonOf(err) != "STACK_UNKNOWN" {
		t.Errorf("unknown stack: %v", err)
	}
	server.Close()
	if _, _, err := v.Batches(t.Context(), testYard, 0, "", 1); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("without Redis: %v", err)
	}
}
