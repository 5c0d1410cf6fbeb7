package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/redis/go-redis/v9"

	"spanyard.example/services/kit/natsd"
)

// place is what a service stands on: JetStream and Redis.
type place struct {
	// name of the layout, for the table.
	name string
	// copies of each stream.
	copies  int
	connect func() (*nats.Conn, error)
	redis   *redis.Client
	close   []func()
}

func (p *place) stop() {
	for i := len(p.close) - 1; i >= 0; i-- {
		p.close[i]()
	}
}

// jetStream returns a JetStream on a connection of its own.
func (p *place) jetStream() (jetstream.JetStream, error) {
	conn, err := p.connect()
	if err != nil {
		return nil, err
	}
	p.close = append(p.close, conn.Close)
	return jetstream.New(conn)
}

var silent = slog.New(slog.DiscardHandler)

// oneNode is the layout of the all-in-one program: NATS in the process, synced
// to disk on every write, and a Redis beside it.
func (b *bench) oneNode(ctx context.Context) (*place, error) {
	dir, err := os.MkdirTemp(b.dir, "one-")
	if err != nil {
		return nil, err
	}
	s, err := natsd.Start(natsd.Config{Dir: dir, Log: silent})
	if err != nil {
		return nil, err
	}
	p := &place{name: "one node", copies: 1, connect: s.Connect, close: []func(){s.Stop}}
	return p, p.startRedis(ctx, dir)
}

// threeNodes are three servers with three copies of each stream, over the
// network of the machine. They share its disk and its processors.
func (b *bench) threeNodes(ctx context.Context) (*place, error) {
	p := &place{name: "three nodes", copies: 3}
	var routes, clients []string
	var ports []int
	for range 3 {
		port, err := freePort()
		if err != nil {
			return nil, err
		}
		ports = append(ports, port)
		routes = append(routes, fmt.Sprintf("nats://127.0.0.1:%d", port))
	}
	dir, err := os.MkdirTemp(b.dir, "three-")
	if err != nil {
		return nil, err
	}
	var servers []*server.Server
	for i, port := range ports {
		s, err := server.NewServer(&server.Options{
			ServerName: fmt.Sprintf("node-%d", i+1), Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, NoLog: true,
			JetStream: true, StoreDir: filepath.Join(dir, fmt.Sprint(i)), SyncAlways: true, MaxPayload: natsd.MaxPayloadBytes,
			JetStreamMaxStore: 64 << 30, JetStreamMaxMemory: 256 << 20,
			Cluster: server.ClusterOpts{Name: "bench", Host: "127.0.0.1", Port: port}, Routes: urls(routes),
		})
		if err != nil {
			return p, err
		}
		s.Start()
		p.close = append(p.close, func() { s.Shutdown(); s.WaitForShutdown() })
		servers = append(servers, s)
	}
	for _, s := range servers {
		if !s.ReadyForConnections(30 * time.Second) {
			return p, errors.New("a NATS node is not ready")
		}
		clients = append(clients, s.ClientURL())
	}
	p.connect = func() (*nats.Conn, error) { return nats.Connect(strings.Join(clients, ","), nats.MaxReconnects(-1)) }
	return p, p.startRedis(ctx, dir)
}

func urls(texts []string) []*url.URL {
	var out []*url.URL
	for _, text := range texts {
		u, _ := url.Parse(text) // made by us
		out = append(out, u)
	}
	return out
}

func freePort() (int, error) {
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	port := lis.Addr().(*net.TCPAddr).Port
	return port, lis.Close()
}

// startRedis runs a redis-server that tells when a string has been written.
func (p *place) startRedis(ctx context.Context, dir string) error {
	port, err := freePort()
	if err != nil {
		return err
	}
	command := exec.Command("redis-server", "--port", fmt.Sprint(port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no",
		"--notify-keyspace-events", "K$", "--dir", dir)
	if err := command.Start(); err != nil {
		return fmt.Errorf("start redis-server: %w", err)
	}
	p.close = append(p.close, func() {
		_ = command.Process.Kill() // it keeps nothing
		_ = command.Wait()
	})
	p.redis = redis.NewClient(&redis.Options{Addr: fmt.Sprintf("127.0.0.1:%d", port), DisableIdentity: true})
	p.close = append(p.close, func() { _ = p.redis.Close() })
	return until(ctx, "redis-server to answer", func() bool { return p.redis.Ping(ctx).Err() == nil })
}

// until asks again and again for up to a minute.
func until(ctx context.Context, what string, done func() bool) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !done() {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return fmt.Errorf("waited in vain for %s: %w", what, ctx.Err())
		}
	}
	return nil
}
