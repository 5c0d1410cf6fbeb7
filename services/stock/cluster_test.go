package stock_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc"

	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/stock"
	"spanyard.example/services/stock/promises"
)

// cluster is three NATS nodes in this process.
type cluster struct {
	settings [3]*server.Options
	nodes    [3]*server.Server
}

func startCluster(t *testing.T) *cluster {
	t.Helper()
	c := &cluster{}
	var routes []*url.URL
	for i := range c.settings {
		routes = append(routes, &url.URL{Scheme: "nats", Host: fmt.Sprintf("127.0.0.1:%d", freePort(t))})
		c.settings[i] = &server.Options{
			ServerName: fmt.Sprintf("node-%d", i), Host: "127.0.0.1", Port: freePort(t), NoSigs: true, NoLog: true,
			JetStream: true, StoreDir: t.TempDir(), SyncAlways: true, JetStreamMaxStore: 1 << 40, JetStreamMaxMemory: 256 << 20,
		}
	}
	for i, o := range c.settings {
		host, port := "127.0.0.1", 0
		if _, err := fmt.Sscan(routes[i].Port(), &port); err != nil {
			t.Fatal(err)
		}
		o.Cluster, o.Routes = server.ClusterOpts{Name: "test", Host: host, Port: port}, routes
		c.start(t, i)
	}
	t.Cleanup(func() {
		for _, n := range c.nodes {
			n.Shutdown()
			n.WaitForShutdown()
		}
	})
	for i := range c.nodes {
		c.ready(t, i)
	}
	return c
}

func (c *cluster) start(t *testing.T, i int) {
	t.Helper()
	s, err := server.NewServer(c.settings[i].Clone())
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	c.nodes[i] = s
}

func (c *cluster) ready(t *testing.T, i int) {
	t.Helper()
	if !c.nodes[i].ReadyForConnections(30 * time.Second) {
		t.Fatalf("node %d is not ready", i)
	}
}

func freePort(t *testing.T) int {
	t.Helper()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = lis.Close() }()
	return lis.Addr().(*net.TCPAddr).Port
}

func (c *cluster) jetStream(t *testing.T) jetstream.JetStream {
	t.Helper()
	var clients []string
	for _, o := range c.settings {
		clients = append(clients, fmt.Sprintf("nats://127.0.0.1:%d", o.Port))
	}
	conn, err := nats.Connect(strings.Join(clients, ","), nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	return js
}

// leader returns the node that leads stock's ledger.
func (c *cluster) leader(t *testing.T, js jetstream.JetStream) (int, error) {
	s, err := js.Stream(t.Context(), ledger.StreamOf("stock"))
	if err != nil {
		return 0, err
	}
	for i, o := range c.settings {
		if info := s.CachedInfo().Cluster; info != nil && info.Leader == o.ServerName {
			return i, nil
		}
	}
	return 0, errors.New("no node leads the ledger")
}

// TestLinearizableOnThreeNodes: the node that leads the ledger goes away and
// comes back while callers scramble for beams at two replicas.
func TestLinearizableOnThreeNodes(t *testing.T) {
	if testing.Short() {
		t.Skip("a cluster takes seconds to start")
	}
	seed := seeds(t, 1)[0]
	t.Logf("SPANYARD_SEED=%d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	nodes, memory, c := startCluster(t), miniredis.RunT(t), &hand{time.Date(2027, 3, 20, 8, 0, 0, 0, time.UTC)}
	js := nodes.jetStream(t)
	var houses []*house
	for range 2 {
		houses = append(houses, openWith(t, stock.Deps{JetStream: nodes.jetStream(t), Clock: c, Replicas: 3}, memory, grpc.WithDisableRetry()))
	}
	crowd := crowdOf(t, seed, houses...)
	crowd.Attempts = 20
	crowd.Wait = func(random *rand.Rand) time.Duration { return time.Duration(50+random.IntN(3000)) * time.Millisecond }
	told := make(chan *promises.History, 1)
	go func() { told <- crowd.Run(t.Context()) }()
	<-time.After(time.Duration(random.IntN(200)) * time.Millisecond)
	leader, err := nodes.leader(t, js)
	if err != nil {
		t.Fatal(err)
	}
	nodes.nodes[leader].Shutdown()
	nodes.nodes[leader].WaitForShutdown()
	<-time.After(time.Duration(random.IntN(1000)) * time.Millisecond)
	nodes.start(t, leader)
	history := <-told
	t.Logf("%d done, %d refused, %d unknown", history.Count(promises.Done), history.Count(promises.Refused), history.Count(promises.Unknown))
	if history.Count(promises.Done) < 10 {
		t.Error("too little happened to be judged")
	}
	if err := history.Judge(30 * time.Second); errors.Is(err, promises.ErrUndecided) {
		t.Logf("not decided: %d questions have no answer", history.Count(promises.Unknown))
	} else if err != nil {
		t.Error(err)
	}
}
