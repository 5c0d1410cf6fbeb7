package auth

import (
	"errors"
	"time"

	"github.com/golang-jwt/jwt/v5"
)

// LinkPath is where a desk opens links, with the text behind it.
const LinkPath = "/site/"

// linkPurpose is what a link may be used for, and names its secret.
const linkPurpose = "site-link"

// linkClaims are what a link says.
type linkClaims struct {
	jwt.RegisteredClaims
	Drop *Drop `json:"site,omitempty"`
}

func (s *Signer) linkSecret() []byte { return s.Secret("desk " + linkPurpose) }

// DropLink returns a text that opens one drop for whoever holds it, at a desk
// with the same key, until a time.
func (s *Signer) DropLink(d Drop, until time.Time) (string, error) {
	c := linkClaims{Drop: &d}
	c.Audience = jwt.ClaimStrings{linkPurpose}
	c.ExpiresAt = jwt.NewNumericDate(until)
	return jwt.NewWithClaims(jwt.SigningMethodHS256, c).SignedString(s.linkSecret())
}

// ReadDropLink returns the drop that a link opens now, and until when.
func (s *Signer) ReadDropLink(text string, now func() time.Time) (Drop, time.Time, error) {
	var c linkClaims
	_, err := jwt.ParseWithClaims(text, &c, func(*jwt.Token) (any, error) { return s.linkSecret(), nil },
		jwt.WithValidMethods([]string{jwt.SigningMethodHS256.Alg()}), jwt.WithAudience(linkPurpose), jwt.WithExpirationRequired(), jwt.WithTimeFunc(now))
	if err != nil {
		return Drop{}, time.Time{}, err
	}
	if c.Drop == nil {
		return Drop{}, time.Time{}, errors.New("auth: a link that opens nothing")
	}
	return *c.Drop, c.ExpiresAt.Time, nil
}
