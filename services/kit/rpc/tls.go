package rpc

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"

	"google.golang.org/grpc/credentials"
)

// TLSFiles are PEM files of a private certificate authority, for TLS both
// ways: each side shows a certificate and checks the other's. All three are
// set or none.
type TLSFiles struct {
	// Cert and Key of this side. They are read again when they change, so
	// that a renewed certificate needs no restart.
	Cert, Key string
	// CA that signed the other side's certificate.
	CA string
}

// Set reports whether TLS is wanted.
func (f TLSFiles) Set() bool { return f != TLSFiles{} }

// Check reads the files and says what is wrong with them.
func (f TLSFiles) Check() error {
	if !f.Set() {
		return nil
	}
	_, _, err := f.load()
	return err
}

// Credentials for grpc.WithTransportCredentials. With serverName empty, the
// server's certificate must name the host that is dialled.
func (f TLSFiles) Credentials(serverName string) (credentials.TransportCredentials, error) {
	_, ca, err := f.load()
	if err != nil {
		return nil, err
	}
	return credentials.NewTLS(&tls.Config{
		MinVersion: tls.VersionTLS13,
		RootCAs:    ca,
		ServerName: serverName,
		GetClientCertificate: func(*tls.CertificateRequestInfo) (*tls.Certificate, error) {
			return f.certificate()
		},
	}), nil
}

// OwnName returns the first DNS name in this side's certificate: what a client
// must expect that dials this very server by another address.
func (f TLSFiles) OwnName() (string, error) {
	cert, err := f.certificate()
	if err != nil {
		return "", err
	}
	if len(cert.Leaf.DNSNames) == 0 {
		return "", fmt.Errorf("certificate %s names no host", f.Cert)
	}
	return cert.Leaf.DNSNames[0], nil
}

func (f TLSFiles) server() (*tls.Config, error) {
	_, ca, err := f.load()
	if err != nil {
		return nil, err
	}
	return &tls.Config{
		MinVersion: tls.VersionTLS13,
		ClientAuth: tls.RequireAndVerifyClientCert,
		ClientCAs:  ca,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
			return f.certificate()
		},
	}, nil
}

func (f TLSFiles) load() (*tls.Certificate, *x509.CertPool, error) {
	if f.Cert == "" || f.Key == "" || f.CA == "" {
		return nil, nil, errors.New("TLS needs all three files: certificate, key and certificate authority")
	}
	cert, err := f.certificate()
	if err != nil {
		return nil, nil, err
	}
	pem, err := os.ReadFile(f.CA)
	if err != nil {
		return nil, nil, fmt.Errorf("read the certificate authority: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, nil, fmt.Errorf("%s holds no certificate in PEM form", f.CA)
	}
	return cert, pool, nil
}

// certificate is read for each handshake: handshakes are rare, and the files
// small.
func (f TLSFiles) certificate() (*tls.Certificate, error) {
	cert, err := tls.LoadX509KeyPair(f.Cert, f.Key)
	if err != nil {
		return nil, fmt.Errorf("read certificate and key: %w", err)
	}
	return &cert, nil
}
