package ledger_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/ledger"
	"spanyard.example/services/kit/ledger/conformance"
)

// nodes are servers in this process that form a cluster.
type nodes []*server.Server

// cluster starts three nodes.
func cluster(t testing.TB) nodes {
	t.Helper()
	const count = 3
	var servers nodes
	ports := freePorts(t, count)
	var routes []*url.URL
	for _, port := range ports {
		routes = append(routes, &url.URL{Scheme: "nats", Host: fmt.Sprintf("127.0.0.1:%d", port)})
	}
	for i, port := range ports {
		s, err := server.NewServer(&server.Options{
			ServerName: fmt.Sprintf("node%d", i), Host: "127.0.0.1", Port: server.RANDOM_PORT,
			NoSigs: true, NoLog: true, JetStream: true, StoreDir: t.TempDir(), SyncAlways: true,
			JetStreamMaxStore: 1 << 40, JetStreamMaxMemory: 256 << 20,
			Cluster: server.ClusterOpts{Name: "test", Host: "127.0.0.1", Port: port},
			Routes:  routes,
		})
		if err != nil {
			t.Fatalf("make node %d: %v", i, err)
		}
		s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		servers = append(servers, s)
	}
	for i, s := range servers {
		if !s.ReadyForConnections(30 * time.Second) {
			t.Fatalf("node %d is not ready", i)
		}
	}
	return servers
}

// connect returns a connection to any of them.
func (n nodes) connect(t testing.TB) jetstream.JetStream {
	t.Helper()
	var urls []string
	for _, s := range n {
		urls = append(urls, s.ClientURL())
	}
	conn, err := nats.Connect(strings.Join(urls, ","), nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond))
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	t.Cleanup(conn.Close)
	return jetStream(t, conn)
}

// freePorts asks the system for ports that nobody uses just now: the nodes have
// to know each other's before they start.
func freePorts(t testing.TB, n int) []int {
	t.Helper()
	var ports []int
	for range n {
		listener, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatalf("find a free port: %v", err)
		}
		defer func() { _ = listener.Close() }()
		ports = append(ports, listener.Addr().(*net.TCPAddr).Port)
	}
	return ports
}

// The races are the part in which a replicated stream differs; the whole suite
// runs on a cluster of containers elsewhere.
func TestRacesOnThreeNodes(t *testing.T) {
	if testing.Short() {
		t.Skip("a cluster takes seconds to start")
	}
	conformance.Races(t, cluster(t).connect, 3)
}

// TestLosesItsLeader stops the node that leads the stream while two replicas
// write, and wants every request carried out once.
func TestLosesItsLeader(t *testing.T) {
	if testing.Short() {
		t.Skip("a cluster takes seconds to start")
	}
	c := cluster(t)
	const commands = 60
	half := make(chan struct{}, 2)
	var wg sync.WaitGroup
	var ledgers []*ledger.Ledger[int, []byte]
	for replica := range 2 {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		l, err := ledger.Open(ctx, c.connect(t), bytesDomain("leaderless"), ledger.Options{Replicas: 3, MaxBytes: 64 << 20, Log: quiet()})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(l.Close)
		ledgers = append(ledgers, l)
		wg.Go(func() {
			for i := range commands {
				if i == commands/2 {
					half <- struct{}{}
				}
				untilKnown(t, l, noting(fmt.Sprintf("r%d-%d", replica, i), 1+2*(i%2)))
			}
		})
	}
	<-half
	leaderOf(t, c, ledger.StreamOf("leaderless")).Shutdown()
	wg.Wait()
	const want = 2 * commands * 2
	for _, l := range ledgers {
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		last, err := l.LastPosition(ctx, "north")
		if err != nil {
			t.Fatal(err)
		}
		if n, _, err := l.State(ctx, "north", last); err != nil || n != want || last != want {
			t.Fatalf("%d events up to position %d, %v; want %d", n, last, err, want)
		}
	}
}

// untilKnown repeats a request for as long as its outcome is open.
func untilKnown(t *testing.T, l *ledger.Ledger[int, []byte], c ledger.Command[int, []byte]) {
	for {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		_, err := l.Do(ctx, "north", c)
		cancel()
		if err == nil {
			return
		}
		if !errors.Is(err, fault.Unavailable) && !errors.Is(err, fault.Conflict) {
			t.Errorf("%s: %v", c.RequestID, err)
			return
		}
		if t.Context().Err() != nil {
			return
		}
	}
}

func leaderOf(t *testing.T, c nodes, stream string) *server.Server {
	t.Helper()
	s, err := c.connect(t).Stream(t.Context(), stream)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range c {
		if n.Name() == s.CachedInfo().Cluster.Leader {
			return n
		}
	}
	t.Fatalf("no node leads %s", stream)
	return nil
}
