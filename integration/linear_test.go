package integration

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/grpc"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/stock/promises"

	"spanyard.example/integration/internal/house"
	"spanyard.example/integration/internal/scene"
)

// Many callers scramble for the same beams at two replicas of stock while
// something is killed, cut off or lost. There is one order in which everything
// that they were told is right, and the books agree with it.
func TestLinearizableThroughFaults(t *testing.T) {
	s := newScene(t, "linearizable")
	random := chance(t)
	s.Must(theHouse.Another(t.Context(), "stock", "stock-2"), "start a second stock")
	t.Cleanup(func() { s.Must(theHouse.Container("stock-2").Stop(context.Background()), "stop the second stock") })
	var replicas []stockv1.StockServiceClient
	for _, name := range []string{"stock", "stock-2"} {
		// What is asked again has to be known to the judge.
		conn, err := rpc.Dial(theHouse.Container(name).Address(house.ServicePort), grpc.WithDisableRetry(), grpc.WithDefaultCallOptions(grpc.WaitForReady(true)))
		s.Must(err, "connect to %s", name)
		defer conn.Close()
		replicas = append(replicas, stockv1.NewStockServiceClient(conn))
	}
	s.SetRules()
	troubles := troubles(t, s)
	random.Shuffle(len(troubles), func(i, j int) { troubles[i], troubles[j] = troubles[j], troubles[i] })
	for n, trouble := range troubles {
		crowd := promises.Crowd{
			Replicas: replicas, Yard: s.Yard, Name: fmt.Sprint("crowd-", n), Batches: map[string][]string{},
			Callers: 6, Questions: 40, Seed: random.Uint64(), Attempts: 30,
			Wait: func(random *rand.Rand) time.Duration {
				return time.Second + time.Duration(random.IntN(3000))*time.Millisecond
			},
		}
		for b := range 4 {
			batch := fmt.Sprintf("B%d-%d", n, b)
			crowd.Batches[batch] = s.ReceiveBeams(batch, 6, 20)
			s.Test(batch, 46.1, 45.8, 46.6)
			s.Must(s.Release(batch), "release batch %s", batch)
		}
		told := make(chan *promises.History, 1)
		began := time.Now()
		go func() { told <- crowd.Run(t.Context()) }()
		after(t, time.Duration(random.IntN(400))*time.Millisecond)
		trouble.happens(random)
		history := <-told
		took := time.Since(began)
		trouble.ends()
		t.Logf("%s: %d done, %d refused, %d unknown in %v", trouble.name,
			history.Count(promises.Done), history.Count(promises.Refused), history.Count(promises.Unknown), took.Round(time.Millisecond))
		if history.Count(promises.Done) < 10 {
			t.Errorf("%s: too little happened to be judged", trouble.name)
		}
		if err := history.Judge(time.Minute); errors.Is(err, promises.ErrUndecided) {
			t.Logf("%s: not decided: %d questions have no answer", trouble.name, history.Count(promises.Unknown))
		} else if err != nil {
			t.Errorf("%s: %v", trouble.name, err)
		}
	}
	checkBooks(t, s)
}

// trouble that callers have to live through.
type trouble struct {
	name    string
	happens func(*rand.Rand)
	ends    func()
}

// troubles are one of each kind. After ends, everything runs again.
func troubles(t *testing.T, s *scene.Scene) []trouble {
	whole := func() {
		for _, name := range house.NATSNodes {
			s.Must(theHouse.AwaitNATS(t.Context(), name), "wait for %s", name)
		}
		for _, name := range []string{"layout", "stock", "stock-2", "dispatch"} {
			awaitService(t, name)
		}
	}
	var node *house.Container
	leader := func() *house.Container {
		node = theHouse.Container(leaderOf(t, "spanyard-stock"))
		return node
	}
	back := func() {
		s.Must(node.Start(t.Context()), "start %s again", node.Name)
		whole()
	}
	return []trouble{
		{"a replica of stock killed, then the other", func(random *rand.Rand) {
			killAndStart(t, "stock")
			after(t, time.Duration(random.IntN(500))*time.Millisecond)
			killAndStart(t, "stock-2")
		}, whole},
		{"the NATS node that leads killed", func(*rand.Rand) { s.Must(leader().Kill(t.Context()), "kill a node") }, back},
		{"the NATS node that leads killed, and a replica of stock", func(*rand.Rand) {
			s.Must(leader().Kill(t.Context()), "kill a node")
			killAndStart(t, "stock")
		}, back},
		{"the NATS node that leads cut off", func(random *rand.Rand) {
			s.Must(leader().Cut(t.Context()), "cut off a node")
			after(t, time.Duration(random.IntN(2000))*time.Millisecond)
		}, func() {
			s.Must(node.Heal(t.Context()), "connect %s again", node.Name)
			whole()
		}},
		{"Redis emptied", func(random *rand.Rand) {
			redis := theHouse.Redis()
			defer redis.Close()
			for range 5 {
				s.Must(redis.FlushAll(t.Context()).Err(), "empty Redis")
				after(t, time.Duration(random.IntN(200))*time.Millisecond)
			}
		}, whole},
		{"Redis replaced, and a replica of stock killed", func(*rand.Rand) {
			s.Must(theHouse.Container("redis").Replace(t.Context()), "put another Redis in its place")
			killAndStart(t, "stock-2")
		}, whole},
	}
}
