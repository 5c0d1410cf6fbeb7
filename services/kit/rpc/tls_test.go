package rpc

import (
	"context"
	"testing"

	"google.golang.org/grpc"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/internal/testca"
)

// issue has an authority write a certificate for a host.
func issue(t *testing.T, ca *testca.Authority, name, host string) TLSFiles {
	t.Helper()
	cert, key := ca.Issue(t, name, host)
	return TLSFiles{Cert: cert, Key: key, CA: ca.File}
}

func TestTLSBothWays(t *testing.T) {
	ours, foreign := testca.New(t), testca.New(t)
	server, client := issue(t, ours, "server", "dispatch.test"), issue(t, ours, "client", "stock.test")
	stranger := issue(t, foreign, "client", "stock.test")
	f := &fake{listTrucks: func(context.Context, *dispatchv1.ListTrucksRequest) (*dispatchv1.ListTrucksResponse, error) {
		return &dispatchv1.ListTrucksResponse{}, nil
	}}
	call := func(dial ...grpc.DialOption) error {
		r := start(t, f, ServerOptions{TLS: server}, dial...)
		_, err := r.client.ListTrucks(t.Context(), read())
		return err
	}
	with := func(files TLSFiles, name string) grpc.DialOption {
		credentials, err := files.Credentials(name)
		if err != nil {
			t.Fatal(err)
		}
		return grpc.WithTransportCredentials(credentials)
	}
	name, err := server.OwnName()
	if err != nil || name != "dispatch.test" {
		t.Fatalf("OwnName = %q, %v", name, err)
	}
	if err := call(with(client, name)); err != nil {
		t.Errorf("a client of our authority: %v", err)
	}
	strangers := map[string][]grpc.DialOption{
		"plain text":                       nil,
		"a server of another name":         {with(client, "layout.test")},
		"a client of another authority":    {with(TLSFiles{Cert: stranger.Cert, Key: stranger.Key, CA: ours.File}, name)},
		"a server of an unknown authority": {with(TLSFiles{Cert: client.Cert, Key: client.Key, CA: foreign.File}, name)},
	}
	for what, dial := range strangers {
		if err := call(append(dial, grpc.WithDisableRetry())...); fault.KindOf(err) != fault.Unavailable {
			t.Errorf("%s: got %v, want no connection", what, err)
		}
	}
}

func TestRenewedCertificatesAreUsed(t *testing.T) {
	a := testca.New(t)
	files := issue(t, a, "server", "old.test")
	config, err := files.server()
	if err != nil {
		t.Fatal(err)
	}
	issue(t, a, "server", "new.test")
	cert, err := config.GetCertificate(nil)
	if err != nil || cert.Leaf.DNSNames[0] != "new.test" {
		t.Errorf("got %v, %v; want the new certificate", cert.Leaf.DNSNames, err)
	}
}

func TestTLSFilesCheck(t *testing.T) {
	a := testca.New(t)
	good := issue(t, a, "server", "dispatch.test")
	if err := good.Check(); err != nil {
		t.Errorf("good files: %v", err)
	}
	if err := (TLSFiles{}).Check(); err != nil {
		t.Errorf("no files: %v", err)
	}
	for name, files := range map[string]TLSFiles{
		"one missing":       {Cert: good.Cert, Key: good.Key},
		"no such file":      {Cert: good.Cert + "x", Key: good.Key, CA: good.CA},
		"key of another":    {Cert: good.Cert, Key: issue(t, a, "other", "x.test").Key, CA: good.CA},
		"authority no cert": {Cert: good.Cert, Key: good.Key, CA: good.Key},
	} {
		if err := files.Check(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
