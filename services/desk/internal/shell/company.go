package shell

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"net/http"
	"slices"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/golang-jwt/jwt/v5"
	"golang.org/x/oauth2"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// CompanyConfig says how people sign in at their company, by OpenID Connect:
// the code flow with PKCE.
type CompanyConfig struct {
	// Issuer is the company's sign-in, as in "https://sign-in.example".
	Issuer   string
	ClientID string
	// ClientSecret where the issuer gave one.
	ClientSecret string
	// RedirectURL is this desk's /company/back, as browsers reach it.
	RedirectURL string
	// RolesClaim of the id token that lists what a person belongs to, and the
	// role that each entry gives here.
	RolesClaim string
	Roles      map[string]auth.Role
}

// Company is the sign-in at a company.
type Company struct {
	config CompanyConfig

	lock sync.Mutex
	// known once the issuer has answered; it need not be up when the desk
	// starts.
	provider *oidc.Provider
}

// NewCompany returns the sign-in at a company.
func NewCompany(c CompanyConfig) *Company { return &Company{config: c} }

// Limits on a sign-in at a company.
const (
	companyTime  = 10 * time.Minute
	companyWait  = 10 * time.Second
	purposeTrip  = "company"
	scopeProfile = "profile"
)

// trip is what the desk has to know when the person comes back. It is sealed
// in a cookie: state, then nonce, verifier and the page to go to.
type trip struct {
	jwt.RegisteredClaims
	Nonce    string `json:"nonce"`
	Verifier string `json:"verifier"`
	To       string `json:"to"`
}

func (c *Company) ask(ctx context.Context) (*oidc.Provider, *oauth2.Config, error) {
	c.lock.Lock()
	defer c.lock.Unlock()
	if c.provider == nil {
		// The provider keeps the context for its keys, so it must outlive this
		// request.
		p, err := oidc.NewProvider(oidc.ClientContext(context.WithoutCancel(ctx), &http.Client{Timeout: companyWait}), c.config.Issuer)
		if err != nil {
			return nil, nil, fault.New(fault.Unavailable, "COMPANY_UNREACHABLE", "The company's sign-in does not answer. Try again in a moment.").Because(err)
		}
		c.provider = p
	}
	return c.provider, &oauth2.Config{
		ClientID: c.config.ClientID, ClientSecret: c.config.ClientSecret, Endpoint: c.provider.Endpoint(),
		RedirectURL: c.config.RedirectURL, Scopes: []string{oidc.ScopeOpenID, scopeProfile},
	}, nil
}

// GoToCompany sends the person to the company's sign-in. It is a link and no
// form: browsers let forms of ours lead to this desk alone (CSP form-action).
func (r *Request) GoToCompany() error {
	s := r.shell
	if s.Company == nil {
		return fault.New(fault.NotFound, "PAGE_UNKNOWN", "%s", s.Words.Say("problem.page"))
	}
	_, flow, err := s.Company.ask(r.R.Context())
	if err != nil {
		return err
	}
	t := trip{Nonce: rand.Text(), Verifier: oauth2.GenerateVerifier(), To: r.SignInTo()}
	t.ID, t.Audience = rand.Text(), jwt.ClaimStrings{purposeTrip}
	t.ExpiresAt = jwt.NewNumericDate(s.Clock.Now().Add(companyTime))
	value, err := jwt.NewWithClaims(jwt.SigningMethodHS256, t).SignedString(s.Signer.Secret("desk " + purposeTrip))
	if err != nil {
		return err
	}
	s.setCookie(r.W, purposeTrip, value, companyTime)
	http.Redirect(r.W, r.R, flow.AuthCodeURL(t.ID, oidc.Nonce(t.Nonce), oauth2.S256ChallengeOption(t.Verifier)), http.StatusSeeOther)
	return nil
}

// BackFromCompany takes what the company's sign-in says of the person.
func (r *Request) BackFromCompany() error {
	s := r.shell
	refused := func(cause error) error {
		return fault.New(fault.Refused, "COMPANY_REFUSED", "%s", s.Words.Say("signin.company_refused")).Because(cause)
	}
	if s.Company == nil {
		return fault.New(fault.NotFound, "PAGE_UNKNOWN", "%s", s.Words.Say("problem.page"))
	}
	t, err := r.trip()
	if err != nil || subtle.ConstantTimeCompare([]byte(t.ID), []byte(r.Form("state"))) != 1 {
		return refused(err)
	}
	s.setCookie(r.W, purposeTrip, "", 0)
	provider, flow, err := s.Company.ask(r.R.Context())
	if err != nil {
		return err
	}
	ctx := oidc.ClientContext(r.R.Context(), &http.Client{Timeout: companyWait})
	token, err := flow.Exchange(ctx, r.Form("code"), oauth2.VerifierOption(t.Verifier))
	if err != nil {
		return refused(err)
	}
	raw, _ := token.Extra("id_token").(string)
	id, err := provider.Verifier(&oidc.Config{ClientID: s.Company.config.ClientID}).Verify(ctx, raw)
	if err != nil || subtle.ConstantTimeCompare([]byte(id.Nonce), []byte(t.Nonce)) != 1 {
		return refused(err)
	}
	p, err := s.Company.person(id)
	if err != nil {
		return refused(err)
	}
	if len(p.Roles) == 0 {
		return fault.New(fault.Refused, "COMPANY_NO_ROLE", "%s", s.Words.Say("signin.no_role", p.Name))
	}
	p.Yard = s.Yard
	if err := r.SignIn(p); err != nil {
		return err
	}
	return r.Go(safePath(t.To), "")
}

func (r *Request) trip() (trip, error) {
	var t trip
	s := r.shell
	c, err := r.R.Cookie(s.cookieName(purposeTrip))
	if err != nil {
		return t, err
	}
	_, err = jwt.ParseWithClaims(c.Value, &t, func(*jwt.Token) (any, error) { return s.Signer.Secret("desk " + purposeTrip), nil },
		jwt.WithValidMethods([]string{jwt.SigningMethodHS256.Alg()}), jwt.WithAudience(purposeTrip), jwt.WithExpirationRequired(), jwt.WithTimeFunc(s.Clock.Now))
	return t, err
}

// person that an id token is about: its name, and the roles that its claim
// gives here. Entries without a role here give none.
func (c *Company) person(id *oidc.IDToken) (auth.Person, error) {
	var all map[string]any
	if err := id.Claims(&all); err != nil {
		return auth.Person{}, err
	}
	p := auth.Person{Name: id.Subject}
	if name, ok := all["name"].(string); ok && name != "" {
		p.Name = name
	}
	var entries []any
	switch v := all[c.config.RolesClaim].(type) {
	case []any:
		entries = v
	case string:
		entries = []any{v}
	}
	for _, e := range entries {
		name, _ := e.(string)
		if role, ok := c.config.Roles[name]; ok && slices.Contains(auth.People, role) && !p.Has(role) {
			p.Roles = append(p.Roles, role)
		}
	}
	return p, nil
}
