package stock_test

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/ledger/ledgertest"
)

// loaded is a yard with a released batch B1 of ten beams, the first three of
// them loaded for run R1 to site S1.
func loaded(t *testing.T) *house {
	h := open(t, t.TempDir(), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)})
	h.ready(t)
	ids := []string{"B1-001", "B1-002", "B1-003"}
	if _, err := h.client.ReservePieces(h.ctx, reserve("B1", "v", "P", "R1", "-001", "-002", "-003")); err != nil {
		t.Fatal(err)
	}
	if _, err := h.client.PickPieces(h.ctx, &stockv1.PickPiecesRequest{Yard: yard, RequestId: "p", RunId: "R1", PieceIds: ids}); err != nil {
		t.Fatal(err)
	}
	if _, err := h.client.LoadPieces(h.ctx, &stockv1.LoadPiecesRequest{Yard: yard, RequestId: "l", RunId: "R1", TruckId: "T", PieceIds: ids}); err != nil {
		t.Fatal(err)
	}
	return h
}

// ready opens the yard with the released batch B1.
func (h *house) ready(t *testing.T) {
	t.Helper()
	h.rules(t)
	h.receive(t, "B1", "2027-03-01", 10)
	h.test(t, "B1", "T", "2027-03-10", 66)
	if _, err := h.release("B1", "r"); err != nil {
		t.Fatal(err)
	}
}

// dispatchBook is dispatch's ledger as far as stock listens to it.
func dispatchBook(t *testing.T, h *house) *ledger.Ledger[int, *dispatcheventv1.DropDelivered] {
	t.Helper()
	l, err := ledger.Open(t.Context(), h.js, ledger.Domain[int, *dispatcheventv1.DropDelivered]{
		Service: "dispatch",
		New:     func(string) int { return 0 },
		Evolve:  func(n int, _ *dispatcheventv1.DropDelivered) int { return n + 1 },
		Encode: func(d *dispatcheventv1.DropDelivered) (string, []byte, error) {
			data, err := proto.Marshal(&dispatcheventv1.Event{Kind: &dispatcheventv1.Event_DropDelivered{DropDelivered: d}})
			return "drop_delivered", data, err
		},
		Decode: func(_ string, data []byte) (*dispatcheventv1.DropDelivered, error) {
			var e dispatcheventv1.Event
			err := proto.Unmarshal(data, &e)
			return e.GetDropDelivered(), err
		},
		Snapshot: func(int) ([]byte, error) { return nil, nil },
		Restore:  func(string, []byte) (int, error) { return 0, nil },
	}, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(l.Close)
	return l
}

// TestDispatchDelivers: what dispatch says was set down is delivered in stock,
// whatever else its report names, and what comes behind is not held up.
func TestDispatchDelivers(t *testing.T) {
	h := loaded(t)
	book := dispatchBook(t, h)
	at := time.Date(2027, 3, 20, 9, 15, 0, 0, time.UTC)
	report := func(yardID, id string, at *timestamppb.Timestamp, pieces ...string) {
		t.Helper()
		_, err := book.Do(t.Context(), yardID, ledger.Command[int, *dispatcheventv1.DropDelivered]{
			RequestID: id, Actor: "Driver Holm", Time: time.Date(2027, 3, 20, 9, 30, 0, 0, time.UTC),
			Decide: func(int) ([]*dispatcheventv1.DropDelivered, error) {
				return []*dispatcheventv1.DropDelivered{{RunId: "R1", SiteId: "S1", PieceIds: pieces, ReceivedBy: "Mason Ulla Fenn", DeliveredAt: at}}, nil
			},
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	report("fjell", "0", timestamppb.New(at), "B1-001") // a yard that stock has never heard of
	report(yard, "1", timestamppb.New(at), "B1-001", "B1-009", "B9-001")
	report(yard, "2", nil, "B1-001", "B1-002")

	ctx, cancel := context.WithTimeout(h.ctx, 15*time.Second)
	defer cancel()
	stream, err := h.client.WatchStock(ctx, &stockv1.WatchStockRequest{Yard: yard})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	var position uint64
	for len(got) < 2 {
		m, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if d := m.GetEvent().GetPieceDelivered(); d != nil {
			got = append(got, fmt.Sprintf("%s %s %s", d.GetPieceId(), m.GetActor(), d.GetDeliveredAt().AsTime().Format("15:04")))
			position = m.GetPosition()
		}
	}
	if got[0] != "B1-001 Driver Holm 09:15" || got[1] != "B1-002 Driver Holm 09:30" {
		t.Errorf("delivered: %v", got)
	}
	trace, err := h.client.GetPieceHistory(h.ctx, &stockv1.GetPieceHistoryRequest{Yard: yard, PieceId: "B1-001", AtLeast: position})
	if err != nil {
		t.Fatal(err)
	}
	last := trace.GetEntries()[len(trace.GetEntries())-1]
	if last.GetActor() != "Driver Holm" || last.GetSentence() != "Set down at site S1 from run R1, received by Mason Ulla Fenn." || trace.GetPiece().GetReceivedBy() != "Mason Ulla Fenn" {
		t.Errorf("the trace of a delivered piece ends with %v, the piece is %v", last, trace.GetPiece())
	}
	batch, err := h.client.GetBatch(h.ctx, &stockv1.GetBatchRequest{Yard: yard, BatchId: "B1", AtLeast: position})
	if err != nil {
		t.Fatal(err)
	}
	if c := batch.GetBatch().GetCounts(); c.GetDelivered() != 2 || c.GetLoaded() != 1 || c.GetInYard() != 7 {
		t.Errorf("counts: %v", c)
	}
}

// TestTwoReplicas: two replicas decide and read for one yard at once, and no
// beam is promised twice.
func TestTwoReplicas(t *testing.T) {
	js, server, c := ledgertest.JetStream(t), miniredis.RunT(t), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)}
	houses := []*house{openOn(t, js, server, c), openOn(t, js, server, c)}
	houses[0].ready(t)
	won := make([]int, 10)
	var group sync.WaitGroup
	var mu sync.Mutex
	for i, h := range houses {
		group.Go(func() {
			for n := range 10 {
				beam := fmt.Sprintf("-%03d", n+1)
				_, err := h.client.ReservePieces(h.ctx, reserve("B1", fmt.Sprintf("v-%d-%d", i, n), fmt.Sprintf("P%d", i), fmt.Sprintf("R%d", i), beam))
				if err != nil && fault.ReasonOf(err) != "PIECES_GONE" {
					t.Errorf("replica %d: %v", i, err)
				}
				if err == nil {
					mu.Lock()
					won[n]++
					mu.Unlock()
				}
			}
		})
	}
	group.Wait()
	for n, times := range won {
		if times != 1 {
			t.Errorf("beam %d was promised %d times", n+1, times)
		}
	}
	// Each replica sees what the other wrote.
	last := houses[1].receive(t, "B2", "2027-03-01", 1)
	seen, err := houses[0].client.ListBatches(houses[0].ctx, &stockv1.ListBatchesRequest{Yard: yard, AtLeast: last.GetPosition()})
	if err != nil || len(seen.GetBatches()) != 2 || seen.GetBatches()[0].GetCounts().GetReserved() != 10 {
		t.Fatalf("batches: %v, %v", seen, err)
	}
}

func TestAnswersToWhatCannotBe(t *testing.T) {
	h := loaded(t)
	record := func(mpa float64) error {
		_, err := h.client.RecordTest(h.ctx, &stockv1.RecordTestRequest{
			Yard: yard, RequestId: "precise", BatchId: "B1", TestId: "T8", Laboratory: "Farrow Bench Laboratory",
			TestedOn: "2027-03-15", Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CUBE, StrengthsMpa: []float64{mpa},
		})
		return err
	}
	// 55.9999 would be 56.000, and pass, if it were rounded.
	if f := reason(t, record(55.9999), "BAD_VALUES"); f.Places[0].Where != "strengths_mpa[0]" {
		t.Errorf("places: %v", f.Places)
	}
	if err := record(56.000); err != nil {
		t.Errorf("a result on the limit: %v", err)
	}
	_, err := h.client.ListFreePieces(h.ctx, &stockv1.ListFreePiecesRequest{Yard: "nowhere"})
	reason(t, err, "YARD_UNKNOWN")
	_, err = h.client.SummariseStock(h.ctx, &stockv1.SummariseStockRequest{Yard: yard, Day: "2027-02-30"})
	reason(t, err, "BAD_VALUES")
	_, err = h.client.DropReservation(h.ctx, &stockv1.DropReservationRequest{Yard: yard, RequestId: "d0", ReservationId: "none", Reason: "late"})
	reason(t, err, "RESERVATION_UNKNOWN")
	// All of it is loaded: dropping frees nothing, and says so.
	dropped, err := h.client.DropReservation(h.ctx, &stockv1.DropReservationRequest{Yard: yard, RequestId: "d1", ReservationId: "P", Reason: "late"})
	if err != nil || len(dropped.GetPieceIds()) != 0 {
		t.Errorf("dropped %v, %v", dropped, err)
	}
}
