package ledger

import "time"

// remembered is how long a request id is known after its events, counted by
// the times of events alone, so that every replica and every replay forgets
// the same ids at the same event.
const remembered = 30 * 24 * time.Hour

// rememberedLeast of the newest ids are kept however old they are, so that a
// clock that jumps ahead does not make the ledger forget everything at once.
const rememberedLeast = 10_000

// request is what is kept of a carried out command.
type request struct {
	ID          string    `json:"id"`
	First       uint64    `json:"first"`
	Last        uint64    `json:"last"`
	Fingerprint string    `json:"fingerprint"`
	Decision    string    `json:"decision"`
	Time        time.Time `json:"time"`
}

// book holds the request ids of a yard, in the order of their events.
type book struct {
	byID   map[string]*request
	order  []*request
	newest time.Time
}

func newBook() *book { return &book{byID: map[string]*request{}} }

// note enters an event that has become part of the state.
func (b *book) note(r *record) {
	if known, ok := b.byID[r.RequestID]; ok && known.Decision == r.decision.id {
		known.Last = r.Position
	} else {
		b.add(&request{
			ID: r.RequestID, First: r.Position, Last: r.Position,
			Fingerprint: r.requestHash, Decision: r.decision.id, Time: r.Time,
		})
	}
	if r.Time.After(b.newest) {
		b.newest = r.Time
	}
	b.prune()
}

func (b *book) add(q *request) {
	b.byID[q.ID] = q
	b.order = append(b.order, q)
}

// prune forgets from the front only. An id with a late time holds back those
// behind it, never longer than until it is old itself.
func (b *book) prune() {
	edge := b.newest.Add(-remembered)
	for len(b.order) > rememberedLeast && b.order[0].Time.Before(edge) {
		oldest := b.order[0]
		b.order[0] = nil
		b.order = b.order[1:]
		if b.byID[oldest.ID] == oldest {
			delete(b.byID, oldest.ID)
		}
	}
}

func (b *book) find(id string) (request, bool) {
	if q, ok := b.byID[id]; ok {
		return *q, true
	}
	return request{}, false
}

// all returns a copy in order.
func (b *book) all() []request {
	out := make([]request, len(b.order))
	for i, q := range b.order {
		out[i] = *q
	}
	return out
}
