package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
)

// ServerOptions of NewServer. Name is required; zero values are sensible.
type ServerOptions struct {
	// Name of the service, for the log.
	Name string
	// Log defaults to slog.Default.
	Log *slog.Logger
	// Health is asked every few seconds; nil means always well. Three failures
	// in a row take the service out of its clients' rotation, one success
	// brings it back.
	Health func(context.Context) error
	// HealthEvery defaults to two seconds.
	HealthEvery time.Duration
	// Reflection lets generic clients ask what the server can do.
	Reflection bool
	// StopTime that calls under way get to end; defaults to ten seconds.
	StopTime time.Duration
	// TLS makes the server speak TLS and demand its clients' certificates.
	TLS TLSFiles
	// Access says whom the server admits; everybody when left out.
	Access Access
}

const (
	defaultHealthEvery = 2 * time.Second
	defaultStopTime    = 10 * time.Second
)

// Server is a gRPC server with this package's interceptors and health service.
type Server struct {
	options  ServerOptions
	log      *slog.Logger
	grpc     *grpc.Server
	health   *health.Server
	stopping context.Context
	stop     context.CancelFunc
}

// NewServer makes a server of the services that register adds.
func NewServer(o ServerOptions, register ...func(grpc.ServiceRegistrar)) (*Server, error) {
	if o.Name == "" || len(register) == 0 {
		return nil, errors.New("rpc: a server needs a name and a service")
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.HealthEvery <= 0 {
		o.HealthEvery = defaultHealthEvery
	}
	if o.StopTime <= 0 {
		o.StopTime = defaultStopTime
	}
	s := &Server{options: o, log: o.Log, health: health.NewServer()}
	s.stopping, s.stop = context.WithCancel(context.Background())
	options, err := s.grpcOptions()
	if err != nil {
		return nil, err
	}
	s.grpc = grpc.NewServer(options...)
	for _, r := range register {
		r(s.grpc)
	}
	healthv1.RegisterHealthServer(s.grpc, s.health)
	if o.Reflection {
		reflection.Register(s.grpc)
	}
	s.setHealth(false)
	return s, nil
}

func (s *Server) grpcOptions() ([]grpc.ServerOption, error) {
	rules, err := newRules()
	if err != nil {
		return nil, err
	}
	checks := []check{allowed, requireActor, rules.check}
	options := []grpc.ServerOption{
		grpc.MaxRecvMsgSize(maxMessageBytes),
		grpc.MaxSendMsgSize(maxMessageBytes),
		grpc.ChainUnaryInterceptor(s.unaryChain(checks)...),
		grpc.ChainStreamInterceptor(s.streamChain(checks)...),
		grpc.WaitForHandlers(true),
		// Clients find new replicas when their connections are renewed;
		// streams under way go on on the old one.
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionAge: connectionAge, Time: keepaliveEvery, Timeout: keepaliveTimeout}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: keepaliveEvery / 2, PermitWithoutStream: true}),
	}
	if s.options.TLS.Set() {
		config, err := s.options.TLS.server()
		if err != nil {
			return nil, err
		}
		options = append(options, grpc.Creds(credentials.NewTLS(config)))
	}
	return options, nil
}

// Connections are renewed now and then and checked when silent.
const (
	connectionAge    = 10 * time.Minute
	keepaliveEvery   = 30 * time.Second
	keepaliveTimeout = 10 * time.Second
)

// Serve answers calls on lis until ctx ends or lis fails. Then it says that it
// is not serving, ends the streams, gives calls under way StopTime, and
// returns when every handler has returned. It may be called once.
func (s *Server) Serve(ctx context.Context, lis net.Listener) error {
	watch, stopWatch := context.WithCancel(ctx)
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		s.watchHealth(watch)
	}()
	served := make(chan error, 1)
	go func() { served <- s.grpc.Serve(lis) }()

	var err error
	select {
	case <-ctx.Done():
		s.log.Info("stopping", slog.String("service", s.options.Name))
	case err = <-served:
		err = fmt.Errorf("serve %s: %w", lis.Addr(), err)
	}
	stopWatch()
	<-watched
	s.health.Shutdown()
	s.stop()
	s.stopGracefully()
	if ctx.Err() != nil && err == nil {
		<-served
	}
	return err
}

// stopGracefully returns when every handler has returned; after StopTime it
// cancels those that have not.
func (s *Server) stopGracefully() {
	timer := time.AfterFunc(s.options.StopTime, func() {
		s.log.Warn("calls under way are cut off", slog.String("service", s.options.Name), slog.Duration("after", s.options.StopTime))
		s.grpc.Stop()
	})
	defer timer.Stop()
	s.grpc.GracefulStop()
}

// Health turns to bad only after several failures in a row, so that one slow
// answer does not send the clients away.
const failuresToGoDown = 3

// firstHealthEvery is how often a starting service is asked.
const firstHealthEvery = 100 * time.Millisecond

func (s *Server) watchHealth(ctx context.Context) {
	well, failures, every := false, 0, firstHealthEvery
	for {
		err := s.askHealth(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err == nil:
			if !well {
				s.log.Info("serving", slog.String("service", s.options.Name))
			}
			well, failures, every = true, 0, s.options.HealthEvery
			s.setHealth(true)
		default:
			failures++
			if well && failures >= failuresToGoDown {
				well = false
				s.setHealth(false)
			}
			if !well && failures%failuresToGoDown == 0 {
				s.log.Warn("not serving", slog.String("service", s.options.Name), slog.String("error", err.Error()))
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(min(every, s.options.HealthEvery)):
		}
	}
}

func (s *Server) askHealth(ctx context.Context) error {
	if s.options.Health == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, s.options.HealthEvery)
	defer cancel()
	return s.options.Health(ctx)
}

// setHealth answers for the whole server and for each of its services.
func (s *Server) setHealth(well bool) {
	state := healthv1.HealthCheckResponse_NOT_SERVING
	if well {
		state = healthv1.HealthCheckResponse_SERVING
	}
	s.health.SetServingStatus("", state)
	for name := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(name, state)
	}
}
