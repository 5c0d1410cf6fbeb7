package serve

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/rpc"
)

// live runs the service until ctx ends or something fails.
func live(ctx context.Context, in invocation, c *Config, log *slog.Logger, build Build) (err error) {
	conn, err := connect(c, in.name, log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, drain(conn, c.stopTime())) }()
	js, err := jetstream.New(conn)
	if err != nil {
		return fmt.Errorf("use JetStream: %w", err)
	}
	if err := awaitJetStream(ctx, js, c.natsWait(), log); err != nil {
		if ctx.Err() != nil {
			return nil // told to stop before it began
		}
		return err
	}
	access, err := c.access()
	if err != nil {
		return err
	}
	signer, err := c.signer()
	if err != nil {
		return err
	}
	base := &Base{JetStream: js, Conn: conn, Clock: c.clock(), Log: log, Replicas: max(1, c.Replicas), tls: c.tls(), signer: signer}
	service, err := build(ctx, base)
	if err != nil {
		return fmt.Errorf("build the service: %w", err)
	}
	server, err := rpc.NewServer(rpc.ServerOptions{
		Name: in.name, Log: log, Health: service.Healthy, Reflection: c.Reflection, StopTime: c.stopTime(), TLS: c.tls(), Access: access,
	}, service.Register)
	if err != nil {
		return err
	}
	lis, err := (&net.ListenConfig{}).Listen(ctx, "tcp", c.listen())
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	log.Info("listening", slog.String("address", lis.Addr().String()))
	if in.listening != nil {
		in.listening(lis.Addr())
	}
	return serveAndRun(ctx, server, lis, service, c.stopTime())
}

// serveAndRun stops the server before the service: a call under way needs the
// service to be answered. The service's Run gets stopTime to end.
func serveAndRun(ctx context.Context, server *rpc.Server, lis net.Listener, service Service, stopTime time.Duration) error {
	serveCtx, stopServer := context.WithCancel(ctx)
	defer stopServer()
	runCtx, stopRun := context.WithCancel(context.WithoutCancel(ctx))
	defer stopRun()

	ran := make(chan error, 1)
	go func() {
		ran <- service.Run(runCtx)
		stopServer()
	}()
	serveErr := server.Serve(serveCtx, lis)
	select {
	case err := <-ran:
		if err == nil {
			err = errEarly
		}
		return errors.Join(serveErr, err)
	default:
	}
	stopRun()
	select {
	case err := <-ran:
		if errors.Is(err, context.Canceled) {
			err = nil
		}
		return errors.Join(serveErr, err)
	case <-time.After(stopTime):
		return errors.Join(serveErr, fmt.Errorf("the service did not end within %s", stopTime))
	}
}

func (c *Config) clock() clock.Clock {
	start, err := c.clockStart()
	if err != nil || start.IsZero() { // Validate refused an error before
		return clock.System()
	}
	return clock.StartingAt(start)
}
