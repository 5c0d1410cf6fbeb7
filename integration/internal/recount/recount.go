// Package recount reads the ledger of stock from its first event on, as it
// lies in the stream, and counts the pieces again. It shares no code with the
// stock service: only the event contract. It is slow and obvious on purpose.
package recount

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/protobuf/proto"

	eventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
)

// Piece is a beam or a pallet of blocks.
type Piece struct {
	Batch string
	State eventv1.PieceState
	// Run and Reservation that it is promised to.
	Run, Reservation string
	// Blocks on a pallet; 0 for a beam.
	Blocks int32
}

// Batch is what was received together.
type Batch struct {
	MadeOn                string
	Beams                 bool
	Made                  int32
	Released, Quarantined bool
	// Loose blocks that are nobody's.
	Loose int32
	// ScrappedBlocks were loose when they were written off.
	ScrappedBlocks int32
	Conforming     map[string]bool
}

// Count is the yard as its events say.
type Count struct {
	Pieces  map[string]*Piece
	Batches map[string]*Batch
	// Position of the last event.
	Position uint64
	// Wrong is every breach of the yard's laws, in the order of the events.
	Wrong []string

	rules *eventv1.YardRulesSet
	seen  map[string]uint64
}

// Read replays a yard.
func Read(ctx context.Context, js jetstream.JetStream, yard string) (*Count, error) {
	c := &Count{Pieces: map[string]*Piece{}, Batches: map[string]*Batch{}, seen: map[string]uint64{}}
	stream, err := js.Stream(ctx, "spanyard-stock")
	if err != nil {
		return nil, fmt.Errorf("find the ledger of stock: %w", err)
	}
	filter := "spanyard.stock." + yard + ".>"
	last, err := stream.GetLastMsgForSubject(ctx, filter)
	if err != nil {
		return nil, fmt.Errorf("read the newest event of yard %s: %w", yard, err)
	}
	consumer, err := stream.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{FilterSubjects: []string{filter}})
	if err != nil {
		return nil, fmt.Errorf("read the ledger of stock: %w", err)
	}
	// A lost pull is noticed within two heartbeats.
	messages, err := consumer.Messages(jetstream.PullHeartbeat(time.Second))
	if err != nil {
		return nil, fmt.Errorf("read the ledger of stock: %w", err)
	}
	defer messages.Stop()
	defer context.AfterFunc(ctx, messages.Stop)()
	for c.Position < last.Sequence {
		message, err := messages.Next()
		if err != nil {
			return nil, fmt.Errorf("read the ledger of stock after %d: %w", c.Position, errors.Join(err, ctx.Err()))
		}
		if err := c.take(message); err != nil {
			return nil, err
		}
	}
	c.check()
	return c, nil
}

func (c *Count) take(message jetstream.Msg) error {
	meta, err := message.Metadata()
	if err != nil {
		return err
	}
	c.Position = meta.Sequence.Stream
	id := message.Headers().Get("ce-id")
	if before, twice := c.seen[id]; twice {
		c.wrong("event %s is stored twice, at %d too", id, before)
	}
	c.seen[id] = c.Position
	var event eventv1.Event
	if err := proto.Unmarshal(message.Data(), &event); err != nil {
		return fmt.Errorf("event at %d cannot be read: %w", c.Position, err)
	}
	kind := message.Subject()[strings.LastIndexByte(message.Subject(), '.')+1:]
	if set := event.ProtoReflect().WhichOneof(event.ProtoReflect().Descriptor().Oneofs().ByName("kind")); set == nil || string(set.Name()) != kind {
		c.wrong("the subject says %s, the event does not", kind)
	}
	c.apply(&event)
	return nil
}

func (c *Count) wrong(format string, args ...any) {
	c.Wrong = append(c.Wrong, fmt.Sprintf("at %d: ", c.Position)+fmt.Sprintf(format, args...))
}

func (c *Count) apply(event *eventv1.Event) {
	switch e := event.GetKind().(type) {
	case *eventv1.Event_YardRulesSet:
		c.rules = e.YardRulesSet
	case *eventv1.Event_BatchReceived:
		c.received(e.BatchReceived)
	case *eventv1.Event_TestRecorded:
		c.batch(e.TestRecorded.GetBatchId()).Conforming[e.TestRecorded.GetTestId()] = e.TestRecorded.GetVerdict().GetConforms()
	case *eventv1.Event_BatchReleased:
		c.released(e.BatchReleased)
	case *eventv1.Event_BatchQuarantined:
		b := c.batch(e.BatchQuarantined.GetBatchId())
		b.Quarantined, b.Released = true, false
	case *eventv1.Event_QuarantineLifted:
		c.batch(e.QuarantineLifted.GetBatchId()).Quarantined = false
	case *eventv1.Event_PiecesReserved:
		c.reserved(e.PiecesReserved)
	case *eventv1.Event_ReservationDropped:
		c.dropped(e.ReservationDropped)
	case *eventv1.Event_PiecePicked:
		p := c.move(e.PiecePicked.GetPieceId(), eventv1.PieceState_PIECE_STATE_PICKED, eventv1.PieceState_PIECE_STATE_RESERVED)
		c.forRun(p, e.PiecePicked.GetPieceId(), e.PiecePicked.GetRunId())
		c.mayLeave(p, e.PiecePicked.GetPieceId())
	case *eventv1.Event_PieceLoaded:
		p := c.move(e.PieceLoaded.GetPieceId(), eventv1.PieceState_PIECE_STATE_LOADED, eventv1.PieceState_PIECE_STATE_PICKED)
		c.forRun(p, e.PieceLoaded.GetPieceId(), e.PieceLoaded.GetRunId())
		c.mayLeave(p, e.PieceLoaded.GetPieceId())
	case *eventv1.Event_PieceDelivered:
		p := c.move(e.PieceDelivered.GetPieceId(), eventv1.PieceState_PIECE_STATE_DELIVERED, eventv1.PieceState_PIECE_STATE_LOADED)
		c.forRun(p, e.PieceDelivered.GetPieceId(), e.PieceDelivered.GetRunId())
	case *eventv1.Event_PieceReturned:
		p := c.move(e.PieceReturned.GetPieceId(), eventv1.PieceState_PIECE_STATE_IN_YARD,
			eventv1.PieceState_PIECE_STATE_PICKED, eventv1.PieceState_PIECE_STATE_LOADED, eventv1.PieceState_PIECE_STATE_DELIVERED)
		p.Run, p.Reservation = "", ""
		c.dissolve(e.PieceReturned.GetPieceId())
	case *eventv1.Event_PieceScrapped:
		c.move(e.PieceScrapped.GetPieceId(), eventv1.PieceState_PIECE_STATE_SCRAPPED,
			eventv1.PieceState_PIECE_STATE_IN_YARD, eventv1.PieceState_PIECE_STATE_RESERVED, eventv1.PieceState_PIECE_STATE_PICKED,
			eventv1.PieceState_PIECE_STATE_LOADED, eventv1.PieceState_PIECE_STATE_DELIVERED)
	case *eventv1.Event_PieceMoved:
		c.piece(e.PieceMoved.GetPieceId())
	case *eventv1.Event_BlocksScrapped:
		b := c.batch(e.BlocksScrapped.GetBatchId())
		b.Loose -= e.BlocksScrapped.GetBlockCount()
		b.ScrappedBlocks += e.BlocksScrapped.GetBlockCount()
	default:
		c.handled(event)
	}
}

// handled is about exchanges, keeping, curing and pallets.
func (c *Count) handled(event *eventv1.Event) {
	const inYard, reserved = eventv1.PieceState_PIECE_STATE_IN_YARD, eventv1.PieceState_PIECE_STATE_RESERVED
	switch e := event.GetKind().(type) {
	case *eventv1.Event_KeepingEnded, *eventv1.Event_CureRecorded:
	case *eventv1.Event_PieceExchanged:
		x := e.PieceExchanged
		old := c.piece(x.GetOldPieceId())
		if old.State != eventv1.PieceState_PIECE_STATE_SCRAPPED {
			c.move(x.GetOldPieceId(), inYard, reserved)
		}
		fresh := c.move(x.GetNewPieceId(), reserved, inYard)
		if old.Run != x.GetAllocation().GetRunId() {
			c.wrong("piece %s of run %q is exchanged as one of run %q", x.GetOldPieceId(), old.Run, x.GetAllocation().GetRunId())
		}
		fresh.Run, fresh.Reservation, old.Run, old.Reservation = old.Run, old.Reservation, "", ""
		c.mayLeave(fresh, x.GetNewPieceId())
	case *eventv1.Event_PalletsPacked:
		for _, p := range e.PalletsPacked.GetPallets() {
			c.pack(p.GetPieceId(), e.PalletsPacked.GetBatchId(), p.GetBlockCount())
		}
	case *eventv1.Event_PalletSplit:
		c.piece(e.PalletSplit.GetPieceId()).Blocks -= e.PalletSplit.GetBlockCount()
		batch := c.piece(e.PalletSplit.GetPieceId()).Batch
		c.batch(batch).Loose += e.PalletSplit.GetBlockCount()
		c.pack(e.PalletSplit.GetNewPieceId(), batch, e.PalletSplit.GetBlockCount())
	case *eventv1.Event_PalletsMerged:
		into := c.piece(e.PalletsMerged.GetPieceId())
		for _, id := range e.PalletsMerged.GetFromPieceIds() {
			blocks := c.piece(id).Blocks
			c.dissolve(id)
			c.batch(into.Batch).Loose -= blocks
			into.Blocks += blocks
		}
	case *eventv1.Event_PalletsUnpacked:
		for _, id := range e.PalletsUnpacked.GetPieceIds() {
			c.dissolve(id)
		}
	default:
		c.wrong("an event of an unknown kind")
	}
}

// pack puts loose blocks on a pallet that is nobody's.
func (c *Count) pack(id, batch string, blocks int32) {
	if c.Pieces[id] != nil {
		c.wrong("pallet %s is there already", id)
	}
	c.batch(batch).Loose -= blocks
	c.Pieces[id] = &Piece{Batch: batch, State: eventv1.PieceState_PIECE_STATE_IN_YARD, Blocks: blocks}
}

// batch returns a batch; one that was never received is wrong.
func (c *Count) batch(id string) *Batch {
	if c.Batches[id] == nil {
		c.wrong("batch %s was never received", id)
		c.Batches[id] = &Batch{Conforming: map[string]bool{}}
	}
	return c.Batches[id]
}

// piece returns a piece; one that was never there is wrong.
func (c *Count) piece(id string) *Piece {
	if c.Pieces[id] == nil {
		c.wrong("piece %s was never there", id)
		c.Pieces[id] = &Piece{}
	}
	return c.Pieces[id]
}

func (c *Count) received(e *eventv1.BatchReceived) {
	if c.Batches[e.GetBatchId()] != nil {
		c.wrong("batch %s is received twice", e.GetBatchId())
	}
	b := &Batch{MadeOn: e.GetMadeOn(), Beams: e.GetKind() == eventv1.BatchKind_BATCH_KIND_BEAMS, Conforming: map[string]bool{}}
	c.Batches[e.GetBatchId()] = b
	for _, beam := range e.GetBeams() {
		if c.Pieces[beam.GetPieceId()] != nil {
			c.wrong("beam %s is there already", beam.GetPieceId())
		}
		c.Pieces[beam.GetPieceId()] = &Piece{Batch: e.GetBatchId(), State: eventv1.PieceState_PIECE_STATE_IN_YARD}
		b.Made++
	}
	if lot := e.GetBlocks(); lot != nil {
		b.Made, b.Loose = lot.GetCount(), lot.GetCount()
	}
}

func (c *Count) reserved(e *eventv1.PiecesReserved) {
	for _, r := range e.GetPieces() {
		id := r.GetPieceId()
		if pallet := r.GetPallet(); pallet != nil {
			if c.Pieces[id] != nil {
				c.wrong("pallet %s is promised twice", id)
			}
			c.batch(pallet.GetBatchId()).Loose -= pallet.GetBlockCount()
			c.Pieces[id] = &Piece{Batch: pallet.GetBatchId(), State: eventv1.PieceState_PIECE_STATE_IN_YARD, Blocks: pallet.GetBlockCount()}
		}
		p := c.move(id, eventv1.PieceState_PIECE_STATE_RESERVED, eventv1.PieceState_PIECE_STATE_IN_YARD)
		p.Run, p.Reservation = r.GetAllocation().GetRunId(), e.GetReservationId()
		c.mayLeave(p, id)
	}
}

func (c *Count) dropped(e *eventv1.ReservationDropped) {
	for _, id := range e.GetPieceIds() {
		if r := c.piece(id).Reservation; r != e.GetReservationId() {
			c.wrong("piece %s of reservation %q is dropped with %q", id, r, e.GetReservationId())
		}
		p := c.move(id, eventv1.PieceState_PIECE_STATE_IN_YARD, eventv1.PieceState_PIECE_STATE_RESERVED)
		p.Run, p.Reservation = "", ""
		c.dissolve(id)
	}
}

// dissolve puts the blocks of a pallet that is nobody's back to the loose
// ones.
func (c *Count) dissolve(id string) {
	if p := c.Pieces[id]; p.Blocks > 0 {
		c.batch(p.Batch).Loose += p.Blocks
		p.State, p.Blocks = eventv1.PieceState_PIECE_STATE_DISSOLVED, 0
	}
}

// move takes a piece from one of the states into another.
func (c *Count) move(id string, to eventv1.PieceState, from ...eventv1.PieceState) *Piece {
	p := c.piece(id)
	allowed := false
	for _, s := range from {
		allowed = allowed || p.State == s
	}
	if !allowed {
		c.wrong("piece %s goes from %s (run %q) to %s", id, p.State, p.Run, to)
	}
	p.State = to
	return p
}

func (c *Count) forRun(p *Piece, id, run string) {
	if p.Run != run {
		c.wrong("piece %s of run %q goes with run %q", id, p.Run, run)
	}
}

// mayLeave: nothing unreleased or quarantined is promised, picked or loaded.
func (c *Count) mayLeave(p *Piece, id string) {
	b := c.batch(p.Batch)
	if !b.Released || b.Quarantined {
		c.wrong("piece %s is to leave, but its batch %s is not released", id, p.Batch)
	}
}
