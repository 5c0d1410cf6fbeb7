package main

import (
	"context"
	"fmt"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/stock"
)

const yardID = "tarn"

// noon is the services' clock; the beams were made three weeks before.
type noon struct{}

func (noon) Now() time.Time { return time.Date(2027, 3, 22, 12, 0, 0, 0, time.UTC) }

// replica is a stock service behind gRPC in memory, as in the all-in-one
// program.
type replica struct {
	service *stock.Service
	client  stockv1.StockServiceClient
	stop    func()
}

func (p *place) replica(ctx context.Context) (*replica, error) {
	js, err := p.jetStream()
	if err != nil {
		return nil, err
	}
	service, err := stock.New(ctx, stock.Deps{JetStream: js, Redis: p.redis, Clock: noon{}, Log: silent, Replicas: p.copies})
	if err != nil {
		return nil, err
	}
	s, err := rpc.NewServer(rpc.ServerOptions{Name: "stock", Log: silent, Health: service.Healthy}, service.Register)
	if err != nil {
		return nil, err
	}
	lis := bufconn.Listen(1 << 20)
	life, end := context.WithCancel(ctx)
	ended := make(chan error, 2)
	go func() { ended <- service.Run(life) }()
	go func() { ended <- s.Serve(life, lis) }()
	conn, err := rpc.Dial("passthrough:///bufconn", grpc.WithDefaultCallOptions(grpc.WaitForReady(true)),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) }))
	if err != nil {
		end()
		return nil, err
	}
	return &replica{service: service, client: stockv1.NewStockServiceClient(conn), stop: func() {
		_ = conn.Close()
		end()
		<-ended
		<-ended
	}}, nil
}

// perBatch beams are cast together.
const perBatch = 500

// fill opens the yard and puts so many released beams into it, and returns
// their ids and the yard's position.
func (r *replica) fill(ctx context.Context, beams int) (ids []string, position uint64, err error) {
	ctx = rpc.AsActor(ctx, "Bench Clerk")
	if _, err := r.client.SetYardRules(ctx, &stockv1.SetYardRulesRequest{
		Yard: yardID, RequestId: "rules", TimeZone: "Etc/UTC", BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 4,
	}); err != nil {
		return nil, 0, err
	}
	for n := 0; len(ids) < beams; n++ {
		batch := fmt.Sprintf("B%04d", n)
		received, err := r.client.ReceiveBatch(ctx, &stockv1.ReceiveBatchRequest{
			Yard: yardID, RequestId: "receive-" + batch, BatchId: batch, MadeOn: "2027-03-01",
			Concrete: &stockeventv1.Concrete{FckCylinderMpa: 40, FckCubeMpa: 50},
			Pieces: &stockv1.ReceiveBatchRequest_Beams{Beams: &stockv1.BeamLines{Profile: "T15", WirePattern: "W3", Lines: []*stockv1.BeamLine{
				{LengthMm: 4200, Count: perBatch, MassGEach: 136_500, StackId: "A-" + batch},
			}}},
		})
		if err != nil {
			return nil, 0, err
		}
		if _, err := r.client.RecordTest(ctx, &stockv1.RecordTestRequest{
			Yard: yardID, RequestId: "test-" + batch, BatchId: batch, TestId: "T1", Laboratory: "Fennmoor Lab", TestedOn: "2027-03-15",
			Specimen: stockeventv1.SpecimenKind_SPECIMEN_KIND_CUBE, StrengthsMpa: []float64{58, 59, 57},
		}); err != nil {
			return nil, 0, err
		}
		released, err := r.client.ReleaseBatch(ctx, &stockv1.ReleaseBatchRequest{Yard: yardID, RequestId: "release-" + batch, BatchId: batch, ReleasedBy: "Oda Brink"})
		if err != nil {
			return nil, 0, err
		}
		ids, position = append(ids, received.GetPieceIds()...), released.GetPosition()
	}
	return ids[:beams], position, r.settled(ctx, position)
}

// settled waits until the view shows a position.
func (r *replica) settled(ctx context.Context, position uint64) error {
	ctx, cancel := context.WithTimeout(rpc.AsActor(ctx, "Bench Clerk"), time.Minute)
	defer cancel()
	_, err := r.client.ListBatches(ctx, &stockv1.ListBatchesRequest{Yard: yardID, PageSize: 1, AtLeast: position})
	return err
}

// reserve promises one beam to a run.
func (r *replica) reserve(ctx context.Context, id string) (*stockv1.ReservePiecesResponse, error) {
	return r.client.ReservePieces(ctx, &stockv1.ReservePiecesRequest{
		Yard: yardID, RequestId: "reserve-" + id, ReservationId: "V-" + id,
		Lines: []*stockv1.ReserveLine{{
			What:       &stockv1.ReserveLine_PieceId{PieceId: id},
			Allocation: &stockeventv1.Allocation{RunId: "R1", SiteId: "Alderby", JobId: "J1", CallOffId: "C1", Mark: "1-01-01"},
		}},
	})
}

// reserveBytes is about what a reservation takes in the stream, headers
// included; the bare side writes as much.
const reserveBytes = 900
