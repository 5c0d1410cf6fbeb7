package cli

import (
	"bytes"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// every calls fn for every command of the program.
func every(t *testing.T, fn func(t *testing.T, c *cobra.Command)) {
	t.Helper()
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		t.Run(strings.ReplaceAll(c.CommandPath(), " ", "_"), func(t *testing.T) { fn(t, c) })
		for _, child := range c.Commands() {
			walk(child)
		}
	}
	walk((&program{out: &bytes.Buffer{}, errw: &bytes.Buffer{}}).root())
}

func TestEveryCommandHasHelp(t *testing.T) {
	every(t, func(t *testing.T, c *cobra.Command) {
		if c.Short == "" || strings.HasSuffix(c.Short, ".") || len(c.Short) > 90 {
			t.Errorf("short help: %q", c.Short)
		}
		if !strings.Contains(c.Example, "  "+c.CommandPath()) {
			t.Errorf("no example of the command itself: %q", c.Example)
		}
		if c.HasParent() && !c.Parent().HasParent() && c.GroupID == "" {
			t.Error("in no group of users")
		}
		for _, line := range strings.Split(c.Long+"\n"+c.Example, "\n") {
			if len(line) > 100 {
				t.Errorf("line too long: %q", line)
			}
		}
	})
}

// TestExamplesAreRight: the examples in the help name flags and arguments that
// the commands take.
func TestExamplesAreRight(t *testing.T) {
	t.Setenv("SPANYARD_AS", "Pim Quillbottle")
	every(t, func(t *testing.T, c *cobra.Command) {
		for _, line := range strings.Split(strings.ReplaceAll(c.Example, "\\\n", " "), "\n") {
			// What a shell reads from a file is none of the program's words.
			line, _, _ = strings.Cut(line, " < ")
			words := split(strings.TrimSpace(line))
			if len(words) == 0 {
				continue
			}
			root := (&program{out: &bytes.Buffer{}, errw: &bytes.Buffer{}}).root()
			found, rest, err := root.Find(words[1:])
			if err != nil {
				t.Errorf("%q: %v", line, err)
				continue
			}
			if err := found.ParseFlags(rest); err != nil {
				t.Errorf("%q: %v", line, err)
				continue
			}
			if err := found.ValidateArgs(found.Flags().Args()); err != nil {
				t.Errorf("%q: %v", line, err)
			}
		}
	})
}

// split splits a line as a shell does, as far as the examples need: quotes,
// and nothing after a redirection.
func split(line string) []string {
	line, _, _ = strings.Cut(line, " > ")
	var words []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, part)
			continue
		}
		words = append(words, strings.Fields(part)...)
	}
	return words
}
