// Package ledgertest gives the unit tests of a service a real JetStream: an
// embedded server on a temporary folder that goes away with the test.
package ledgertest

import (
	"io"
	"log/slog"
	"testing"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/natsd"
)

// JetStream returns a JetStream of the test's own.
func JetStream(t testing.TB) jetstream.JetStream {
	t.Helper()
	return On(t, t.TempDir())
}

// On returns a JetStream that keeps its data in dir. It is stopped when the
// test ends, so that a subtest may leave a folder behind for the next one to
// find again.
func On(t testing.TB, dir string) jetstream.JetStream {
	t.Helper()
	server, err := natsd.Start(natsd.Config{Dir: dir, MaxStoreBytes: 1 << 40, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		t.Fatalf("start embedded NATS: %v", err)
	}
	t.Cleanup(server.Stop)
	conn, err := server.Connect()
	if err != nil {
		t.Fatalf("connect to embedded NATS: %v", err)
	}
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatalf("open JetStream: %v", err)
	}
	return js
}
