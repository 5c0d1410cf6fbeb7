package readmodel

import (
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/civil"
	"spanyard.example/services/stock/internal/codec"
	"spanyard.example/services/stock/internal/yard"
)

// BatchDoc returns a batch as readers see it, without its pieces.
func BatchDoc(rules yard.Rules, b yard.Batch) *stockv1.Batch {
	m := &stockv1.Batch{
		BatchId: b.ID, Kind: codec.BatchKind(b.Kind), State: stockv1.BatchState(b.State),
		MadeOn: b.MadeOn.String(), OldEnoughOn: rules.OldEnoughOn(b.Kind, b.MadeOn).String(),
		Concrete: codec.Concrete(b.Concrete), Profile: b.Profile, WirePattern: b.WirePattern,
		BlockKind: b.Lot.BlockKind, Counts: countsDoc(b.Counts),
		QuarantineReason: b.QuarantineReason, Source: b.Source,
	}
	for _, t := range b.Tests {
		m.Tests = append(m.Tests, codec.Test(b.ID, t))
	}
	for _, j := range b.Judgements() {
		m.Judgements = append(m.Judgements, codec.Judgement(j))
	}
	if b.Release != nil {
		m.Release = codec.Release(b.ID, *b.Release)
	}
	return m
}

func countsDoc(c yard.Counts) *stockv1.PieceCounts {
	return &stockv1.PieceCounts{
		Made: int32(c.Made), InYard: int32(c.InYard), Reserved: int32(c.Reserved), Picked: int32(c.Picked),
		Loaded: int32(c.Loaded), Delivered: int32(c.Delivered), Scrapped: int32(c.Scrapped),
	}
}

// pieceDoc returns a piece without what follows from its batch's release and
// from its stack; readers add that.
func pieceDoc(p yard.Piece, b yard.Batch) *stockv1.Piece {
	m := &stockv1.Piece{
		PieceId: p.ID, BatchId: p.BatchID, State: codec.PieceState(p.State),
		LengthMm: int32(p.LengthMM), BlockCount: int32(p.Blocks), MassG: p.MassG,
		StackId: p.StackID, MadeOn: b.MadeOn.String(), TruckId: p.TruckID, ReceivedBy: p.ReceivedBy,
	}
	if !p.DeliveredAt.IsZero() {
		m.DeliveredAt = timestamppb.New(p.DeliveredAt)
	}
	if b.Kind == yard.Blocks {
		m.BlockKind = b.Lot.BlockKind
	} else {
		m.Profile, m.WirePattern = b.Profile, b.WirePattern
	}
	if p.Kept != nil {
		m.KeptForJobId, m.KeptForMark = p.Kept.JobID, p.Kept.Mark
	}
	if p.Allocation != nil {
		m.Allocation = codec.Allocation(*p.Allocation)
	}
	return m
}

// PieceDoc returns a piece with what follows from its batch; tier and above
// say where it lies in its stack.
func PieceDoc(p yard.Piece, b yard.Batch, tier, above int) *stockv1.Piece {
	m := pieceDoc(p, b)
	m.BatchState, m.Tier, m.PiecesAbove = stockv1.BatchState(b.State), int32(tier), int32(above)
	if b.Release != nil {
		m.ReleasedOn = b.Release.On.String()
	}
	return m
}

// addBatch completes a piece with what follows from its batch.
func addBatch(p *stockv1.Piece, b *stockv1.Batch) {
	p.BatchState = b.GetState()
	p.ReleasedOn = b.GetRelease().GetReleasedOn()
}

// freeDoc returns a piece of the free list, and false when it is not free.
func freeDoc(p yard.Piece, b yard.Batch) (*stockv1.Piece, bool) {
	if p.State != yard.InYard || p.IsPallet() || b.State != yard.Released {
		return nil, false
	}
	m := pieceDoc(p, b)
	m.BatchState, m.ReleasedOn = stockv1.BatchState(b.State), b.Release.On.String()
	return m, true
}

// freeBlocksDoc returns the loose blocks of a batch, and false when none may
// leave.
func freeBlocksDoc(b yard.Batch) (*stockv1.FreeBlocks, bool) {
	if b.Kind != yard.Blocks || b.State != yard.Released || b.Counts.InYard == 0 {
		return nil, false
	}
	m := looseBlocks(b)
	m.ReleasedOn = b.Release.On.String()
	return m, true
}

func looseBlocks(b yard.Batch) *stockv1.FreeBlocks {
	return &stockv1.FreeBlocks{
		BatchId: b.ID, BlockKind: b.Lot.BlockKind, BlockCount: int32(b.Counts.InYard), MassGEach: b.Lot.MassGEach,
		StackId: b.Lot.StackID, MadeOn: b.MadeOn.String(),
	}
}

// stackDoc is a stack: its batch and pieces, bottom first; of a batch of blocks
// the pallets that stand there and the mass of a block.
type stackDoc struct {
	batchID   string
	massGEach int64
	pieces    []string
}

// stackOf returns the document of a stack.
func stackOf(state yard.State, s yard.Stack) stackDoc {
	d := stackDoc{batchID: s.BatchID, pieces: s.Pieces}
	b, _ := state.Batch(s.BatchID)
	if b.Kind != yard.Blocks {
		return d
	}
	d.massGEach = b.Lot.MassGEach
	for _, id := range b.PalletIDs() {
		if p, _ := state.Piece(id); p.StackID == s.ID {
			d.pieces = append(d.pieces, id)
		}
	}
	return d
}

func (d stackDoc) text() string {
	return fmt.Sprintf("%s\n%d\n%s", d.batchID, d.massGEach, contentsDoc(d.pieces))
}

func parseStack(text string) stackDoc {
	batchID, rest, _ := strings.Cut(text, "\n")
	mass, pieces, _ := strings.Cut(rest, "\n")
	massGEach, _ := strconv.ParseInt(mass, 10, 64) // written by text
	return stackDoc{batchID: batchID, massGEach: massGEach, pieces: parseContents(pieces)}
}

// rulesDoc is what readers need of the rules.
func rulesDoc(r yard.Rules) string {
	return fmt.Sprintf("%s\n%d\n%d\n%d", r.TimeZone, r.BeamMinAgeDays, r.BlockMinAgeDays, r.BeamsPerStackTier)
}

func parseRules(doc string) (yard.Rules, error) {
	var r yard.Rules
	if _, err := fmt.Sscanf(doc, "%s\n%d\n%d\n%d", &r.TimeZone, &r.BeamMinAgeDays, &r.BlockMinAgeDays, &r.BeamsPerStackTier); err != nil {
		return r, fmt.Errorf("the view's rules cannot be read: %w", err)
	}
	return r, nil
}

// tallyKey names the beams of one length of a batch.
type tallyKey struct {
	batchID  string
	lengthMM int
}

func (k tallyKey) field() string { return fmt.Sprintf("%s\n%d", k.batchID, k.lengthMM) }

func parseTally(field, value string) (k tallyKey, t tally, err error) {
	if _, err = fmt.Sscanf(field, "%s\n%d", &k.batchID, &k.lengthMM); err != nil {
		return k, t, fmt.Errorf("the view's tally cannot be read: %w", err)
	}
	if _, err = fmt.Sscanf(value, "%d %d", &t.inYard, &t.reserved); err != nil {
		return k, t, fmt.Errorf("the view's tally cannot be read: %w", err)
	}
	return k, t, nil
}

// markKey names the place in a job that a beam is for.
type markKey struct{ jobID, mark string }

func (k markKey) field() string { return k.jobID + "\n" + k.mark }

// tally counts the beams of one length of a batch.
type tally struct{ inYard, reserved int }

func (t tally) value() string { return fmt.Sprintf("%d %d", t.inYard, t.reserved) }

// add counts a piece in or out.
func (t *tally) add(state yard.PieceState, n int) {
	switch state {
	case yard.InYard:
		t.inYard += n
	case yard.Reserved:
		t.reserved += n
	}
}

// oldEnough reports whether a batch that cures is old enough on a day.
func oldEnough(b *stockv1.Batch, day civil.Day) bool {
	on, err := civil.ParseDay(b.GetOldEnoughOn())
	return err == nil && on <= day
}

// isBeams reports whether a batch is made of beams.
func isBeams(b *stockv1.Batch) bool {
	return b.GetKind() == stockeventv1.BatchKind_BATCH_KIND_BEAMS
}
