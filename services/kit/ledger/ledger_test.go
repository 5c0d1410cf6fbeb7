package ledger_test

import (
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"

	"spanyard.example/services/kit/ledger/conformance"
	"spanyard.example/services/kit/natsd"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// embedded starts a server and returns a way to connect to it.
func embedded(t testing.TB) func(testing.TB) jetstream.JetStream {
	t.Helper()
	server, err := natsd.Start(natsd.Config{Dir: t.TempDir(), MaxStoreBytes: 1 << 40, Log: quiet()})
	if err != nil {
		t.Fatalf("start embedded NATS: %v", err)
	}
	t.Cleanup(server.Stop)
	return func(t testing.TB) jetstream.JetStream {
		t.Helper()
		conn, err := server.Connect()
		if err != nil {
			t.Fatalf("connect: %v", err)
		}
		t.Cleanup(conn.Close)
		return jetStream(t, conn)
	}
}

func jetStream(t testing.TB, conn *nats.Conn) jetstream.JetStream {
	t.Helper()
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatalf("open JetStream: %v", err)
	}
	return js
}

func TestConformanceEmbedded(t *testing.T) {
	conformance.Run(t, embedded(t), 1)
}
