package natsd_test

import (
	"context"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/natsd"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func start(t *testing.T, dir string) *natsd.Server {
	t.Helper()
	s, err := natsd.Start(natsd.Config{Dir: dir, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		t.Fatalf("start: %v", err)
	}
	t.Cleanup(s.Stop)
	return s
}

func connect(t *testing.T, s *natsd.Server) jetstream.JetStream {
	t.Helper()
	conn, err := s.Connect()
	if err != nil {
		t.Fatalf("connect: %v", err)
	}
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatalf("JetStream: %v", err)
	}
	return js
}

func within(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	t.Cleanup(cancel)
	return ctx
}

func TestRestartKeepsEverything(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "made", "on", "demand")
	s := start(t, dir)
	js := connect(t, s)
	if _, err := js.CreateStream(within(t), jetstream.StreamConfig{Name: "S", Subjects: []string{"s.>"}}); err != nil {
		t.Fatal(err)
	}
	large := make([]byte, natsd.MaxPayloadBytes-1024)
	for _, data := range [][]byte{[]byte("small"), large} {
		if _, err := js.Publish(within(t), "s.1", data); err != nil {
			t.Fatalf("publish %d bytes: %v", len(data), err)
		}
	}
	s.Stop()
	s.Stop() // twice does no harm

	stream, err := connect(t, start(t, dir)).Stream(within(t), "S")
	if err != nil {
		t.Fatalf("after restart: %v", err)
	}
	if n := stream.CachedInfo().State.Msgs; n != 2 {
		t.Fatalf("%d messages after restart, want 2", n)
	}
}

func TestOneProcessAtATime(t *testing.T) {
	dir := t.TempDir()
	first := start(t, dir)
	_, err := natsd.Start(natsd.Config{Dir: dir})
	if fault.KindOf(err) != fault.Unavailable || fault.ReasonOf(err) != "DATA_FOLDER_IN_USE" {
		t.Fatalf("second start: %v", err)
	}
	// The refused one has not hurt the first, nor taken its lock with it.
	if _, err := connect(t, first).AccountInfo(within(t)); err != nil {
		t.Fatalf("first server: %v", err)
	}
	if _, err := natsd.Start(natsd.Config{Dir: dir}); fault.ReasonOf(err) != "DATA_FOLDER_IN_USE" {
		t.Fatalf("third start: %v", err)
	}
	first.Stop()
	start(t, dir)
}

func TestUnusableFolders(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for dir, reason := range map[string]string{"": "DATA_FOLDER_MISSING", file: "DATA_FOLDER_UNUSABLE"} {
		if _, err := natsd.Start(natsd.Config{Dir: dir}); fault.ReasonOf(err) != reason {
			t.Errorf("%q: %v, want %s", dir, err, reason)
		}
	}
}
