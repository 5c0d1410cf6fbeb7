package desk_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"spanyard.example/services/desk"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/rpc"
)

// provider is a company's sign-in that says of everybody what it is told to.
type provider struct {
	*httptest.Server
	t   *testing.T
	key ed25519.PrivateKey
	// claims of the next id token.
	claims jwt.MapClaims
	// of the last visit
	nonce, challenge string
	// spoil changes the next id token's claims last.
	spoil func(jwt.MapClaims)
}

func newProvider(t *testing.T) *provider {
	t.Helper()
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	p := &provider{t: t, key: key}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		p.send(w, map[string]any{
			"issuer": p.URL, "authorization_endpoint": p.URL + "/go", "token_endpoint": p.URL + "/token", "jwks_uri": p.URL + "/keys",
			"id_token_signing_alg_values_supported": []string{"EdDSA"},
		})
	})
	mux.HandleFunc("GET /keys", func(w http.ResponseWriter, _ *http.Request) {
		public, _ := key.Public().(ed25519.PublicKey)
		p.send(w, map[string]any{"keys": []any{map[string]string{
			"kty": "OKP", "crv": "Ed25519", "alg": "EdDSA", "use": "sig", "kid": "k1", "x": base64.RawURLEncoding.EncodeToString(public),
		}}})
	})
	mux.HandleFunc("GET /go", func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		p.nonce, p.challenge = q.Get("nonce"), q.Get("code_challenge")
		http.Redirect(w, r, q.Get("redirect_uri")+"?"+url.Values{"state": {q.Get("state")}, "code": {"c1"}}.Encode(), http.StatusFound)
	})
	mux.HandleFunc("POST /token", func(w http.ResponseWriter, r *http.Request) {
		sum := sha256.Sum256([]byte(r.FormValue("code_verifier")))
		if r.FormValue("code") != "c1" || base64.RawURLEncoding.EncodeToString(sum[:]) != p.challenge {
			http.Error(w, `{"error":"invalid_grant"}`, http.StatusBadRequest)
			return
		}
		claims := jwt.MapClaims{"iss": p.URL, "aud": "desk", "sub": "u1", "nonce": p.nonce, "exp": time.Now().Add(time.Hour).Unix(), "iat": time.Now().Unix()}
		for k, v := range p.claims {
			claims[k] = v
		}
		if p.spoil != nil {
			p.spoil(claims)
		}
		token := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims)
		token.Header["kid"] = "k1"
		id, err := token.SignedString(p.key)
		if err != nil {
			p.t.Error(err)
		}
		p.send(w, map[string]any{"access_token": "a", "token_type": "Bearer", "id_token": id})
	})
	p.Server = httptest.NewServer(mux)
	t.Cleanup(p.Close)
	return p
}

func (p *provider) send(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	if err := json.NewEncoder(w).Encode(v); err != nil {
		p.t.Error(err)
	}
}

// open returns a desk with a company's sign-in, and a browser.
func open(t *testing.T, p *provider) (string, *http.Client) {
	t.Helper()
	line, err := rpc.Dial("127.0.0.1:1") // nobody is there, and pages say so
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { line.Close() })
	signer, err := auth.OpenSigner(filepath.Join(t.TempDir(), "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewUnstartedServer(nil)
	server.Start()
	t.Cleanup(server.Close)
	d, err := desk.New(desk.Deps{
		Yard: "y1", Layout: line, Stock: line, Dispatch: line, Signer: signer, Log: slog.New(slog.DiscardHandler),
		Company: &desk.Company{
			Issuer: p.URL, ClientID: "desk", RedirectURL: server.URL + "/company/back", RolesClaim: "groups",
			Roles: map[string]auth.Role{"yard-lab": auth.Laboratory, "yard-plan": auth.Dispatcher},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	server.Config.Handler = d.Handler()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return server.URL, &http.Client{Jar: jar, Timeout: 20 * time.Second}
}

func visit(t *testing.T, b *http.Client, method, address string) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := b.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(body)
}

func TestCompanySignIn(t *testing.T) {
	p := newProvider(t)
	p.claims = jwt.MapClaims{"name": "Nettie Underbloom", "groups": []string{"canteen", "yard-lab"}}
	base, b := open(t, p)
	// /nothing is a page of its own that asks no service.
	_, page := visit(t, b, http.MethodGet, base+"/company?to=/nothing")
	if !strings.Contains(page, "Nettie Underbloom") || !strings.Contains(page, "laboratory contact") || strings.Contains(page, "dispatcher") {
		t.Errorf("got %s", page)
	}
}

func TestCompanySignInRefuses(t *testing.T) {
	for name, tc := range map[string]struct {
		claims jwt.MapClaims
		spoil  func(jwt.MapClaims)
		says   string
	}{
		"no role here":      {jwt.MapClaims{"name": "Odo", "groups": []string{"canteen"}}, nil, "has no role in this yard"},
		"another's nonce":   {jwt.MapClaims{"groups": "yard-lab"}, func(c jwt.MapClaims) { c["nonce"] = "n" }, "did not let you in"},
		"another's token":   {jwt.MapClaims{"groups": "yard-lab"}, func(c jwt.MapClaims) { c["aud"] = "other" }, "did not let you in"},
		"an old token":      {jwt.MapClaims{"groups": "yard-lab"}, func(c jwt.MapClaims) { c["exp"] = time.Now().Add(-time.Hour).Unix() }, "did not let you in"},
		"a foreign company": {jwt.MapClaims{"groups": "yard-lab"}, func(c jwt.MapClaims) { c["iss"] = "https://elsewhere.example" }, "did not let you in"},
	} {
		t.Run(name, func(t *testing.T) {
			p := newProvider(t)
			p.claims, p.spoil = tc.claims, tc.spoil
			base, b := open(t, p)
			status, page := visit(t, b, http.MethodGet, base+"/company?to=/nothing")
			if status != http.StatusForbidden || !strings.Contains(page, tc.says) {
				t.Errorf("got %d %s", status, page)
			}
			if _, page := visit(t, b, http.MethodGet, base+"/stock"); !strings.Contains(page, "Sign in at your company") {
				t.Error("is signed in")
			}
		})
	}
	p := newProvider(t)
	p.claims = jwt.MapClaims{"groups": "yard-lab"}
	base, b := open(t, p)
	if status, page := visit(t, b, http.MethodGet, base+"/company/back?code=c1&state=s"); status != http.StatusForbidden {
		t.Errorf("a person who never left came back: %d %s", status, page)
	}
}
