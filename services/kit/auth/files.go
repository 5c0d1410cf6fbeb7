package auth

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// Keys in files are PEM, private ones in PKCS #8 and public ones in PKIX, as
// "openssl genpkey -algorithm ed25519" and "openssl pkey -pubout" write them.
const (
	privateBlock = "PRIVATE KEY"
	publicBlock  = "PUBLIC KEY"
)

// ReadSigner reads a private key from a file.
func ReadSigner(file string) (*Signer, error) {
	block, err := readBlock(file, privateBlock)
	if err != nil {
		return nil, err
	}
	key, err := x509.ParsePKCS8PrivateKey(block)
	if err != nil {
		return nil, fmt.Errorf("read the key in %s: %w", file, err)
	}
	private, ok := key.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("%s holds a key of another kind than Ed25519", file)
	}
	return NewSigner(private)
}

// ReadKeys reads public keys, one from each file.
func ReadKeys(files []string) (*Keys, error) {
	var all []ed25519.PublicKey
	for _, file := range files {
		block, err := readBlock(file, publicBlock)
		if err != nil {
			return nil, err
		}
		key, err := x509.ParsePKIXPublicKey(block)
		if err != nil {
			return nil, fmt.Errorf("read the key in %s: %w", file, err)
		}
		public, ok := key.(ed25519.PublicKey)
		if !ok {
			return nil, fmt.Errorf("%s holds a key of another kind than Ed25519", file)
		}
		all = append(all, public)
	}
	return NewKeys(all...)
}

// OpenSigner reads a private key from a file that is made when it is not
// there; only its owner can read it.
func OpenSigner(file string) (*Signer, error) {
	s, err := ReadSigner(file)
	if !errors.Is(err, fs.ErrNotExist) {
		return s, err
	}
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return nil, err
	}
	if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: privateBlock, Bytes: der}), 0o600); err != nil {
		return nil, err
	}
	return NewSigner(private)
}

func readBlock(file, kind string) ([]byte, error) {
	content, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	block, _ := pem.Decode(content)
	if block == nil || block.Type != kind {
		return nil, fmt.Errorf("%s holds no %s in PEM form", file, kind)
	}
	return block.Bytes, nil
}
