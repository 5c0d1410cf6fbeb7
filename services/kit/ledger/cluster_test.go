package ledger_test

import (
	"fmt"
	"net"
	"net/url"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/ledger/conformance"
)

// cluster starts three servers in this process and returns a way to connect to
// any of them.
func cluster(t testing.TB) func(testing.TB) jetstream.JetStream {
	t.Helper()
	const nodes = 3
	var servers []*server.Server
	ports := freePorts(t, nodes)
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
	next := 0
	return func(t testing.TB) jetstream.JetStream {
		t.Helper()
		next++
		conn, err := nats.Connect(servers[next%nodes].ClientURL(), nats.MaxReconnects(-1))
		if err != nil {
			t.Fatalf("connect: %v", err)
		}
		t.Cleanup(conn.Close)
		return jetStream(t, conn)
	}
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
	conformance.Races(t, cluster(t), 3)
}
