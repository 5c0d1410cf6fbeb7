package pages

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// All words that templates and code ask for exist, and all that exist are
// asked for. Keys made of parts count by the part before the %.
func TestWords(t *testing.T) {
	words, err := English()
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, root := range []string{".", "../shell"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") || !strings.HasSuffix(path, ".html") && !strings.HasSuffix(path, ".go") {
				return err
			}
			content, err := os.ReadFile(path)
			text.Write(content)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	asked := text.String()
	for _, m := range regexp.MustCompile(`(?:say|Say\(|template "cautions") "([a-z_.0-9]+)"|Word: "([a-z.]+)"`).FindAllStringSubmatch(asked, -1) {
		if key := m[1] + m[2]; words[key] == "" {
			t.Errorf("there are no words for %s", key)
		}
	}
	for key := range words {
		made := regexp.MustCompile(regexp.QuoteMeta(key[:strings.LastIndex(key, ".")+1]) + `(%[sd]|" ?\+)`)
		if !strings.Contains(asked, `"`+key+`"`) && !made.MatchString(asked) && !strings.HasSuffix(key, ".title") {
			t.Errorf("nobody says %s", key)
		}
	}
}
