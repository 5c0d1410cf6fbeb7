// Package accounts keeps the people who may sign in on one machine, in a file
// that only its owner can read. Passwords are kept as Argon2id hashes
// (RFC 9106, second recommended option) and nowhere else.
package accounts

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// Cost of a hash: 3 passes over 64 MiB in 4 lanes (RFC 9106, section 4).
const (
	passes    = 3
	memoryKiB = 64 << 10
	lanes     = 4
	saltBytes = 16
	hashBytes = 32
)

// A password is a sentence rather than a riddle: long, and nothing else asked.
const (
	minPassword = 12
	maxPassword = 200
	maxName     = 120
)

// Account is a person who may sign in.
type Account struct {
	Name  string      `json:"name"`
	Roles []auth.Role `json:"roles"`
	Salt  []byte      `json:"salt"`
	Hash  []byte      `json:"hash"`
}

// Store is a file of accounts. It is read anew for each question, so that a
// change by another process counts at once.
type Store struct {
	file string
	// one hash at a time: each takes 64 MiB.
	hashing sync.Mutex
}

// Open returns the store in a file, which need not be there yet.
func Open(file string) *Store { return &Store{file: file} }

// List returns all accounts, by name.
func (s *Store) List() ([]Account, error) {
	content, err := os.ReadFile(s.file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var all []Account
	if err := json.Unmarshal(content, &all); err != nil {
		return nil, fault.New(fault.Internal, "ACCOUNTS_UNREADABLE", "The file with the accounts cannot be read.").Because(err)
	}
	return all, nil
}

// Put adds an account, or replaces the one of that name.
func (s *Store) Put(name, password string, roles []auth.Role) error {
	name = strings.TrimSpace(name)
	f := fault.New(fault.Invalid, "ACCOUNT_INVALID", "The account is not right.")
	if n := utf8.RuneCountInString(name); n == 0 || n > maxName {
		f.At("name", name, "is empty or too long", "1 to 120 characters")
	}
	if n := utf8.RuneCountInString(password); n < minPassword || n > maxPassword {
		f.At("password", "", "is too short or too long", "12 to 200 characters, a few words for instance")
	}
	if len(roles) == 0 {
		f.At("role", "", "is missing", rolesAllowed())
	}
	for _, r := range roles {
		if !slices.Contains(auth.People, r) {
			f.At("role", string(r), "is not known", rolesAllowed())
		}
	}
	if len(f.Places) > 0 {
		return f
	}
	salt := make([]byte, saltBytes)
	rand.Read(salt) // never fails (crypto/rand since Go 1.24)
	account := Account{Name: name, Roles: roles, Salt: salt, Hash: s.hash(password, salt)}
	return s.change(func(all []Account) []Account { return append(without(all, name), account) })
}

// Remove takes an account out.
func (s *Store) Remove(name string) error {
	found := false
	err := s.change(func(all []Account) []Account {
		left := without(all, name)
		found = len(left) < len(all)
		return left
	})
	if err == nil && !found {
		return fault.New(fault.NotFound, "ACCOUNT_UNKNOWN", "There is no account %s.", name)
	}
	return err
}

// SignIn returns the person with this name and password. Whether the name or
// the password was wrong is not told, and both take the same time.
func (s *Store) SignIn(name, password string) (auth.Person, error) {
	all, err := s.List()
	if err != nil {
		return auth.Person{}, err
	}
	account := Account{Salt: make([]byte, saltBytes), Hash: make([]byte, hashBytes)}
	if i := slices.IndexFunc(all, func(a Account) bool { return strings.EqualFold(a.Name, strings.TrimSpace(name)) }); i >= 0 {
		account = all[i]
	}
	if len(password) > maxPassword*utf8.UTFMax {
		password = ""
	}
	if subtle.ConstantTimeCompare(s.hash(password, account.Salt), account.Hash) != 1 {
		return auth.Person{}, fault.New(fault.Refused, "SIGN_IN_WRONG", "Name and password do not go together. Try again, or ask operations for a new password.")
	}
	return auth.Person{Name: account.Name, Roles: account.Roles}, nil
}

func (s *Store) hash(password string, salt []byte) []byte {
	s.hashing.Lock()
	defer s.hashing.Unlock()
	return argon2.IDKey([]byte(password), salt, passes, memoryKiB, lanes, hashBytes)
}

// change writes a new file beside the old one and puts it in its place, so
// that a cut leaves the old one whole.
func (s *Store) change(edit func([]Account) []Account) error {
	all, err := s.List()
	if err != nil {
		return err
	}
	all = edit(all)
	slices.SortFunc(all, func(a, b Account) int { return strings.Compare(a.Name, b.Name) })
	content, err := json.MarshalIndent(all, "", "  ")
	if err != nil {
		return err
	}
	next, err := os.CreateTemp(filepath.Dir(s.file), ".accounts-*")
	if err != nil {
		return err
	}
	_, err = next.Write(content)
	if err = errors.Join(err, next.Sync(), next.Close()); err != nil {
		return errors.Join(err, os.Remove(next.Name()))
	}
	return os.Rename(next.Name(), s.file)
}

func without(all []Account, name string) []Account {
	return slices.DeleteFunc(slices.Clone(all), func(a Account) bool { return strings.EqualFold(a.Name, name) })
}

func rolesAllowed() string {
	names := make([]string, len(auth.People))
	for i, r := range auth.People {
		names[i] = string(r)
	}
	return strings.Join(names, ", ")
}
