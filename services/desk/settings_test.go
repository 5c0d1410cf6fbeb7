package desk_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"spanyard.example/services/desk"
	"spanyard.example/services/kit/auth"
)

// The settings for operations are good as they are, but for the key that
// every yard makes for itself.
func TestSettings(t *testing.T) {
	key := filepath.Join(t.TempDir(), "desk.pem")
	if _, err := auth.OpenSigner(key); err != nil {
		t.Fatal(err)
	}
	given, err := os.ReadFile("../../deploy/config/desk.yaml")
	if err != nil {
		t.Fatal(err)
	}
	good := strings.Replace(string(given), "/etc/spanyard/keys/desk.pem", key, 1)
	for name, tc := range map[string]struct {
		text   string
		status int
		says   string
	}{
		"as given":        {good, 0, "The settings are good."},
		"no key":          {string(given), 2, "access_key"},
		"a stray setting": {good + "\nstate: none\n", 2, "state"},
		"a company":       {good + "\ncompany: {issuer: 'https://in.example', client_id: d, roles: ['yard-lab=laboratory']}\n", 0, "yard-lab"},
		"an unknown role": {good + "\ncompany: {issuer: 'https://in.example', client_id: d, roles: ['yard-lab=king']}\n", 2, "yard-lab=king"},
		"no web address":  {strings.Replace(good, "http://127", "ftp://127", 1), 2, "public_url"},
	} {
		file := filepath.Join(t.TempDir(), "desk.yaml")
		if err := os.WriteFile(file, []byte(tc.text), 0o600); err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		if got := desk.Main(t.Context(), []string{"-config", file, "-check"}, &out, &out); got != tc.status || !strings.Contains(out.String(), tc.says) {
			t.Errorf("%s: status %d, %s", name, got, out.String())
		}
	}
}
