package ledger

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"
	"pgregory.net/rapid"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/natsd"
)

// trouble is what happens to one append on its way.
type trouble int

const (
	none       trouble = iota
	lostOnWay          // the server never sees it
	lostAnswer         // it is stored, and nobody hears of it
	late               // it arrives after the next append has been tried
)

// badWire has trouble with appends, as told beforehand.
type badWire struct {
	*nats.Conn
	mu      sync.Mutex
	coming  []trouble
	delayed []*nats.Msg
	held    []*nats.Msg // the first messages of the batch being sent
	tried   int
}

func (w *badWire) next() trouble {
	w.tried++
	if len(w.coming) == 0 {
		return none
	}
	t := w.coming[0]
	w.coming = w.coming[1:]
	return t
}

func (w *badWire) PublishMsg(m *nats.Msg) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.held = append(w.held, m)
	return nil
}

func (w *badWire) RequestMsgWithContext(ctx context.Context, m *nats.Msg) (*nats.Msg, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	all := append(w.held, m)
	w.held = nil
	t := w.next()
	if t == late {
		w.delayed = append(w.delayed, all...)
		return nil, context.DeadlineExceeded
	}
	if t == lostOnWay {
		return nil, context.DeadlineExceeded
	}
	answer, err := w.send(ctx, all)
	_ = w.flush()
	if t == lostAnswer {
		return nil, context.DeadlineExceeded
	}
	return answer, err
}

func (w *badWire) send(ctx context.Context, all []*nats.Msg) (*nats.Msg, error) {
	for _, m := range all[:len(all)-1] {
		if err := w.Conn.PublishMsg(m); err != nil {
			return nil, err
		}
	}
	return w.Conn.RequestMsgWithContext(ctx, all[len(all)-1])
}

// flush lets what is late arrive.
func (w *badWire) flush() error {
	for _, m := range w.delayed {
		if err := w.Conn.PublishMsg(m); err != nil {
			return err
		}
	}
	w.delayed = nil
	return w.Flush()
}

func sums(service string) Domain[int, int] {
	return Domain[int, int]{
		Service:  service,
		New:      func(string) int { return 0 },
		Evolve:   func(sum, n int) int { return sum + n },
		Encode:   func(n int) (string, []byte, error) { return "added", []byte(strconv.Itoa(n)), nil },
		Decode:   func(_ string, data []byte) (int, error) { return strconv.Atoi(string(data)) },
		Snapshot: func(sum int) ([]byte, error) { return []byte(strconv.Itoa(sum)), nil },
		Restore:  func(_ string, data []byte) (int, error) { return strconv.Atoi(string(data)) },
	}
}

// adding leads to some events that each add n, and is refused when the sum
// would fall below zero.
func adding(request string, n, events int) Command[int, int] {
	return Command[int, int]{
		RequestID: request, Actor: "mara", Time: time.Unix(1900000000, 0),
		Decide: func(sum int) ([]int, error) {
			if sum+n*events < 0 {
				return nil, fault.New(fault.Stale, "TOO_LITTLE", "There is only %d.", sum)
			}
			var facts []int
			for range events {
				facts = append(facts, n)
			}
			return facts, nil
		},
	}
}

type server struct{ *natsd.Server }

func startServer(t *testing.T) server {
	t.Helper()
	s, err := natsd.Start(natsd.Config{Dir: t.TempDir(), MaxStoreBytes: 1 << 40, Log: silent})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Stop)
	return server{s}
}

var silent = slog.New(slog.NewTextHandler(io.Discard, nil))

// open returns a ledger and its wire.
func (s server) open(t interface{ Fatal(...any) }, service string) (*Ledger[int, int], *badWire) {
	conn, err := s.Connect()
	if err != nil {
		t.Fatal(err)
	}
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	l, err := Open(context.Background(), js, sums(service), Options{MaxBytes: 1 << 20, Log: silent})
	if err != nil {
		t.Fatal(err)
	}
	w := &badWire{Conn: conn}
	l.stream.wire = w
	return l, w
}

func TestLostAppends(t *testing.T) {
	s := startServer(t)
	for _, c := range []struct {
		name    string
		coming  []trouble
		kind    fault.Kind // of the first answer; success when Internal
		changed bool
	}{
		{"nothing lost", nil, 0, true},
		{"lost on its way", []trouble{lostOnWay}, 0, true},
		{"answer lost", []trouble{lostAnswer}, 0, true},
		{"late", []trouble{late}, 0, true},
		{"late, then answer lost", []trouble{late, lostAnswer}, 0, true},
		{"answer lost after being lost", []trouble{lostOnWay, lostOnWay, lostAnswer}, 0, true},
		{"lost for good", []trouble{lostOnWay, lostOnWay, lostOnWay, lostOnWay, lostOnWay}, fault.Unavailable, false},
		{"last answer lost", []trouble{lostOnWay, lostOnWay, lostOnWay, lostOnWay, lostAnswer}, 0, true},
	} {
		for _, events := range []int{1, 3} {
			t.Run(fmt.Sprintf("%s, %d events", c.name, events), func(t *testing.T) {
				l, w := s.open(t, "t"+strings.ToLower(nuid.Next()))
				defer l.Close()
				w.coming = c.coming
				r, err := l.Do(t.Context(), "north", adding("r", 1, events))
				if c.kind != fault.Internal {
					if fault.KindOf(err) != c.kind {
						t.Fatalf("got %v, want %v", err, c.kind)
					}
				} else if err != nil || r.Repeated || len(r.Events) != events {
					t.Fatalf("got %+v, %v", r, err)
				}
				// Sent again, it tells the truth and changes nothing more.
				r, err = l.Do(t.Context(), "north", adding("r", 1, events))
				if err != nil || r.Repeated != c.changed || len(r.Events) != events {
					t.Fatalf("sent again: %+v, %v", r, err)
				}
				w.mu.Lock()
				err = w.flush()
				w.mu.Unlock()
				if err != nil {
					t.Fatal(err)
				}
				other, _ := s.open(t, l.Service())
				defer other.Close()
				if sum, _, err := other.State(t.Context(), "north", 0); err != nil || sum != events {
					t.Fatalf("sum %d, %v, want %d", sum, err, events)
				}
			})
		}
	}
}

// TestRandomTrouble lets two replicas take random commands over wires that lose
// and delay at random, and compares every answer with the history that is
// there in the end.
func TestRandomTrouble(t *testing.T) {
	s := startServer(t)
	rapid.Check(t, func(t *rapid.T) {
		service := "t" + strings.ToLower(nuid.Next())
		var ledgers []*Ledger[int, int]
		var wires []*badWire
		for range 2 {
			l, w := s.open(t, service)
			defer l.Close()
			defer w.Close()
			w.coming = rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 11), func(n int) trouble {
				return trouble(max(0, n-8)) // mostly none
			}), 0, 30).Draw(t, "trouble")
			ledgers, wires = append(ledgers, l), append(wires, w)
		}
		told := map[string]string{} // what callers were told of a request
		for range rapid.IntRange(1, 12).Draw(t, "steps") {
			request := fmt.Sprint("r", rapid.IntRange(0, 6).Draw(t, "request"))
			events := int(request[1]-'0')%3 + 1
			n := []int{2, 1, -1}[int(request[1]-'0')%3]
			l := ledgers[rapid.IntRange(0, 1).Draw(t, "replica")]
			r, err := l.Do(context.Background(), "north", adding(request, n, events))
			switch {
			case err == nil:
				ids := ""
				for _, e := range r.Events {
					ids += " " + e.ID
				}
				if before := told[request]; before != "" && before != ids {
					t.Fatalf("%s led to%s, and before to%s", request, ids, before)
				}
				told[request] = ids
			case fault.KindOf(err) == fault.Unavailable || fault.KindOf(err) == fault.Conflict:
				// open: both are possible
			case fault.ReasonOf(err) == "TOO_LITTLE":
				if told[request] != "" {
					t.Fatalf("%s is refused after it was carried out", request)
				}
			default:
				t.Fatal(err)
			}
		}
		for _, w := range wires {
			w.mu.Lock()
			if err := w.flush(); err != nil {
				t.Fatal(err)
			}
			w.mu.Unlock()
		}
		compare(t, s, service, told)
	})
}

// compare replays the history and holds it against what callers were told.
func compare(t *rapid.T, s server, service string, told map[string]string) {
	l, w := s.open(t, service)
	defer l.Close()
	defer w.Close()
	last, err := l.LastPosition(context.Background(), "north")
	if errors.Is(err, fault.NotFound) {
		if len(told) > 0 {
			t.Fatalf("nothing is stored of %v", told)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	stored, sum := map[string]string{}, 0
	err = l.Follow(context.Background(), "north", 0, func(e Event[int]) error {
		stored[e.RequestID] += " " + e.ID
		sum += e.Fact
		if e.Position == last {
			return io.EOF
		}
		return nil
	})
	if !errors.Is(err, io.EOF) {
		t.Fatal(err)
	}
	for request, ids := range told {
		if stored[request] != ids {
			t.Fatalf("%s: told%s, stored%s", request, ids, stored[request])
		}
	}
	for request, ids := range stored {
		if got, want := len(strings.Fields(ids)), int(request[1]-'0')%3+1; got != want {
			t.Fatalf("%s has %d events, want %d", request, got, want)
		}
	}
	if state, _, err := l.State(context.Background(), "north", 0); err != nil || state != sum || sum < 0 {
		t.Fatalf("state %d, %v, the events add up to %d", state, err, sum)
	}
}
