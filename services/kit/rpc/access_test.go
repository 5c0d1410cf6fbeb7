package rpc_test

import (
	"context"
	"net"
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

// namedStock answers a release with the name of who asked.
type namedStock struct {
	stockv1.UnimplementedStockServiceServer
	asked chan string
}

func (s namedStock) LiftQuarantine(ctx context.Context, _ *stockv1.LiftQuarantineRequest) (*stockv1.LiftQuarantineResponse, error) {
	s.asked <- rpc.Actor(ctx)
	return &stockv1.LiftQuarantineResponse{}, nil
}

// admitting serves with keys, on a connection in memory or on this machine.
func admitting(t *testing.T, access rpc.Access, lis net.Listener) namedStock {
	t.Helper()
	s := namedStock{asked: make(chan string, 1)}
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "stock", Access: access}, func(r grpc.ServiceRegistrar) { stockv1.RegisterStockServiceServer(r, s) })
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx, lis) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return s
}

var liftIt = &stockv1.LiftQuarantineRequest{Yard: "demo", RequestId: "r1", BatchId: "B1", LiftedBy: "Pim", Reason: "sound"}

func TestServersAdmitByToken(t *testing.T) {
	signer, err := auth.OpenSigner(filepath.Join(t.TempDir(), "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	keys, err := auth.NewKeys(signer.Public())
	if err != nil {
		t.Fatal(err)
	}
	lis := bufconn.Listen(1 << 16)
	s := admitting(t, rpc.Access{Keys: keys, OwnMachine: true}, lis)
	dialer := grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) })
	call := func(ctx context.Context, options ...grpc.DialOption) error {
		conn, err := rpc.Dial("passthrough:///stock", append(options, dialer)...)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		_, err = stockv1.NewStockServiceClient(conn).LiftQuarantine(ctx, liftIt)
		return err
	}
	as := func(p auth.Person) []grpc.DialOption { return rpc.SignedBy(signer, p, time.Now) }
	if err := call(rpc.AsActor(t.Context(), "Pim")); fault.ReasonOf(err) != auth.ReasonTokenMissing {
		t.Errorf("nobody: got %v", err)
	}
	if err := call(t.Context(), as(auth.Person{Name: "Rosamund", Roles: []auth.Role{auth.Dispatcher}})...); fault.ReasonOf(err) != auth.ReasonRole {
		t.Errorf("another role: got %v", err)
	}
	// A name given beside the token counts for nothing.
	if err := call(rpc.AsActor(t.Context(), "Somebody Else"), as(auth.Person{Name: "Nettie", Roles: []auth.Role{auth.Laboratory}})...); err != nil {
		t.Fatal(err)
	}
	if got := <-s.asked; got != "Nettie" {
		t.Errorf("recorded %q", got)
	}
	if err := call(rpc.AsActor(t.Context(), "Pim"), as(auth.Person{Roles: []auth.Role{auth.Service}})...); err != nil {
		t.Fatal(err)
	}
	if got := <-s.asked; got != "Pim" {
		t.Errorf("a service acted for %q", got)
	}
}

func TestServersAdmitTheirOwnMachine(t *testing.T) {
	signer, err := auth.OpenSigner(filepath.Join(t.TempDir(), "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	keys, err := auth.NewKeys(signer.Public())
	if err != nil {
		t.Fatal(err)
	}
	lis, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := admitting(t, rpc.Access{Keys: keys, OwnMachine: true}, lis)
	conn, err := rpc.Dial(lis.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := stockv1.NewStockServiceClient(conn).LiftQuarantine(rpc.AsActor(t.Context(), "Pim"), liftIt); err != nil {
		t.Fatal(err)
	}
	if got := <-s.asked; got != "Pim" {
		t.Errorf("recorded %q", got)
	}
}
