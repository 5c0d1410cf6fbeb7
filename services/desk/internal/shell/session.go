package shell

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"spanyard.example/services/kit/auth"
)

// Session is who sits at the screen; it lives in a signed cookie alone.
type Session struct {
	Person auth.Person
	// ID ties forms to the session.
	ID string
}

// sessionLife is a long working day.
const sessionLife = 12 * time.Hour

// sealed is what a cookie carries.
type sealed struct {
	jwt.RegisteredClaims
	Roles []auth.Role `json:"roles,omitempty"`
	Yard  string      `json:"yard,omitempty"`
	Drop  *auth.Drop  `json:"site,omitempty"`
	Text  string      `json:"text,omitempty"`
}

// seal signs what this desk alone reads again, for one purpose.
func (s *Shell) seal(purpose string, c sealed, life time.Duration) (string, error) {
	c.Audience = jwt.ClaimStrings{purpose}
	c.ExpiresAt = jwt.NewNumericDate(s.Clock.Now().Add(life))
	return jwt.NewWithClaims(jwt.SigningMethodHS256, c).SignedString(s.Signer.Secret("desk " + purpose))
}

func (s *Shell) open(purpose, text string) (sealed, error) {
	var c sealed
	_, err := jwt.ParseWithClaims(text, &c, func(*jwt.Token) (any, error) { return s.Signer.Secret("desk " + purpose), nil },
		jwt.WithValidMethods([]string{jwt.SigningMethodHS256.Alg()}), jwt.WithAudience(purpose), jwt.WithExpirationRequired(), jwt.WithTimeFunc(s.Clock.Now))
	return c, err
}

// Purposes of sealed texts.
const (
	purposeSession = "session"
	purposeSaid    = "said"
)

// cookieName has the prefix by which browsers keep a cookie to this very host,
// where the connection is safe.
func (s *Shell) cookieName(purpose string) string {
	if s.Secure {
		return "__Host-spanyard-" + purpose
	}
	return "spanyard-" + purpose
}

func (s *Shell) setCookie(w http.ResponseWriter, purpose, value string, life time.Duration) {
	c := &http.Cookie{
		Name: s.cookieName(purpose), Value: value, Path: "/", MaxAge: int(life / time.Second),
		HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: s.Secure,
	}
	if value == "" {
		c.MaxAge = -1
	}
	http.SetCookie(w, c)
}

// SignIn starts a session.
func (r *Request) SignIn(p auth.Person) error { return r.signIn(p, sessionLife) }

// SignInUntil starts a session that ends at a time at the latest.
func (r *Request) SignInUntil(p auth.Person, until time.Time) error {
	return r.signIn(p, min(sessionLife, until.Sub(r.shell.Clock.Now())))
}

func (r *Request) signIn(p auth.Person, life time.Duration) error {
	id := rand.Text()
	value, err := r.shell.seal(purposeSession, sealed{
		RegisteredClaims: jwt.RegisteredClaims{Subject: p.Name, ID: id}, Roles: p.Roles, Yard: p.Yard, Drop: p.Drop,
	}, life)
	if err != nil {
		return err
	}
	r.shell.setCookie(r.W, purposeSession, value, life)
	r.Session = &Session{Person: p, ID: id}
	return nil
}

// SignOut ends the session.
func (r *Request) SignOut() { r.shell.setCookie(r.W, purposeSession, "", 0) }

func (s *Shell) sessionOf(r *http.Request) *Session {
	c, err := r.Cookie(s.cookieName(purposeSession))
	if err != nil {
		return nil
	}
	got, err := s.open(purposeSession, c.Value)
	if err != nil || got.Subject == "" {
		return nil
	}
	return &Session{Person: auth.Person{Name: got.Subject, Roles: got.Roles, Yard: got.Yard, Drop: got.Drop}, ID: got.ID}
}

// formToken is what every form of a session has to bring along.
func (s *Shell) formToken(session *Session) string {
	if session == nil {
		return ""
	}
	mac := hmac.New(sha256.New, s.Signer.Secret("desk form"))
	mac.Write([]byte(session.ID))
	return hex.EncodeToString(mac.Sum(nil))
}

// SiteLink returns the path that opens one drop for whoever holds it, for a
// time.
func (s *Shell) SiteLink(drop auth.Drop, life time.Duration) (string, error) {
	text, err := s.Signer.DropLink(drop, s.Clock.Now().Add(life))
	return auth.LinkPath + text, err
}

// OpenSiteLink returns whom a link makes of its holder.
// It is good for as long as the link is.
func (s *Shell) OpenSiteLink(text string) (p auth.Person, until time.Time, err error) {
	d, until, err := s.Signer.ReadDropLink(text, s.Clock.Now)
	if err != nil {
		return auth.Person{}, time.Time{}, linkFault(err)
	}
	return auth.Person{Name: s.Words.Say("site.person", d.Number, d.RunID), Roles: []auth.Role{auth.Site}, Yard: s.Yard, Drop: &d}, until, nil
}
