package accounts_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"spanyard.example/services/desk/accounts"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

func TestAccountsAreKeptAndChecked(t *testing.T) {
	file := filepath.Join(t.TempDir(), "accounts.json")
	s := accounts.Open(file)
	if all, err := s.List(); err != nil || len(all) != 0 {
		t.Fatalf("a new store has %v, %v", all, err)
	}
	const password = "four words of stone"
	if err := s.Put("Nettie Underbloom", password, []auth.Role{auth.Laboratory}); err != nil {
		t.Fatal(err)
	}
	p, err := accounts.Open(file).SignIn("nettie underbloom", password)
	if err != nil || p.Name != "Nettie Underbloom" || !p.Has(auth.Laboratory) {
		t.Errorf("got %v, %v", p, err)
	}
	for name, with := range map[string][2]string{
		"another password": {"Nettie Underbloom", password + "s"},
		"no password":      {"Nettie Underbloom", ""},
		"nobody":           {"Pim Quillbottle", password},
	} {
		if _, err := s.SignIn(with[0], with[1]); !errors.Is(err, fault.Refused) {
			t.Errorf("%s: got %v", name, err)
		}
	}
	content, err := os.ReadFile(file)
	if err != nil || strings.Contains(string(content), password) {
		t.Error("the password is in the file")
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("others may read the file: %v", info.Mode())
	}
	if err := s.Remove("Nettie Underbloom"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SignIn("Nettie Underbloom", password); !errors.Is(err, fault.Refused) {
		t.Errorf("a removed account signs in: %v", err)
	}
	if err := s.Remove("Nettie Underbloom"); !errors.Is(err, fault.NotFound) {
		t.Errorf("got %v", err)
	}
}

func TestPutRefuses(t *testing.T) {
	s := accounts.Open(filepath.Join(t.TempDir(), "accounts.json"))
	for name, tc := range map[string]struct {
		name, password string
		roles          []auth.Role
		where          string
	}{
		"a short password": {"Pim", "short", []auth.Role{auth.Yard}, "password"},
		"no name":          {" ", "four words of stone", []auth.Role{auth.Yard}, "name"},
		"no role":          {"Pim", "four words of stone", nil, "role"},
		"a site":           {"Pim", "four words of stone", []auth.Role{auth.Site}, "role"},
		"a service":        {"Pim", "four words of stone", []auth.Role{auth.Service}, "role"},
	} {
		err := s.Put(tc.name, tc.password, tc.roles)
		var f *fault.Error
		if !errors.As(err, &f) || f.Kind != fault.Invalid || len(f.Places) != 1 || f.Places[0].Where != tc.where {
			t.Errorf("%s: got %v", name, err)
		}
	}
}
