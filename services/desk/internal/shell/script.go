package shell

import (
	"encoding/json"
	"errors"
	"net/http"

	"spanyard.example/services/kit/fault"
)

// Pages whose forms are also sent by a script of theirs, from what a phone kept
// while it had no line, get an Answer instead of a page.

// Answer to a form that a script sent.
type Answer struct {
	// Said tells what was done; empty when nothing was.
	Said string `json:"said,omitempty"`
	// Position of the stock ledger after it.
	Position uint64 `json:"position,omitempty"`
	// Changed says that the page shows something else now.
	Changed bool `json:"changed,omitempty"`
	// Problem says why it was refused, with the places.
	Problem string   `json:"problem,omitempty"`
	Places  []string `json:"places,omitempty"`
	// Keep says that nothing was decided: send it again later. Sign says that
	// somebody has to sign in first, Stale that the form's token has to be
	// fetched anew.
	Keep  bool `json:"keep,omitempty"`
	Sign  bool `json:"sign,omitempty"`
	Stale bool `json:"stale,omitempty"`
}

const jsonType = "application/json"

// ByScript reports whether a script sent the form.
func (r *Request) ByScript() bool { return r.R.Header.Get("Accept") == jsonType }

// Answer sends a script what became of its form.
func (r *Request) Answer(a Answer) error { return r.answer(http.StatusOK, a) }

func (r *Request) answer(status int, a Answer) error {
	text, err := json.Marshal(a)
	if err != nil {
		return err
	}
	r.W.Header().Set("Content-Type", jsonType)
	r.W.WriteHeader(status)
	if _, err := r.W.Write(text); err != nil {
		r.shell.Log.Debug("a browser went before its answer was sent", "error", err)
	}
	return nil
}

// refuse tells a script why its form was not done, and whether it may be later.
// An error of our own is told too: a form that fails always would stop all that
// wait behind it.
func (r *Request) refuse(err error) error {
	t := r.trouble(err)
	stale := fault.ReasonOf(err) == reasonStaleForm
	return r.answer(statusOf(err), Answer{
		Problem: t.Sentence, Places: t.Places, Stale: stale, Keep: stale || errors.Is(err, fault.Unavailable),
	})
}

// signFirst tells a script that nobody is signed in.
func (r *Request) signFirst() error {
	return r.answer(http.StatusUnauthorized, Answer{Problem: r.shell.Words.Say("signin.title"), Keep: true, Sign: true})
}
