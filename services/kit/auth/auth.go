// Package auth says who calls a service and what they may do: short-lived
// tokens, signed with Ed25519, and the roles that each RPC declares in its
// proto (spanyard.common.v1.access).
//
// Whoever lets people in (the desk, the command line) signs a token for each
// call; a service knows the public keys it believes, and checks the roles
// itself. Nobody but the holder of a private key can make a token.
//
// Invariants: a token that is expired, unsigned, signed with an unknown key or
// with another method is refused; an RPC that declares no roles admits nobody
// but services; a link to a site opens one drop and nothing else.
package auth

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"spanyard.example/services/kit/fault"
)

// Role is what somebody does in the yard.
type Role string

// The roles.
const (
	Dispatcher    Role = "dispatcher"
	Yard          Role = "yard"
	DrawingOffice Role = "drawing-office"
	Laboratory    Role = "laboratory"
	// Site holds a link to one drop.
	Site       Role = "site"
	Operations Role = "operations"
	// Service is a service of the yard that acts for a person.
	Service Role = "service"
)

// People are the roles that a person can have; a site comes by its link.
var People = []Role{Dispatcher, Yard, DrawingOffice, Laboratory, Operations}

// Drop is what a link to a site opens.
type Drop struct {
	RunID  string `json:"run"`
	Number int32  `json:"drop"`
	// Floor that the drop brings something for, in tokens for requests about a
	// floor. Whoever signs them has asked dispatch.
	Floor *Floor `json:"floor,omitempty"`
}

// Floor of a job.
type Floor struct {
	JobID string `json:"job"`
	Floor string `json:"floor"`
}

// Person is who calls.
type Person struct {
	// Name that is recorded with every change. Empty for a service, which says
	// with each call for whom it acts.
	Name  string
	Roles []Role
	// Yard that the person may see; empty is every yard.
	Yard string
	// Drop is set for a link to a site.
	Drop *Drop
}

// Has reports whether the person has the role.
func (p Person) Has(r Role) bool { return slices.Contains(p.Roles, r) }

// Staff reports whether the person is of the yard.
func (p Person) Staff() bool { return slices.ContainsFunc(People, p.Has) }

// The audience keeps tokens for services apart from anything else that is
// signed with the same key.
const (
	issuer   = "spanyard"
	audience = "spanyard-services"
	// leeway for clocks of machines that differ.
	leeway = 10 * time.Second
	// MaxLife of a token for services.
	MaxLife = 5 * time.Minute
)

// claims of a token.
type claims struct {
	jwt.RegisteredClaims
	Roles []Role `json:"roles"`
	Yard  string `json:"yard,omitempty"`
	Drop  *Drop  `json:"site,omitempty"`
}

// Signer makes tokens.
type Signer struct {
	key ed25519.PrivateKey
	id  string
}

// NewSigner returns a signer with a private key.
func NewSigner(key ed25519.PrivateKey) (*Signer, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, errors.New("auth: not an Ed25519 private key")
	}
	public, ok := key.Public().(ed25519.PublicKey)
	if !ok {
		return nil, errors.New("auth: a private key without a public one")
	}
	return &Signer{key: key, id: keyID(public)}, nil
}

// Public key that services have to know.
func (s *Signer) Public() ed25519.PublicKey {
	public, ok := s.key.Public().(ed25519.PublicKey)
	if !ok { // NewSigner refused it before
		return nil
	}
	return public
}

// Secret returns 32 bytes that only the holder of the key can know, one for
// each purpose.
func (s *Signer) Secret(purpose string) []byte {
	sum := sha256.Sum256(append([]byte("spanyard secret for "+purpose+"\x00"), s.key.Seed()...))
	return sum[:]
}

// Sign returns a token that lives from now for a time, at most MaxLife.
func (s *Signer) Sign(p Person, now time.Time, life time.Duration) (string, error) {
	if life <= 0 || life > MaxLife {
		return "", fmt.Errorf("auth: a token cannot live for %s", life)
	}
	token := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer: issuer, Audience: jwt.ClaimStrings{audience}, Subject: p.Name,
			IssuedAt: jwt.NewNumericDate(now), NotBefore: jwt.NewNumericDate(now), ExpiresAt: jwt.NewNumericDate(now.Add(life)),
		},
		Roles: p.Roles, Yard: p.Yard, Drop: p.Drop,
	})
	token.Header["kid"] = s.id
	return token.SignedString(s.key)
}

// Keys are the public keys that a service believes.
type Keys struct{ byID map[string]ed25519.PublicKey }

// NewKeys returns the keys given; at least one.
func NewKeys(public ...ed25519.PublicKey) (*Keys, error) {
	if len(public) == 0 {
		return nil, errors.New("auth: no public keys")
	}
	k := &Keys{byID: map[string]ed25519.PublicKey{}}
	for _, p := range public {
		if len(p) != ed25519.PublicKeySize {
			return nil, errors.New("auth: not an Ed25519 public key")
		}
		k.byID[keyID(p)] = p
	}
	return k, nil
}

func keyID(public ed25519.PublicKey) string {
	sum := sha256.Sum256(public)
	return hex.EncodeToString(sum[:8])
}

// Reasons of refusals.
const (
	ReasonTokenInvalid = "SIGN_IN_INVALID"
	ReasonTokenMissing = "SIGN_IN_MISSING"
	ReasonRole         = "ROLE_MISSING"
	ReasonOutside      = "OUTSIDE_OF_LINK"
)

// Verify returns who a token is for, as of now. The error is a refusal.
func (k *Keys) Verify(token string, now time.Time) (Person, error) {
	var c claims
	_, err := jwt.ParseWithClaims(token, &c, func(t *jwt.Token) (any, error) {
		id, _ := t.Header["kid"].(string)
		key, ok := k.byID[id]
		if !ok {
			return nil, fmt.Errorf("unknown key %q", id)
		}
		return key, nil
	},
		jwt.WithValidMethods([]string{jwt.SigningMethodEdDSA.Alg()}), jwt.WithIssuer(issuer), jwt.WithAudience(audience),
		jwt.WithExpirationRequired(), jwt.WithLeeway(leeway), jwt.WithTimeFunc(func() time.Time { return now }))
	if err != nil {
		return Person{}, fault.New(fault.Refused, ReasonTokenInvalid, "Your sign-in is not valid here, or has run out. Sign in again.").Because(err)
	}
	p := Person{Name: c.Subject, Roles: c.Roles, Yard: c.Yard, Drop: c.Drop}
	if p.Has(Site) != (p.Drop != nil) || p.Name == "" && !p.Has(Service) {
		return Person{}, fault.New(fault.Refused, ReasonTokenInvalid, "Your sign-in is not complete. Sign in again.")
	}
	return p, nil
}
