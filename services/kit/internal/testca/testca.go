// Package testca is a private certificate authority that lives as long as a
// test. For tests only.
package testca

import (
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
)

// Authority issues certificates into files of a folder of the test.
type Authority struct {
	// File with the authority's own certificate.
	File string

	dir    string
	cert   *x509.Certificate
	key    *ecdsa.PrivateKey
	issued int64
}

// New makes an authority.
func New(t testing.TB) *Authority {
	t.Helper()
	a := &Authority{dir: t.TempDir(), key: newKey(t), issued: 1}
	a.File = filepath.Join(a.dir, "ca.pem")
	template := &x509.Certificate{
		SerialNumber: big.NewInt(a.issued), Subject: pkix.Name{CommonName: "test authority"},
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
	write(t, a.File, "CERTIFICATE", der)
	return a
}

// Issue writes a certificate for a host, good for servers and clients, and its
// key, into files of a name; the files of that name before are replaced.
func (a *Authority) Issue(t testing.TB, name, host string) (certFile, keyFile string) {
	t.Helper()
	key := newKey(t)
	a.issued++
	template := &x509.Certificate{
		SerialNumber: big.NewInt(a.issued), Subject: pkix.Name{CommonName: host}, DNSNames: []string{host},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &key.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	certFile, keyFile = filepath.Join(a.dir, name+".pem"), filepath.Join(a.dir, name+".key")
	write(t, certFile, "CERTIFICATE", der)
	write(t, keyFile, "EC PRIVATE KEY", keyDER)
	return certFile, keyFile
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func write(t testing.TB, file, kind string, der []byte) {
	t.Helper()
	if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
}
