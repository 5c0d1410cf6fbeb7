package cli

import (
	"context"
	"crypto/ed25519"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	eventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

// asked notes who asks.
type asked struct {
	stockv1.UnimplementedStockServiceServer
	by auth.Person
}

func (a *asked) GetYardRules(ctx context.Context, _ *stockv1.GetYardRulesRequest) (*stockv1.GetYardRulesResponse, error) {
	a.by, _ = rpc.Person(ctx)
	return &stockv1.GetYardRulesResponse{}, nil
}

// Where a service admits nobody without a token, a call that is signed gets in,
// in the name of the person, and one that is not is refused.
func TestCallsAreSigned(t *testing.T) {
	key := filepath.Join(t.TempDir(), "operations.pem")
	signer, err := auth.OpenSigner(key)
	if err != nil {
		t.Fatal(err)
	}
	keys, err := auth.NewKeys([]ed25519.PublicKey{signer.Public()}...)
	if err != nil {
		t.Fatal(err)
	}
	service := &asked{}
	server, err := rpc.NewServer(rpc.ServerOptions{Name: "stock", Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Access: rpc.Access{Keys: keys}}, func(r grpc.ServiceRegistrar) {
		stockv1.RegisterStockServiceServer(r, service)
	})
	if err != nil {
		t.Fatal(err)
	}
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx, lis) }()
	t.Cleanup(func() {
		cancel()
		<-ended
	})
	ask := func(key string) error {
		p := &program{server: lis.Addr().String(), actor: "Ola Exemplar", accessKey: key, errw: io.Discard}
		defer p.hangUp()
		c, err := p.stock()
		if err != nil {
			return err
		}
		_, err = c.GetYardRules(p.as(t.Context()), &stockv1.GetYardRulesRequest{Yard: "y1"})
		return err
	}
	if err := ask(key); err != nil || service.by.Name != "Ola Exemplar" || !service.by.Has(auth.Operations) {
		t.Errorf("signed: %v, by %+v", err, service.by)
	}
	if err := ask(""); err == nil {
		t.Error("a call without a token is let in")
	}
	noKey := filepath.Join(t.TempDir(), "no.pem")
	if err := os.WriteFile(noKey, []byte("not a key"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := ask(noKey); fault.ReasonOf(err) != "KEY_UNREADABLE" {
		t.Errorf("no key: %v", err)
	}
}

// drops answers with one run of two drops.
type drops struct {
	dispatchv1.DispatchServiceClient
}

func (drops) ListRuns(context.Context, *dispatchv1.ListRunsRequest, ...grpc.CallOption) (*dispatchv1.ListRunsResponse, error) {
	return &dispatchv1.ListRunsResponse{Runs: []*dispatchv1.RunStatus{{Run: &eventv1.Run{
		RunId: "2027-03-17-P1-R03", Drops: []*eventv1.Drop{{Number: 1, SiteId: "PF"}, {Number: 2, SiteId: "SS"}},
	}}}}, nil
}

// A delivery note that is printed with the desk's key opens its own drop, until
// two days after the delivery.
func TestDeliveryNotesOpenTheirDrop(t *testing.T) {
	key := filepath.Join(t.TempDir(), "desk.pem")
	signer, err := auth.OpenSigner(key)
	if err != nil {
		t.Fatal(err)
	}
	p := &program{accessKey: key}
	links, err := p.dropLinks(t.Context(), drops{}, "2027-03-17-P1-R03", "https://desk.yard.example/")
	if err != nil || len(links) != 2 {
		t.Fatalf("links %v, %v", links, err)
	}
	for _, l := range links {
		text, ok := strings.CutPrefix(l.GetAddress(), "https://desk.yard.example/site/")
		if !ok {
			t.Fatalf("address %s", l.GetAddress())
		}
		at := func(day int) func() time.Time {
			return func() time.Time { return time.Date(2027, 3, day, 12, 0, 0, 0, time.UTC) }
		}
		d, _, err := signer.ReadDropLink(text, at(19))
		if err != nil || d.RunID != "2027-03-17-P1-R03" || d.Number != l.GetDropNumber() {
			t.Errorf("it opens %+v, %v", d, err)
		}
		if _, _, err := signer.ReadDropLink(text, at(20)); err == nil {
			t.Error("it opens three days later")
		}
	}
	if links, err := (&program{}).dropLinks(t.Context(), drops{}, "2027-03-17-P1-R03", "https://desk.yard.example"); err != nil || links != nil {
		t.Errorf("without a key: %v, %v", links, err)
	}
}
