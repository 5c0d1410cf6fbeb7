package office

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/protobuf/proto"

	layouteventv1 "spanyard.example/proto/gen/spanyard/layout/event/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	"spanyard.example/services/dispatch/internal/codec"
	"spanyard.example/services/dispatch/internal/daybook"
	"spanyard.example/services/dispatch/internal/stores"
	"spanyard.example/services/kit/effect"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
)

// Consumer is the durable name under which dispatch hears the other services.
// It takes every event of a source, also those that it does nothing about:
// only then does the consumer's ack floor say how far dispatch has heard.
const Consumer = "dispatch-v1"

// HearLayout acts on the drawing office's events until ctx ends.
func (o *Office) HearLayout(ctx context.Context) error {
	return effect.Run(ctx, o.JetStream, effect.Config{Source: "layout", Consumer: Consumer, Log: o.Log}, o.onLayout)
}

// HearStock acts on the yard's events until ctx ends.
func (o *Office) HearStock(ctx context.Context) error {
	return effect.Run(ctx, o.JetStream, effect.Config{Source: "stock", Consumer: Consumer, Log: o.Log}, o.onStock)
}

func (o *Office) onLayout(ctx context.Context, r effect.Received) error {
	event := &layouteventv1.Event{}
	if err := proto.Unmarshal(r.Data, event); err != nil {
		return effect.GiveUp(fmt.Errorf("layout event: %w", err))
	}
	switch k := event.GetKind().(type) {
	case *layouteventv1.Event_LayingPlanApproved:
		return o.act(ctx, r, daybook.LearnFloor{Floor: floorOf(k.LayingPlanApproved.GetPlan())})
	case *layouteventv1.Event_LayingPlanSuperseded:
		e := k.LayingPlanSuperseded
		return o.act(ctx, r, daybook.ForgetFloor{
			FloorKey: daybook.FloorKey{JobID: e.GetJobId(), Floor: e.GetFloor()}, Revision: int(e.GetRevision()),
		})
	}
	return nil
}

// floorOf keeps of a laying plan what loading needs.
func floorOf(p *layouteventv1.LayingPlan) daybook.Floor {
	f := daybook.Floor{
		FloorKey: daybook.FloorKey{JobID: p.GetJobId(), Floor: p.GetFloor()}, Revision: int(p.GetRevision()),
	}
	for _, r := range p.GetRooms() {
		if r.GetState() == layouteventv1.RoomState_ROOM_STATE_LEFT_OUT {
			continue // nothing is laid there
		}
		room := daybook.RoomDemand{Room: r.GetRoom(), BlockKind: r.GetBlockKind(), BlockCount: int(r.GetBlockCount())}
		for _, b := range r.GetBeams() {
			room.Beams = append(room.Beams, daybook.BeamDemand{Mark: b.GetMark(), Product: codec.Product(b.GetProduct()), MassG: b.GetMassG()})
		}
		f.Rooms = append(f.Rooms, room)
	}
	for _, p := range p.GetProfiles() {
		f.Profiles = append(f.Profiles, codec.BeamProfile(p))
	}
	for _, b := range p.GetBlocks() {
		f.Blocks = append(f.Blocks, codec.BlockKind(b))
	}
	return f
}

func (o *Office) onStock(ctx context.Context, r effect.Received) error {
	event := &stockeventv1.Event{}
	if err := proto.Unmarshal(r.Data, event); err != nil {
		return effect.GiveUp(fmt.Errorf("stock event: %w", err))
	}
	c := commandFor(event)
	if c == nil {
		return nil
	}
	return o.act(ctx, r, c)
}

// commandFor returns what the book has to decide on an event of stock; nil when
// the event is nothing to dispatch.
func commandFor(event *stockeventv1.Event) daybook.Command {
	switch k := event.GetKind().(type) {
	case *stockeventv1.Event_BatchQuarantined:
		var hits daybook.ReportHits
		for _, h := range k.BatchQuarantined.GetHits() {
			hits.Reports = append(hits.Reports, daybook.Report{
				RunID: h.GetAllocation().GetRunId(), PieceID: h.GetPieceId(), BatchID: k.BatchQuarantined.GetBatchId(),
				Reason: "batch " + k.BatchQuarantined.GetBatchId() + " is in quarantine: " + k.BatchQuarantined.GetReason(),
				Where:  stores.Word(h.GetState()), Kind: daybook.Quarantined,
			})
		}
		return hits
	case *stockeventv1.Event_BatchReleased:
		return daybook.ClearHits{BatchID: k.BatchReleased.GetBatchId()}
	case *stockeventv1.Event_PieceDelivered:
		e := k.PieceDelivered
		return daybook.SetDown{RunID: e.GetRunId(), PieceID: e.GetPieceId(), SiteID: e.GetSiteId()}
	case *stockeventv1.Event_PieceScrapped:
		id := k.PieceScrapped.GetPieceId()
		hit := daybook.Report{PieceID: id, Kind: daybook.Scrapped, Reason: "was scrapped: " + k.PieceScrapped.GetReason()}
		// The hit first: once it is taken back, the piece is on no run.
		return daybook.Together{daybook.ReportHits{Reports: []daybook.Report{hit}}, daybook.TakeBack{PieceID: id, Broken: true}}
	case *stockeventv1.Event_PieceExchanged:
		x := k.PieceExchanged
		return daybook.Exchange{
			RunID: x.GetAllocation().GetRunId(), OldID: x.GetOldPieceId(), NewID: x.GetNewPieceId(), BatchID: x.GetNewBatchId(),
			StackID: x.GetNewStackId(), StackTier: int(x.GetNewTier()), By: x.GetExchangedBy(), Reason: x.GetReason(),
		}
	case *stockeventv1.Event_PieceReturned:
		id := k.PieceReturned.GetPieceId()
		hit := daybook.Report{PieceID: id, Kind: daybook.Returned, Reason: "came back to the yard: " + k.PieceReturned.GetReason()}
		return daybook.Together{daybook.TakeBack{PieceID: id}, daybook.ReportHits{Reports: []daybook.Report{hit}}}
	}
	return nil
}

// act records the effect of another service's event, once.
func (o *Office) act(ctx context.Context, r effect.Received, c daybook.Command) error {
	_, err := o.Do(ctx, Ask{Yard: r.Yard, RequestID: "cause-" + r.ID, Actor: "dispatch", Cause: r.ID}, c)
	if fault.KindOf(err) == fault.Invalid {
		return effect.GiveUp(err)
	}
	return err
}

// heardEvery is how often a reader looks whether dispatch has heard enough.
const heardEvery = 10 * time.Millisecond

// WaitHeard waits until dispatch has acted on a source's events up to a
// position, on whichever replica, and returns the yard's newest position then:
// a read at or after it shows the effects. Zero waits for nothing.
func (o *Office) WaitHeard(ctx context.Context, source, yard string, position uint64) (uint64, error) {
	if position == 0 {
		return 0, nil
	}
	for {
		heard, err := o.heard(ctx, source)
		if err == nil && heard >= position {
			last, err := o.Ledger.LastPosition(ctx, yard)
			if fault.KindOf(err) == fault.NotFound {
				return 0, nil
			}
			return last, err
		}
		if pause(ctx, heardEvery) != nil {
			return 0, fault.New(fault.Stale, "POSITION_NOT_REACHED",
				"Dispatch has not heard of position %d of %s yet; try again in a moment.", position, source).Because(err)
		}
	}
}

// heard returns the position of a source's stream up to which dispatch has
// acted on everything.
func (o *Office) heard(ctx context.Context, source string) (uint64, error) {
	consumer, err := o.JetStream.Consumer(ctx, ledger.StreamOf(source), Consumer)
	if err != nil {
		return 0, err
	}
	// Consumer has just fetched it.
	return consumer.CachedInfo().AckFloor.Stream, nil
}

// newest returns the position of the newest event of a yard in another
// service's ledger; 0 when there is none.
func (o *Office) newest(ctx context.Context, source, yard string) (uint64, error) {
	stream, err := o.JetStream.Stream(ctx, ledger.StreamOf(source))
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return 0, nil
	}
	if err != nil {
		return 0, unreachable(err)
	}
	last, err := stream.GetLastMsgForSubject(ctx, "spanyard."+source+"."+yard+".>")
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return 0, nil
	}
	if err != nil {
		return 0, unreachable(err)
	}
	return last.Sequence, nil
}

func unreachable(err error) error {
	return fault.New(fault.Unavailable, "LEDGER_NOT_REACHABLE", "The ledger cannot be reached at the moment; try again.").Because(err)
}

func asFault(err error) *fault.Error {
	var f *fault.Error
	if errors.As(err, &f) {
		return f
	}
	return fault.New(fault.Internal, "UNKNOWN", "%v", err)
}
