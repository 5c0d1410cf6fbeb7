package deployment

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"spanyard.example/integration/internal/house"
	"spanyard.example/services/kit/ledger"
)

// sources returns the services' code without tests and generated files.
func sources(t *testing.T) string {
	t.Helper()
	var all strings.Builder
	err := filepath.WalkDir(filepath.Join(house.Root(), "services"), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		all.Write(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all.String()
}

// The table of streams, consumers and keys in DEVELOPERS.md names all that the
// code uses, and every consumer with the stream it is on.
func TestInventory(t *testing.T) {
	table := read(t, "DEVELOPERS.md")
	code := sources(t)
	named := func(what string) {
		t.Helper()
		if !strings.Contains(table, "`"+what+"`") {
			t.Errorf("DEVELOPERS.md does not name %s", what)
		}
	}
	ledgers := regexp.MustCompile(`Service:\s+"([a-z]+)",`).FindAllStringSubmatch(code, -1)
	if len(ledgers) < 3 {
		t.Fatalf("only %d ledgers were found in the code", len(ledgers))
	}
	for _, m := range ledgers {
		named(ledger.StreamOf(m[1]))
		named(ledger.BucketOf(m[1]))
	}
	constants := map[string]string{}
	for _, m := range regexp.MustCompile(`\b(\w*Consumer)\s*=\s*"([^"]+)"`).FindAllStringSubmatch(code, -1) {
		constants[m[1]] = m[2]
	}
	effects := regexp.MustCompile(`Source:\s*"([a-z]+)",\s*Consumer:\s*("?)([\w-]+)`).FindAllStringSubmatch(code, -1)
	if len(effects) < 3 {
		t.Fatalf("only %d consumers were found in the code", len(effects))
	}
	for _, m := range effects {
		name := m[3]
		if m[2] == "" {
			name = constants[name]
		}
		row := regexp.MustCompile("(?m)^\\| `" + regexp.QuoteMeta(name) + "` on .*`" + regexp.QuoteMeta(ledger.StreamOf(m[1])) + "`")
		if name == "" || !row.MatchString(table) {
			t.Errorf("DEVELOPERS.md does not name the consumer %q on %s", name, ledger.StreamOf(m[1]))
		}
	}
	for _, m := range regexp.MustCompile(`"spanyard:stock:\{" \+ yard \+ "\}:(\w+)"`).FindAllStringSubmatch(code, -1) {
		named("spanyard:stock:{<yard>}:" + m[1])
	}
	named("spanyard:stock:{<yard>}:g<generation>:*")
}
