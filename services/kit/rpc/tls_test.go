package rpc

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/grpc"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	"spanyard.example/services/kit/fault"
)

// authority is a private certificate authority that lives as long as a test.
type authority struct {
	t    *testing.T
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	file string
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{t: t, dir: t.TempDir()}
	a.key = newKey(t)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &a.key.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	if a.cert, err = x509.ParseCertificate(der); err != nil {
		t.Fatal(err)
	}
	a.file = filepath.Join(a.dir, "ca.pem")
	writePEM(t, a.file, "CERTIFICATE", der)
	return a
}

// issue writes a certificate for a host into files of the given name.
func (a *authority) issue(name, host string) TLSFiles {
	a.t.Helper()
	key := newKey(a.t)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: host}, DNSNames: []string{host},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &key.PublicKey, a.key)
	if err != nil {
		a.t.Fatal(err)
	}
	keyDER, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		a.t.Fatal(err)
	}
	files := TLSFiles{Cert: filepath.Join(a.dir, name+".pem"), Key: filepath.Join(a.dir, name+".key"), CA: a.file}
	writePEM(a.t, files.Cert, "CERTIFICATE", der)
	writePEM(a.t, files.Key, "EC PRIVATE KEY", keyDER)
	return files
}

func newKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func writePEM(t *testing.T, file, kind string, der []byte) {
	t.Helper()
	if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestTLSBothWays(t *testing.T) {
	ours, foreign := newAuthority(t), newAuthority(t)
	server, client := ours.issue("server", "dispatch.test"), ours.issue("client", "stock.test")
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
		"a client of another authority":    {with(TLSFiles{Cert: foreign.issue("c", "stock.test").Cert, Key: foreign.dir + "/c.key", CA: ours.file}, name)},
		"a server of an unknown authority": {with(TLSFiles{Cert: client.Cert, Key: client.Key, CA: foreign.file}, name)},
	}
	for what, dial := range strangers {
		if err := call(append(dial, grpc.WithDisableRetry())...); fault.KindOf(err) != fault.Unavailable {
			t.Errorf("%s: got %v, want no connection", what, err)
		}
	}
}

func TestRenewedCertificatesAreUsed(t *testing.T) {
	a := newAuthority(t)
	files := a.issue("server", "old.test")
	config, err := files.server()
	if err != nil {
		t.Fatal(err)
	}
	a.issue("server", "new.test")
	cert, err := config.GetCertificate(nil)
	if err != nil || cert.Leaf.DNSNames[0] != "new.test" {
		t.Errorf("got %v, %v; want the new certificate", cert.Leaf.DNSNames, err)
	}
}

func TestTLSFilesCheck(t *testing.T) {
	a := newAuthority(t)
	good := a.issue("server", "dispatch.test")
	if err := good.Check(); err != nil {
		t.Errorf("good files: %v", err)
	}
	if err := (TLSFiles{}).Check(); err != nil {
		t.Errorf("no files: %v", err)
	}
	for name, files := range map[string]TLSFiles{
		"one missing":       {Cert: good.Cert, Key: good.Key},
		"no such file":      {Cert: good.Cert + "x", Key: good.Key, CA: good.CA},
		"key of another":    {Cert: good.Cert, Key: a.issue("other", "x.test").Key, CA: good.CA},
		"authority no cert": {Cert: good.Cert, Key: good.Key, CA: good.Key},
	} {
		if err := files.Check(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
