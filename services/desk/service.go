// Package desk is what people see of the yard: pages for the dispatcher, the
// yard, the drawing office, the laboratory and the sites. It keeps no state but
// signed cookies; all it shows comes from the services, asked in the name of
// the person at the screen.
//
// Code map: internal/shell is what pages stand in, internal/pages the pages,
// accounts the file of local accounts.
package desk

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"google.golang.org/grpc"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/accounts"
	"spanyard.example/services/desk/internal/pages"
	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/clock"
)

// Company says how people sign in at their company, by OpenID Connect.
type Company = shell.CompanyConfig

// Deps is what the desk stands on.
type Deps struct {
	// Yard that the desk belongs to.
	Yard string
	// Connections to the services; they have to believe the signer's key.
	Layout, Stock, Dispatch grpc.ClientConnInterface
	// Signer of tokens and cookies.
	Signer *auth.Signer
	// Accounts is the file of local accounts; empty when there are none.
	Accounts string
	// Company is the sign-in at a company; nil where there is none.
	Company *Company
	// Demo people, whose places anybody may take who has opened /enter with the
	// key, the first one by that address itself. For demonstrations only.
	Demo    []auth.Person
	DemoKey string
	// Secure says that browsers reach the desk by TLS.
	Secure bool
	Clock  clock.Clock
	Log    *slog.Logger
}

// Service is the desk.
type Service struct {
	handler http.Handler
	log     *slog.Logger
}

// New returns the desk.
func New(d Deps) (*Service, error) {
	if d.Yard == "" || d.Layout == nil || d.Stock == nil || d.Dispatch == nil || d.Signer == nil {
		return nil, errors.New("desk: a yard, the services and a signer are needed")
	}
	if d.Clock == nil {
		d.Clock = clock.System()
	}
	if d.Log == nil {
		d.Log = slog.Default()
	}
	words, err := pages.English()
	if err != nil {
		return nil, err
	}
	s := &shell.Shell{
		Yard: d.Yard, Layout: layoutv1.NewLayoutServiceClient(d.Layout), Stock: stockv1.NewStockServiceClient(d.Stock),
		Dispatch: dispatchv1.NewDispatchServiceClient(d.Dispatch), Signer: d.Signer, DemoKey: d.DemoKey,
		Secure: d.Secure, Clock: d.Clock, Log: d.Log, Words: words,
	}
	for _, p := range d.Demo {
		p.Yard = d.Yard
		s.Demo = append(s.Demo, p)
	}
	if d.Company != nil {
		s.Company = shell.NewCompany(*d.Company)
	}
	if d.Accounts != "" {
		s.Accounts = accounts.Open(d.Accounts)
	}
	templates, err := pages.Templates()
	if err != nil {
		return nil, err
	}
	handler, err := s.Handler(templates, pages.All()...)
	if err != nil {
		return nil, err
	}
	return &Service{handler: handler, log: d.Log}, nil
}

// Handler of the desk's pages.
func (s *Service) Handler() http.Handler { return s.handler }

// Times within which a browser has to say what it wants, and gets its answer.
const (
	headTime = 10 * time.Second
	bodyTime = time.Minute
	idleTime = 2 * time.Minute
	stopTime = 3 * time.Second
)

// Serve answers browsers until ctx ends; then feeds are cut, and pages under
// way are ended.
func (s *Service) Serve(ctx context.Context, listener net.Listener) error {
	base, cut := context.WithCancel(context.WithoutCancel(ctx))
	defer cut()
	server := &http.Server{
		Handler: s.handler, ReadHeaderTimeout: headTime, ReadTimeout: bodyTime, WriteTimeout: bodyTime, IdleTimeout: idleTime,
		MaxHeaderBytes: 64 << 10, ErrorLog: slog.NewLogLogger(s.log.Handler(), slog.LevelDebug),
		BaseContext: func(net.Listener) context.Context { return base },
	}
	server.RegisterOnShutdown(cut)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	select {
	case err := <-served:
		return fmt.Errorf("serve the desk: %w", err)
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	if err := server.Shutdown(stop); err != nil {
		if err := server.Close(); err != nil {
			return err
		}
	}
	<-served
	return nil
}
