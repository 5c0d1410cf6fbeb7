// Package shell is what all pages of the desk stand in: sign-in, sessions,
// forms, words, errors in words, live feeds. Package pages has the pages.
//
// Invariants: the desk keeps nothing but signed cookies; every call of a
// service carries a token of the person at the screen, so that the services,
// not the desk, decide what that person may do; no page has a script or a
// style of its own in it; every form brings the token of its session.
package shell

import (
	"context"
	"crypto/subtle"
	"embed"
	"errors"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/time/rate"

	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/accounts"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/clock"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/kit/rpc"
)

//go:embed static
var static embed.FS

//go:embed templates
var frames embed.FS

// Shell is what pages are shown in.
type Shell struct {
	Yard     string
	Layout   layoutv1.LayoutServiceClient
	Stock    stockv1.StockServiceClient
	Dispatch dispatchv1.DispatchServiceClient
	Signer   *auth.Signer
	Accounts *accounts.Store
	// Company is the sign-in at a company; nil where there is none.
	Company *Company
	// Demo people, whose places anybody at this screen may take; and the key
	// that the printed address carries. Empty outside of demonstrations.
	Demo    []auth.Person
	DemoKey string
	// Secure says that browsers reach the desk by TLS.
	Secure bool
	Clock  clock.Clock
	Log    *slog.Logger
	Words  Words

	byName  map[string]*template.Template
	tries   *rate.Limiter
	perName *limits
	// uploads that are worked on at a time.
	uploads chan struct{}
}

// Page is one place of the desk.
type Page struct {
	// Pattern as http.ServeMux has it, "GET /stock/{batch}".
	Pattern string
	// Open admits everybody, also who has not signed in.
	Open bool
	// Site admits the holder of a link to a site.
	Site bool
	// Live pages last until the browser goes: feeds.
	Live bool
	// Upload pages take a file with their form.
	Upload bool
	// Handle shows the page or does what its form asks.
	Handle func(*Request) error
}

// Request is one visit of a page.
type Request struct {
	W       http.ResponseWriter
	R       *http.Request
	Session *Session
	// Problem is shown on the page, with the form as it was.
	Problem error
	// Packed sends the page packed. Only for pages that say nothing back of what
	// the address or a form asked: from the length of such a page a stranger could
	// learn the token of its forms.
	Packed bool
	shell  *Shell
}

// reasonStaleForm is a form of an earlier sign-in.
const reasonStaleForm = "FORM_STALE"

// MostUploadBytes of a file; what a service takes may be less. Files lie on the
// disk until one of a few places to work on them is free.
const MostUploadBytes = 24 << 20

// Limits on what a browser may send, and for how long.
const (
	maxFormBytes   = 1 << 20
	maxUploadBytes = MostUploadBytes + maxFormBytes
	maxUploads     = 2
	pageTime       = 45 * time.Second
	tokenLife      = time.Minute
)

// Handler returns the desk's pages. templates holds one file for each page.
func (s *Shell) Handler(templates fs.FS, all ...Page) (http.Handler, error) {
	if err := s.parse(templates); err != nil {
		return nil, err
	}
	// In all, and for one name or address.
	s.tries, s.perName = rate.NewLimiter(5, 20), newLimits(rate.Every(10*time.Second), 6)
	s.uploads = make(chan struct{}, maxUploads)
	mux := http.NewServeMux()
	mux.Handle("GET /static/", http.StripPrefix("/static", cached(static)))
	for _, p := range all {
		mux.Handle(p.Pattern, s.visit(p))
	}
	mux.Handle("/", s.visit(Page{Open: true, Handle: func(*Request) error {
		return fault.New(fault.NotFound, "PAGE_UNKNOWN", "%s", s.Words.Say("problem.page"))
	}}))
	return s.guarded(http.NewCrossOriginProtection().Handler(mux)), nil
}

// guarded says to browsers what pages of ours never do.
func (s *Shell) guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		if s.Secure {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		next.ServeHTTP(w, r)
	})
}

// Static returns a file that pages are shown with.
func Static(name string) ([]byte, error) { return static.ReadFile("static/" + name) }

func cached(files embed.FS) http.Handler {
	sub, err := fs.Sub(files, "static")
	if err != nil { // the folder is embedded
		return http.NotFoundHandler()
	}
	server := http.FileServerFS(sub)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "max-age=300")
		server.ServeHTTP(w, r)
	})
}

// visit runs a page around sign-in, form token and errors.
func (s *Shell) visit(p Page) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		if !p.Live {
			ctx, cancel := context.WithTimeout(r.Context(), pageTime)
			defer cancel()
			r = r.WithContext(ctx)
		}
		q := &Request{W: w, R: r, Session: s.sessionOf(r), shell: s}
		if !p.Open && (q.Session == nil || q.Session.Person.Drop != nil && !p.Site) {
			if q.ByScript() {
				q.logged(q.signFirst())
				return
			}
			http.Redirect(w, r, "/sign-in?to="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
			return
		}
		defer q.forgetFiles()
		if err := s.readForm(q, p.Upload); err != nil {
			q.fail(err)
			return
		}
		if p.Upload {
			select {
			case s.uploads <- struct{}{}:
				defer func() { <-s.uploads }()
			case <-r.Context().Done():
				q.fail(fault.New(fault.Unavailable, "UPLOADS_BUSY", "%s", s.Words.Say("problem.busy")))
				return
			}
		}
		if err := p.Handle(q); err != nil {
			q.fail(err)
		}
	})
}

// readForm reads a form within bounds and checks its token.
func (s *Shell) readForm(q *Request, upload bool) error {
	if q.R.Method != http.MethodPost {
		return nil
	}
	most := int64(maxFormBytes)
	if upload {
		most = maxUploadBytes
	}
	q.R.Body = http.MaxBytesReader(q.W, q.R.Body, most)
	var err error
	if strings.HasPrefix(q.R.Header.Get("Content-Type"), "multipart/form-data") {
		err = q.R.ParseMultipartForm(maxFormBytes)
	} else {
		err = q.R.ParseForm()
	}
	if err != nil {
		return fault.New(fault.Invalid, "FORM_UNREADABLE", "%s", s.Words.Say("problem.form")).Because(err)
	}
	if q.Session == nil {
		return nil
	}
	if subtle.ConstantTimeCompare([]byte(q.R.PostFormValue("form_token")), []byte(s.formToken(q.Session))) != 1 {
		return fault.New(fault.Refused, reasonStaleForm, "%s", s.Words.Say("problem.form_token"))
	}
	return nil
}

// Ctx is the context of calls in the name of the person at the screen: it
// carries the person's token. Without one the services refuse, which is right.
func (r *Request) Ctx() context.Context { return r.ctxOf(r.Person()) }

// CtxOfFloor is Ctx for a question about a floor that the drop of a link brings
// something for, as dispatch said.
func (r *Request) CtxOfFloor(jobID, floor string) context.Context {
	p := r.Person()
	if p.Drop != nil {
		drop := *p.Drop
		drop.Floor = &auth.Floor{JobID: jobID, Floor: floor}
		p.Drop = &drop
	}
	return r.ctxOf(p)
}

func (r *Request) ctxOf(p auth.Person) context.Context {
	ctx := r.R.Context()
	if r.Session == nil {
		return ctx
	}
	token, err := r.shell.Signer.Sign(p, r.shell.Clock.Now(), tokenLife)
	if err != nil {
		r.shell.Log.Error("a token cannot be signed", slog.Any("error", err))
		return ctx
	}
	return rpc.WithToken(ctx, token)
}

// Shell that the page is shown in.
func (r *Request) Shell() *Shell { return r.shell }

// Person at the screen; nobody before sign-in.
func (r *Request) Person() auth.Person {
	if r.Session == nil {
		return auth.Person{}
	}
	return r.Session.Person
}

// Form returns a field of a form, without spaces around it.
func (r *Request) Form(name string) string { return strings.TrimSpace(r.R.FormValue(name)) }

// Origin is where this browser reaches the desk, without a slash at the end.
func (r *Request) Origin() string {
	scheme := "http"
	if r.shell.Secure || r.R.TLS != nil {
		scheme = "https"
	}
	return scheme + "://" + r.R.Host
}

// Zone of the yard, for days and hours on the page; UTC before there are rules.
func (r *Request) Zone() *time.Location {
	rules, err := r.shell.Stock.GetYardRules(r.Ctx(), &stockv1.GetYardRulesRequest{Yard: r.shell.Yard})
	if err != nil {
		return time.UTC
	}
	zone, err := time.LoadLocation(rules.GetRules().GetTimeZone())
	if err != nil {
		return time.UTC
	}
	return zone
}

// Today in the yard, YYYY-MM-DD.
func (r *Request) Today() string { return r.shell.Clock.Now().In(r.Zone()).Format(time.DateOnly) }

// Go leads to another page after a form was done, and says there what was
// done.
func (r *Request) Go(path, key string, args ...any) error {
	if key != "" {
		text, err := r.shell.seal(purposeSaid, sealed{Text: r.shell.Words.Say(key, args...)}, time.Minute)
		if err != nil {
			return err
		}
		r.shell.setCookie(r.W, purposeSaid, text, time.Minute)
	}
	http.Redirect(r.W, r.R, path, http.StatusSeeOther)
	return nil
}

// GoSeeing is Go to a page that has to show what the form did: it reads with
// AtLeast, since views follow the ledger a moment later.
func (r *Request) GoSeeing(path string, position uint64, key string, args ...any) error {
	return r.Go(path+"?"+url.Values{seeing: {strconv.FormatUint(position, 10)}}.Encode(), key, args...)
}

// seeing names the field of an address with the position that a page has to see.
const seeing = "seeing"

// AtLeast is the position of the ledger that the page has to see; 0 is any.
func (r *Request) AtLeast() uint64 {
	position, err := strconv.ParseUint(r.R.URL.Query().Get(seeing), 10, 64)
	if err != nil {
		return 0
	}
	return position
}

func (r *Request) said() string {
	c, err := r.R.Cookie(r.shell.cookieName(purposeSaid))
	if err != nil {
		return ""
	}
	r.shell.setCookie(r.W, purposeSaid, "", 0)
	got, err := r.shell.open(purposeSaid, c.Value)
	if err != nil {
		return ""
	}
	return got.Text
}

func (r *Request) logged(err error) {
	if err != nil {
		r.shell.Log.Error("a script cannot be answered", slog.Any("error", err))
	}
}

// fail shows an error as a page of its own.
func (r *Request) fail(err error) {
	if errors.Is(err, context.Canceled) {
		return // nobody is there any more
	}
	if r.ByScript() {
		r.logged(r.refuse(err))
		return
	}
	r.Problem = err
	if shown := r.Show("problem", nil); shown != nil {
		r.shell.Log.Error("a page cannot be shown", slog.Any("error", shown))
		http.Error(r.W, r.shell.Words.Say("problem.ours"), http.StatusInternalServerError)
	}
}

func statusOf(err error) int {
	if err == nil {
		return http.StatusOK
	}
	switch fault.KindOf(err) {
	case fault.Invalid:
		return http.StatusUnprocessableEntity
	case fault.NotFound:
		return http.StatusNotFound
	case fault.Conflict, fault.Stale:
		return http.StatusConflict
	case fault.Refused:
		return http.StatusForbidden
	case fault.Unavailable:
		return http.StatusServiceUnavailable
	default:
		return http.StatusInternalServerError
	}
}

func linkFault(cause error) error {
	return fault.New(fault.Refused, "LINK_INVALID", "This link has run out or is not whole. Scan the code on the delivery note again, or call the yard.").Because(cause)
}

// safePath is a path of this desk to go to after sign-in, and no other host.
func safePath(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(path, "/") || slices.Contains([]string{"//", "/\\"}, path[:min(2, len(path))]) {
		return "/"
	}
	return path
}
