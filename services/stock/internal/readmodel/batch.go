package readmodel

import (
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock/internal/yard"
)

// opCount is when a batch of operations is sent; an event is never split.
const opCount = 4000

// argsPerCall keeps one call of the script below Lua's limit.
const argsPerCall = 1000

// batch collects the operations that lead the view from one position to a
// later one. Documents are taken from the state at its end, so several events
// on one piece cost one write; each field is written once, so operations of
// one kind on one key are sent together.
type batch struct {
	keys     keys
	from, to uint64
	names    []string
	index    map[string]int
	calls    []call
	args     map[call][]any
	told     map[string]bool
	// ops counts what has come together.
	ops int
}

// call is a Redis command on a key, by its index among KEYS.
type call struct {
	command string
	key     int
}

func newBatch(k keys, from uint64) *batch {
	b := &batch{keys: k, from: from, to: from, index: map[string]int{}, args: map[call][]any{}, told: map[string]bool{}}
	b.key(k.cursor())
	return b
}

// key returns the index of a key among KEYS, from 1.
func (b *batch) key(name string) int {
	i, ok := b.index[name]
	if !ok {
		b.names = append(b.names, name)
		i = len(b.names)
		b.index[name] = i
	}
	return i
}

func (b *batch) add(command, key string, args ...any) {
	c := call{command, b.key(key)}
	if _, known := b.args[c]; !known {
		b.calls = append(b.calls, c)
	}
	b.args[c] = append(b.args[c], args...)
	b.ops++
}

func (b *batch) hset(key, field, value string) { b.add("HSET", key, field, value) }
func (b *batch) hdel(key, field string)        { b.add("HDEL", key, field) }
func (b *batch) set(key, value string)         { b.add("SET", key, value) }

func (b *batch) zadd(key string, score uint64, value string) {
	b.add("ZADD", key, strconv.FormatUint(score, 10), value)
}

// script returns the keys and arguments of the script that applies it all.
func (b *batch) script() (names []string, args []any) {
	args = append(args, strconv.FormatUint(b.from, 10), strconv.FormatUint(b.to, 10))
	for _, c := range b.calls {
		for chunk := range slices.Chunk(b.args[c], argsPerCall) {
			args = append(append(args, c.command, c.key, len(chunk)), chunk...)
		}
	}
	return b.names, args
}

// touched is what events changed.
type touched struct {
	rules   bool
	batches map[string]bool
	// released are batches whose standing changed, and with it what of them
	// is free.
	released map[string]bool
	// contents are batches that may have got or lost pieces.
	contents map[string]bool
	pieces   map[string]bool
	stacks   map[string]bool
	tallies  map[tallyKey]bool
	// marks are fields of the table of marks.
	marks map[string]bool
}

func newTouched() *touched {
	return &touched{
		batches: map[string]bool{}, released: map[string]bool{}, contents: map[string]bool{}, pieces: map[string]bool{},
		stacks: map[string]bool{}, tallies: map[tallyKey]bool{}, marks: map[string]bool{},
	}
}

// model follows the ledger in memory: the state, what is counted by length,
// and which pieces are for which mark, by id.
type model struct {
	state   yard.State
	tallies map[tallyKey]tally
	marks   map[string][]string
}

// newModel counts a state.
func newModel(s yard.State) *model {
	m := &model{state: s, tallies: map[tallyKey]tally{}, marks: map[string][]string{}}
	s.Pieces(func(p yard.Piece) { m.count(p, 1, nil) })
	return m
}

// apply takes an event into the model and notes what it changed.
func (m *model) apply(event yard.Event, t *touched) {
	before := m.state
	m.state = yard.Evolve(before, event)
	switch e := event.(type) {
	case yard.RulesSet:
		t.rules = true
		m.state.Batches(func(b yard.Batch) { t.batches[b.ID] = true })
	case yard.BatchReceived:
		t.batches[e.BatchID], t.contents[e.BatchID] = true, true
		for _, beam := range e.Beams {
			m.piece(before, beam.ID, t)
		}
		if e.Kind == yard.Blocks {
			t.stacks[e.Lot.StackID] = true
		}
	case yard.TestRecorded:
		t.batches[e.BatchID] = true
	case yard.CureRecorded:
		t.batches[e.BatchID] = true
	case yard.BatchReleased:
		t.batches[e.BatchID], t.released[e.BatchID] = true, true
	case yard.BatchQuarantined:
		t.batches[e.BatchID], t.released[e.BatchID] = true, true
	case yard.QuarantineLifted:
		t.batches[e.BatchID], t.released[e.BatchID] = true, true
	case yard.BlocksScrapped:
		t.batches[e.BatchID] = true
		if b, ok := m.state.Batch(e.BatchID); ok {
			t.stacks[b.Lot.StackID] = true
		}
	default:
		for _, id := range piecesOf(event) {
			m.piece(before, id, t)
		}
	}
}

// piecesOf returns the pieces that an event is about.
func piecesOf(event yard.Event) []string {
	var ids []string
	for _, t := range tales(event) {
		if t.pieceID != "" {
			ids = append(ids, t.pieceID)
		}
	}
	return ids
}

// piece notes a change of a piece.
func (m *model) piece(before yard.State, id string, t *touched) {
	t.pieces[id] = true
	old, had := before.Piece(id)
	now, has := m.state.Piece(id)
	if had {
		m.count(old, -1, t)
		m.standing(before, old, t)
	}
	if has {
		m.count(now, 1, t)
		m.standing(m.state, now, t)
	}
}

// standing notes where a piece stands: its batch and its stack, and for
// pallets the stack of their batch's loose blocks.
func (m *model) standing(s yard.State, p yard.Piece, t *touched) {
	t.batches[p.BatchID] = true
	if p.StackID != "" {
		t.stacks[p.StackID] = true
	}
	if b, ok := s.Batch(p.BatchID); ok && b.Kind == yard.Blocks {
		t.stacks[b.Lot.StackID], t.contents[b.ID] = true, true
	}
}

func (m *model) count(p yard.Piece, n int, t *touched) {
	if p.LengthMM == 0 {
		return
	}
	m.assign(p, n, t)
	k := tallyKey{p.BatchID, p.LengthMM}
	c := m.tallies[k]
	c.add(p.State, n)
	m.tallies[k] = c
	if t != nil {
		t.tallies[k] = true
	}
}

// assign counts a piece in or out of the mark that it is for.
func (m *model) assign(p yard.Piece, n int, t *touched) {
	jobID, mark, ok := p.Mark()
	if !ok {
		return
	}
	field := markKey{jobID, mark}.field()
	ids := m.marks[field]
	i, known := slices.BinarySearch(ids, p.ID)
	switch {
	case n > 0 && !known:
		ids = slices.Insert(ids, i, p.ID)
	case n < 0 && known:
		ids = slices.Delete(ids, i, i+1)
	}
	if len(ids) == 0 {
		delete(m.marks, field)
	} else {
		m.marks[field] = ids
	}
	if t != nil {
		t.marks[field] = true
	}
}

// names notes what an event may have changed, for a model that is past it.
func (m *model) names(event yard.Event, t *touched) {
	for _, tale := range tales(event) {
		if tale.batchID != "" {
			t.batches[tale.batchID], t.released[tale.batchID] = true, true
		}
		if tale.pieceID == "" {
			continue
		}
		t.pieces[tale.pieceID] = true
		if p, ok := m.state.Piece(tale.pieceID); ok {
			t.batches[p.BatchID], t.contents[p.BatchID] = true, true
		}
	}
	switch e := event.(type) {
	case yard.RulesSet:
		t.rules = true
		m.state.Batches(func(b yard.Batch) { t.batches[b.ID] = true })
	case yard.BatchReceived:
		t.contents[e.BatchID] = true
		for _, beam := range e.Beams {
			t.pieces[beam.ID] = true
		}
	}
}

// all notes everything that the model holds.
func (m *model) all() *touched {
	t := newTouched()
	t.rules = m.state.Open()
	m.state.Batches(func(b yard.Batch) { t.batches[b.ID], t.contents[b.ID] = true, true })
	m.state.Pieces(func(p yard.Piece) { t.pieces[p.ID] = true })
	m.state.Stacks(func(s yard.Stack) { t.stacks[s.ID] = true })
	for k := range m.tallies {
		t.tallies[k] = true
	}
	for field := range m.marks {
		t.marks[field] = true
	}
	return t
}

// write turns what was touched into operations, from the model as it is now.
// full is called whenever enough have come together.
func (m *model) write(t *touched, b *batch, full func() error) error {
	w := &writer{model: m, batch: b, full: full}
	if t.rules {
		b.set(b.keys.rules(), rulesDoc(m.state.Rules()))
	}
	for id := range t.batches {
		w.do(func() { w.putBatch(id) })
	}
	for id := range t.contents {
		w.do(func() { w.putContents(id) })
	}
	for id := range t.released {
		if batch, ok := m.state.Batch(id); ok && batch.Kind == yard.Beams {
			for _, piece := range batch.PieceIDs() {
				if !t.pieces[piece] {
					w.do(func() { w.putFree(piece, batch) })
				}
			}
		}
	}
	for id := range t.pieces {
		w.do(func() { w.putPiece(id) })
	}
	for id := range t.stacks {
		w.do(func() { w.putStack(id) })
	}
	for k := range t.tallies {
		w.do(func() { b.hset(b.keys.tally(), k.field(), m.tallies[k].value()) })
	}
	for field := range t.marks {
		w.do(func() { w.putMark(field) })
	}
	return w.err
}

// writer writes documents of a model into a batch.
type writer struct {
	model *model
	batch *batch
	full  func() error
	err   error
}

func (w *writer) do(put func()) {
	if w.err != nil {
		return
	}
	put()
	if w.batch.ops >= opCount && w.full != nil {
		w.err = w.full()
	}
}

func (w *writer) doc(key, field string, m proto.Message) {
	data, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		w.err = err
		return
	}
	w.batch.hset(key, field, string(data))
}

func (w *writer) putBatch(id string) {
	b, ok := w.model.state.Batch(id)
	if !ok {
		return
	}
	k := w.batch.keys
	w.doc(k.batches(), id, BatchDoc(w.model.state.Rules(), b))
	if b.Kind != yard.Blocks {
		return
	}
	if free, ok := freeBlocksDoc(b); ok {
		w.doc(k.blocks(), id, free)
	} else {
		w.batch.hdel(k.blocks(), id)
	}
}

func (w *writer) putContents(id string) {
	if b, ok := w.model.state.Batch(id); ok {
		w.batch.hset(w.batch.keys.contents(), id, contentsDoc(b.PieceIDs()))
	}
}

func (w *writer) putPiece(id string) {
	p, ok := w.model.state.Piece(id)
	if !ok {
		return
	}
	b, _ := w.model.state.Batch(p.BatchID)
	w.doc(w.batch.keys.pieces(), id, pieceDoc(p, b))
	w.putFree(id, b)
}

func (w *writer) putFree(id string, b yard.Batch) {
	p, _ := w.model.state.Piece(id)
	if free, ok := freeDoc(p, b); ok {
		w.doc(w.batch.keys.free(), id, free)
	} else {
		w.batch.hdel(w.batch.keys.free(), id)
	}
}

func (w *writer) putStack(id string) {
	if s, ok := w.model.state.Stack(id); ok {
		w.batch.hset(w.batch.keys.stacks(), id, stackOf(w.model.state, s).text())
	} else {
		w.batch.hdel(w.batch.keys.stacks(), id)
	}
}

func (w *writer) putMark(field string) {
	if ids := w.model.marks[field]; len(ids) > 0 {
		w.batch.hset(w.batch.keys.marks(), field, contentsDoc(ids))
	} else {
		w.batch.hdel(w.batch.keys.marks(), field)
	}
}

// tell writes what an event means into the histories.
func (b *batch) tell(e ledger.Event[yard.Event]) error {
	for _, t := range tales(e.Fact) {
		data, err := proto.MarshalOptions{Deterministic: true}.Marshal(entry(e.Meta, t))
		if err != nil {
			return err
		}
		name := pieceHistory(t.pieceID)
		if t.batchID != "" {
			name = batchHistory(t.batchID)
		}
		if !b.told[name] {
			b.told[name] = true
			b.hset(b.keys.told(), name, "")
		}
		b.zadd(b.keys.prefix+name, e.Position, string(data))
	}
	return nil
}
