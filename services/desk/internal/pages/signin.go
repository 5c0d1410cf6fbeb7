package pages

import (
	"crypto/subtle"

	"spanyard.example/services/desk/internal/shell"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

func signInPages() []shell.Page {
	return []shell.Page{
		{Pattern: "GET /sign-in", Open: true, Handle: showSignIn},
		{Pattern: "POST /sign-in", Open: true, Handle: signIn},
		{Pattern: "POST /sign-out", Open: true, Handle: signOut},
		{Pattern: "GET /enter", Open: true, Handle: enter},
		{Pattern: "POST /take", Handle: take},
		{Pattern: "GET /company", Open: true, Handle: (*shell.Request).GoToCompany},
		{Pattern: "GET /company/back", Open: true, Handle: (*shell.Request).BackFromCompany},
	}
}

// signInView is what the page shows.
type signInView struct {
	To, Name string
	Accounts bool
	Company  bool
}

func showSignIn(r *shell.Request) error {
	return r.Show("signin", signInView{To: r.SignInTo(), Name: r.Form("name"), Accounts: r.Shell().Accounts != nil, Company: r.Shell().Company != nil})
}

func signIn(r *shell.Request) error {
	if err := r.TryPassword(r.Form("name"), r.R.PostFormValue("password")); err != nil {
		r.Problem = err
		return showSignIn(r)
	}
	return r.Go(r.SignInTo(), "")
}

func signOut(r *shell.Request) error {
	r.SignOut()
	return r.Go("/sign-in", "signin.out")
}

// enter takes the address that a demonstration prints: it carries a key that
// only who reads the terminal knows.
func enter(r *shell.Request) error {
	s := r.Shell()
	if len(s.Demo) == 0 || s.DemoKey == "" || subtle.ConstantTimeCompare([]byte(r.Form("key")), []byte(s.DemoKey)) != 1 {
		return fault.New(fault.Refused, "KEY_WRONG", "%s", s.Words.Say("signin.key_wrong"))
	}
	if err := r.Take(s.Demo[0].Name); err != nil {
		return err
	}
	return r.Go(r.SignInTo(), "")
}

// take lets somebody who is in the demonstration already change places.
func take(r *shell.Request) error {
	if err := r.Take(r.Form("name")); err != nil {
		return err
	}
	return r.Go("/", "signin.taken", r.Person().Name, r.Shell().Words.Say("role."+string(roleOf(r.Person()))))
}

func roleOf(p auth.Person) auth.Role {
	if len(p.Roles) == 0 {
		return ""
	}
	return p.Roles[0]
}
