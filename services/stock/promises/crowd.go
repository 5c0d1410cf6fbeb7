package promises

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

// Crowd are callers that all want the same few beams.
type Crowd struct {
	// Replicas that may be asked, over connections that do not ask again by
	// themselves: what is asked again has to be known here.
	Replicas []stockv1.StockServiceClient
	Yard     string
	// Name keeps the request ids of several crowds in one yard apart.
	Name string
	// Batches by id, released, with the ids of their beams, MostBeams at most.
	Batches map[string][]string
	// Callers, each with so many Questions one after the other.
	Callers, Questions int
	// Seed of everything that is random.
	Seed uint64
	// Wait is how long one attempt waits for its answer.
	Wait func(*rand.Rand) time.Duration
	// Attempts of one question, under the same request id.
	Attempts int
}

// crowd at work.
type crowd struct {
	Crowd
	names   []string
	history *History
	began   time.Time

	mu sync.Mutex
	// made reservations of each batch.
	made map[string][]Question
}

// Run asks, and returns what was asked and told.
func (c Crowd) Run(ctx context.Context) *History {
	w := &crowd{Crowd: c, names: slices.Sorted(maps.Keys(c.Batches)), history: &History{}, began: time.Now(), made: map[string][]Question{}}
	var all sync.WaitGroup
	for caller := range c.Callers {
		all.Go(func() {
			random := rand.New(rand.NewPCG(c.Seed, uint64(caller)))
			for n := range c.Questions {
				if q, ok := w.next(random); ok {
					w.ask(ctx, random, caller, fmt.Sprintf("%s-%d-%d", w.Name, caller, n), q)
				}
			}
		})
	}
	all.Wait()
	return w.history
}

// next makes up a question; false when there is none to be asked.
func (w *crowd) next(random *rand.Rand) (Question, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	q := Question{Batch: w.names[random.IntN(len(w.names))]}
	made := w.made[q.Batch]
	some := Beams(1) << random.IntN(len(w.Batches[q.Batch]))
	some |= Beams(1) << random.IntN(len(w.Batches[q.Batch]))
	switch dice := random.IntN(40); {
	case dice < 13 || len(made) == 0:
		if len(made) == MostReservations {
			return q, false
		}
		q.Kind, q.Beams, q.Reservation, q.Run = Reserve, some, uint8(len(made)), uint8(random.IntN(3))
		w.made[q.Batch] = append(made, q)
	case dice < 19:
		q.Kind, q.Reservation = Drop, w.recent(random, made).Reservation
	case dice < 26:
		wanted := w.recent(random, made)
		q.Kind, q.Beams, q.Run = Pick, wanted.Beams, wanted.Run
	case dice < 33:
		q.Kind, q.Beams = Return, w.recent(random, made).Beams
	case dice < 34:
		q.Kind = Quarantine
	case dice < 37:
		q.Kind = Lift
	default:
		q.Kind = Release
	}
	return q, true
}

// recent returns one of the last few reservations.
func (w *crowd) recent(random *rand.Rand, made []Question) Question {
	return made[len(made)-1-random.IntN(min(len(made), 4))]
}

// ask puts a question until it is answered or the attempts are used up.
func (w *crowd) ask(ctx context.Context, random *rand.Rand, caller int, request string, q Question) {
	asked := time.Since(w.began)
	open := false // an attempt without an answer may still be carried out
	for range w.Attempts {
		replica := w.Replicas[random.IntN(len(w.Replicas))]
		// He goes away without having said for how long he would wait.
		attempt, leave := context.WithCancel(rpc.AsActor(ctx, fmt.Sprintf("Caller %d", caller)))
		patience := time.AfterFunc(w.Wait(random), leave)
		answer, err := w.put(attempt, replica, request, q)
		patience.Stop()
		leave()
		if err != nil && !isRefusal(err) {
			open = true
			continue
		}
		answered := time.Since(w.began)
		if err != nil {
			answer = Answer{Outcome: Refused}
		}
		w.history.Add(caller, q, answer, asked, answered)
		if err != nil && open {
			w.history.Add(caller, q, Answer{Outcome: Unknown}, asked, answered)
		}
		return
	}
	w.history.Add(caller, q, Answer{Outcome: Unknown}, asked, time.Since(w.began))
}

// isRefusal reports an answer of the yard's own rules.
func isRefusal(err error) bool {
	kind := fault.KindOf(err)
	return kind == fault.Stale || kind == fault.NotFound
}

// put sends a question to a replica.
func (w *crowd) put(ctx context.Context, r stockv1.StockServiceClient, request string, q Question) (answer Answer, err error) {
	reservation, run := fmt.Sprintf("%s-V%d", q.Batch, q.Reservation), fmt.Sprintf("R%d", q.Run)
	ids := w.ids(q)
	switch q.Kind {
	case Reserve:
		m := &stockv1.ReservePiecesRequest{Yard: w.Yard, RequestId: request, ReservationId: reservation}
		for _, id := range ids {
			m.Lines = append(m.Lines, &stockv1.ReserveLine{
				What:       &stockv1.ReserveLine_PieceId{PieceId: id},
				Allocation: &stockeventv1.Allocation{RunId: run, SiteId: "Alderby", JobId: "J1", Mark: "1-01-01"},
			})
		}
		_, err = r.ReservePieces(ctx, m)
	case Drop:
		var dropped *stockv1.DropReservationResponse
		dropped, err = r.DropReservation(ctx, &stockv1.DropReservationRequest{Yard: w.Yard, RequestId: request, ReservationId: reservation, Reason: "site not ready"})
		answer.Freed = w.beams(q.Batch, dropped.GetPieceIds())
	case Pick:
		_, err = r.PickPieces(ctx, &stockv1.PickPiecesRequest{Yard: w.Yard, RequestId: request, RunId: run, PieceIds: ids})
	case Return:
		_, err = r.ReturnPieces(ctx, &stockv1.ReturnPiecesRequest{Yard: w.Yard, RequestId: request, StackId: q.Batch + "-back", Reason: "not needed", PieceIds: ids})
	case Quarantine:
		_, err = r.QuarantineBatch(ctx, &stockv1.QuarantineBatchRequest{Yard: w.Yard, RequestId: request, BatchId: q.Batch, QuarantinedBy: "Oda Brink", Reason: "cracks seen"})
	case Lift:
		_, err = r.LiftQuarantine(ctx, &stockv1.LiftQuarantineRequest{Yard: w.Yard, RequestId: request, BatchId: q.Batch, LiftedBy: "Oda Brink", Reason: "surface only"})
	case Release:
		_, err = r.ReleaseBatch(ctx, &stockv1.ReleaseBatchRequest{Yard: w.Yard, RequestId: request, BatchId: q.Batch, ReleasedBy: "Oda Brink"})
	}
	return answer, err
}

// ids returns the beams of a question.
func (w *crowd) ids(q Question) []string {
	var ids []string
	for i, id := range w.Batches[q.Batch] {
		if q.Beams&(1<<i) != 0 {
			ids = append(ids, id)
		}
	}
	return ids
}

// beams is the inverse of ids.
func (w *crowd) beams(batch string, ids []string) Beams {
	var set Beams
	for _, id := range ids {
		for i, known := range w.Batches[batch] {
			if id == known {
				set |= 1 << i
			}
		}
	}
	return set
}
