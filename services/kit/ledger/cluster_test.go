package ledger_test

import (
	"fmt"
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
	var routes []*url.URL
	for i := range nodes {
		s, err := server.NewServer(&server.Options{
			ServerName: fmt.Sprintf("node%d", i), Host: "127.0.0.1", Port: server.RANDOM_PORT,
			NoSigs: true, NoLog: true, JetStream: true, StoreDir: t.TempDir(), SyncAlways: true,
			JetStreamMaxStore: 1 << 40, JetStreamMaxMemory: 256 << 20,
			Cluster: server.ClusterOpts{Name: "test", Host: "127.0.0.1", Port: server.RANDOM_PORT},
			Routes:  routes,
		})
		if err != nil {
			t.Fatalf("make node %d: %v", i, err)
		}
		s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		if !s.ReadyForConnections(30 * time.Second) {
			t.Fatalf("node %d is not ready", i)
		}
		routes = append(routes, &url.URL{Scheme: "nats", Host: s.ClusterAddr().String()})
		servers = append(servers, s)
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

// The races are the part in which a replicated stream differs; the whole suite
// runs on a cluster of containers elsewhere.
func TestRacesOnThreeNodes(t *testing.T) {
	if testing.Short() {
		t.Skip("a cluster takes seconds to start")
	}
	conformance.Races(t, cluster(t), 3)
}
