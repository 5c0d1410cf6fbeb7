package conformance

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
)

// raw reads a service's stream as it is.
func raw(t testing.TB, s suite, service string) []*jetstream.RawStreamMsg {
	t.Helper()
	stream, err := s.connect(t).Stream(within(t), ledger.StreamOf(service))
	if err != nil {
		t.Fatalf("stream: %v", err)
	}
	var all []*jetstream.RawStreamMsg
	for position := uint64(1); ; position++ {
		m, err := stream.GetMsg(within(t), position)
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			return all
		}
		if err != nil {
			t.Fatalf("position %d: %v", position, err)
		}
		all = append(all, m)
	}
}

func rawHeaders(t testing.TB, s suite, l *log) []nats.Header {
	t.Helper()
	var all []nats.Header
	for _, m := range raw(t, s, l.Service()) {
		all = append(all, m.Header)
	}
	return all
}

// publish puts a message into a stream behind the ledger's back.
func publish(t testing.TB, js jetstream.JetStream, service, yard string, m *jetstream.RawStreamMsg) uint64 {
	t.Helper()
	out := nats.NewMsg(fmt.Sprintf("spanyard.%s.%s.put", service, yard))
	out.Data = m.Data
	for key, values := range m.Header {
		if strings.HasPrefix(key, "ce-") {
			out.Header[key] = values
		}
	}
	out.Header.Set(nats.MsgIdHdr, nuid.Next())
	ack, err := js.PublishMsg(within(t), out)
	if err != nil {
		t.Fatalf("publish: %v", err)
	}
	return ack.Sequence
}

// wantBroken checks that a yard stands still, and that it says where.
func wantBroken(t testing.TB, l *log, yard string, position uint64) {
	t.Helper()
	want := fmt.Sprintf("position %d:", position)
	for range 2 {
		_, _, err := l.State(within(t), yard, position)
		wantFault(t, err, fault.Internal, "LEDGER_BROKEN")
		if !strings.Contains(err.Error(), want) {
			t.Fatalf("%q does not name %s", err, want)
		}
		refused(t, l, yard, put(nuid.Next(), 1), fault.Internal, "LEDGER_BROKEN")
	}
}

func noticesAForgedEvent(t *testing.T, s suite) {
	p := s.place()
	live := p.open(t)
	do(t, live, "north", put("r1", 1))
	do(t, live, "north", put("r2", 1))
	do(t, live, "south", put("r3", 1))
	all := raw(t, s, p.service)
	// The second event once more: it does not follow on itself.
	position := publish(t, s.connect(t), p.service, "north", all[1])
	wantBroken(t, live, "north", position)
	wantBroken(t, p.open(t), "north", position)
	err := p.open(t).Follow(within(t), "north", all[1].Sequence, func(event) error { return nil })
	wantFault(t, err, fault.Internal, "LEDGER_BROKEN")
	// The other yard is not touched.
	do(t, live, "south", put("r4", 1))
	if err := live.Healthy(within(t)); err != nil {
		t.Fatal(err)
	}
}

// copies makes streams out of a good one's messages, each with one thing wrong,
// as a damaged disk or a wrong backup would.
func copies(t *testing.T, s suite, from *place, change func([]*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg) *place {
	t.Helper()
	to := s.place()
	to.open(t) // makes the stream
	js := s.connect(t)
	for _, m := range change(raw(t, s, from.service)) {
		publish(t, js, to.service, "north", m)
	}
	return to
}

func noticesAnUnreadableEvent(t *testing.T, s suite) {
	from := s.place()
	l := from.open(t)
	for i := range 6 {
		do(t, l, "north", put(fmt.Sprintf("r%d", i), 1))
	}
	for _, c := range []struct {
		name     string
		position uint64
		change   func([]*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg
	}{
		{"nothing", 0, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg { return m }},
		{"lost", 3, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg { return slices.Delete(m, 2, 3) }},
		{"first lost", 1, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg { return m[1:] }},
		{"swapped", 3, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg {
			m[2], m[3] = m[3], m[2]
			return m
		}},
		{"content changed", 4, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg {
			m[2].Data = []byte(`{"amount":1000,"note":"r2/0"}`)
			return m
		}},
		{"actor changed", 4, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg {
			m[2].Header.Set("ce-actor", "nobody")
			return m
		}},
		{"header missing", 3, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg {
			m[2].Header.Del("ce-time")
			return m
		}},
		{"content unreadable", 3, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg {
			m[2].Data = []byte("{")
			return m
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := copies(t, s, from, c.change).open(t)
			if c.position == 0 {
				if got := state(t, l, "north", 0); got.Count != 6 {
					t.Fatalf("got %+v", got)
				}
				return
			}
			wantBroken(t, l, "north", c.position)
		})
	}
}

func noticesAPartialBatch(t *testing.T, s suite) {
	from := s.place()
	l := from.open(t)
	do(t, l, "north", put("r1", 1))
	do(t, l, "north", put("r2", 1, 2, 3))
	do(t, l, "north", put("r3", 1))
	in := copies(t, s, from, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg { return slices.Delete(m, 3, 4) })
	wantBroken(t, in.open(t), "north", 4)

	// The batch's end is missing at the end of the stream: what is whole can
	// be read, and nothing is written after it.
	cut := copies(t, s, from, func(m []*jetstream.RawStreamMsg) []*jetstream.RawStreamMsg { return m[:3] })
	l = cut.open(t)
	if got := state(t, l, "north", 0); got.Count != 1 {
		t.Fatalf("got %+v, want the first event alone", got)
	}
	refused(t, l, "north", put("r4", 1), fault.Internal, "LEDGER_BROKEN")
}
