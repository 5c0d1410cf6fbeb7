package shell

import (
	"net"
	"net/http"
	"strings"
	"sync"

	"golang.org/x/time/rate"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// maxLimits that are remembered; then the memory starts anew, so that nobody
// can fill it.
const maxLimits = 10000

// limits are one limiter for each name.
type limits struct {
	every rate.Limit
	burst int
	lock  sync.Mutex
	by    map[string]*rate.Limiter
}

func newLimits(every rate.Limit, burst int) *limits {
	return &limits{every: every, burst: burst, by: map[string]*rate.Limiter{}}
}

func (l *limits) allow(name string) bool {
	l.lock.Lock()
	defer l.lock.Unlock()
	if len(l.by) >= maxLimits {
		clear(l.by)
	}
	one := l.by[name]
	if one == nil {
		one = rate.NewLimiter(l.every, l.burst)
		l.by[name] = one
	}
	return one.Allow()
}

// TryPassword signs in with a local account, unless there were too many tries.
func (r *Request) TryPassword(name, password string) error {
	s := r.shell
	host, _, err := net.SplitHostPort(r.R.RemoteAddr)
	if err != nil {
		host = r.R.RemoteAddr
	}
	if !s.tries.Allow() || !s.perName.allow("name "+strings.ToLower(name)) || !s.perName.allow("host "+host) {
		return fault.New(fault.Unavailable, "SIGN_IN_TOO_OFTEN", "%s", s.Words.Say("signin.too_often"))
	}
	if s.Accounts == nil {
		return fault.New(fault.Refused, "SIGN_IN_WRONG", "%s", s.Words.Say("signin.no_accounts"))
	}
	p, err := s.Accounts.SignIn(name, password)
	if err != nil {
		return err
	}
	p.Yard = s.Yard
	return r.SignIn(p)
}

// Take signs in as one of the demo's people.
func (r *Request) Take(name string) error {
	for _, p := range r.shell.Demo {
		if p.Name == name {
			return r.SignIn(p)
		}
	}
	return fault.New(fault.NotFound, "PERSON_UNKNOWN", "%s", r.shell.Words.Say("signin.no_such_person"))
}

// SignInTo returns where to go after sign-in, as the form or address asks.
func (r *Request) SignInTo() string { return safePath(r.Form("to")) }

// DemoPeople that may be taken on this screen.
func (r *Request) DemoPeople() []auth.Person { return r.shell.Demo }

// tooMany is the status for sign-in that was tried too often.
const tooMany = http.StatusTooManyRequests
