// Package natsd runs a NATS server with JetStream inside the process, for the
// all-in-one program and for tests. It needs nats-server 2.12 or newer
// (atomic publish); the module pins 2.15.
//
// A store folder belongs to one process at a time: two servers that open the
// same folder would damage it without complaint, so Start takes a file lock
// before it touches anything else. The server listens on no port, handles no
// signals, and syncs every write to disk before it acknowledges it.
package natsd

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"spanyard.example/services/kit/fault"
)

const (
	lockName = "spanyard.lock"
	// readyWithin is generous: a large store is read when it is opened.
	readyWithin = 2 * time.Minute
	// MaxPayloadBytes of one message.
	MaxPayloadBytes = 8 << 20

	defaultMaxStoreBytes  = 64 << 30
	defaultMaxMemoryBytes = 256 << 20
)

// Config of an embedded server.
type Config struct {
	// Dir holds the store and its lock; it is made when missing. Required.
	Dir string
	// MaxStoreBytes that JetStream may use on disk; default 64 GiB.
	MaxStoreBytes int64
	// MaxMemoryBytes that JetStream may use for streams in memory; default
	// 256 MiB.
	MaxMemoryBytes int64
	// Log of the server's own messages; default slog.Default().
	Log *slog.Logger
}

// Server is a running embedded server.
type Server struct {
	nats *server.Server
	lock *flock.Flock
	log  *slog.Logger

	mu    sync.Mutex
	conns []*nats.Conn
	stop  sync.Once
}

// Start locks the folder and runs a server on it. It returns when the server
// takes connections.
func Start(c Config) (*Server, error) {
	if c.Dir == "" {
		// The server itself would fall back to a temporary folder.
		return nil, fault.New(fault.Invalid, "DATA_FOLDER_MISSING", "No data folder was given.")
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	lock, err := lockFolder(c.Dir)
	if err != nil {
		return nil, err
	}
	s := &Server{lock: lock, log: c.Log}
	if err := s.start(c); err != nil {
		s.Stop()
		return nil, err
	}
	return s, nil
}

func lockFolder(dir string) (*flock.Flock, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fault.New(fault.Unavailable, "DATA_FOLDER_UNUSABLE",
			"The data folder %s cannot be made.", dir).Because(err)
	}
	lock := flock.New(filepath.Join(dir, lockName))
	locked, err := lock.TryLock()
	if err != nil {
		return nil, fault.New(fault.Unavailable, "DATA_FOLDER_UNUSABLE",
			"The data folder %s cannot be locked.", dir).Because(err)
	}
	if !locked {
		return nil, fault.New(fault.Unavailable, "DATA_FOLDER_IN_USE",
			"The data folder %s is in use by another running program. Stop that one first, or choose another folder.", dir)
	}
	return lock, nil
}

func (s *Server) start(c Config) error {
	srv, err := server.NewServer(&server.Options{
		ServerName:         "spanyard",
		DontListen:         true,
		NoSigs:             true,
		JetStream:          true,
		StoreDir:           filepath.Join(c.Dir, "nats"),
		SyncAlways:         true,
		JetStreamMaxMemory: orDefault(c.MaxMemoryBytes, defaultMaxMemoryBytes),
		JetStreamMaxStore:  orDefault(c.MaxStoreBytes, defaultMaxStoreBytes),
		MaxPayload:         MaxPayloadBytes,
	})
	if err != nil {
		return fmt.Errorf("make embedded NATS server: %w", err)
	}
	s.nats = srv
	srv.SetLoggerV2(&logger{log: c.Log.With("part", "nats")}, false, false, false)
	go srv.Start()
	if !srv.ReadyForConnections(readyWithin) {
		return errors.New("embedded NATS server did not become ready")
	}
	if !srv.JetStreamEnabled() {
		return fault.New(fault.Unavailable, "DATA_FOLDER_UNUSABLE",
			"The store in the data folder %s cannot be opened; the log says why.", c.Dir)
	}
	return nil
}

func orDefault(value, fallback int64) int64 {
	if value > 0 {
		return value
	}
	return fallback
}

// Connect returns a connection that needs no network. Stop closes it.
func (s *Server) Connect() (*nats.Conn, error) {
	conn, err := nats.Connect("", nats.InProcessServer(s.nats), nats.Name("spanyard"), nats.MaxReconnects(-1))
	if err != nil {
		return nil, fmt.Errorf("connect to embedded NATS server: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.conns = append(s.conns, conn)
	return conn, nil
}

// Stop drains and closes all connections, stops the server, waits until its
// store is closed, and only then gives the folder free. Consumers should be
// stopped before. It may be called more than once.
func (s *Server) Stop() {
	s.stop.Do(func() {
		s.mu.Lock()
		conns := s.conns
		s.mu.Unlock()
		for _, conn := range conns {
			drain(conn)
		}
		if s.nats != nil {
			s.nats.Shutdown()
			s.nats.WaitForShutdown()
		}
		if err := s.lock.Unlock(); err != nil {
			s.log.Error("data folder could not be unlocked", "error", err)
		}
	})
}

// drain lets the messages under way arrive, then closes.
func drain(conn *nats.Conn) {
	closed := make(chan struct{})
	conn.SetClosedHandler(func(*nats.Conn) { close(closed) })
	if conn.IsClosed() {
		return
	}
	if err := conn.Drain(); err != nil {
		conn.Close()
		return
	}
	select {
	case <-closed:
	case <-time.After(5 * time.Second):
		conn.Close()
	}
}

// logger hands the server's messages to slog.
type logger struct{ log *slog.Logger }

func (l *logger) Noticef(format string, v ...any) { l.log.Debug(fmt.Sprintf(format, v...)) }
func (l *logger) Warnf(format string, v ...any)   { l.log.Warn(fmt.Sprintf(format, v...)) }
func (l *logger) Errorf(format string, v ...any)  { l.log.Error(fmt.Sprintf(format, v...)) }
func (l *logger) Fatalf(format string, v ...any)  { l.log.Error(fmt.Sprintf(format, v...)) }
func (l *logger) Debugf(format string, v ...any)  { l.log.Debug(fmt.Sprintf(format, v...)) }
func (l *logger) Tracef(format string, v ...any)  { l.log.Debug(fmt.Sprintf(format, v...)) }
