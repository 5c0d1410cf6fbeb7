package cli_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"spanyard.example/services/kit/clock"
	"spanyard.example/services/spanyard/demo"
	"spanyard.example/services/spanyard/internal/allinone"
	"spanyard.example/services/spanyard/internal/cli"
	"spanyard.example/services/spanyard/internal/scenario"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"spanyard": func() {
			os.Exit(cli.Main(context.Background(), os.Args[1:], os.Stdout, os.Stderr))
		},
	})
}

// TestScripts runs the command line against one house on the demo's clock.
// Every script has a yard of its own, so they do not see each other.
func TestScripts(t *testing.T) {
	h := house(t)
	t.Run("scripts", func(t *testing.T) {
		testscript.Run(t, testscript.Params{
			Dir:                 "testdata",
			RequireExplicitExec: true,
			RequireUniqueNames:  true,
			Setup: func(env *testscript.Env) error {
				env.Setenv("SPANYARD_SERVER", h.Address())
				env.Setenv("SPANYARD_AS", "Rosamund Tickpenny")
				env.Setenv("SPANYARD_YARD", filepath.Base(env.WorkDir)[len("script-"):])
				env.Setenv("XDG_DATA_HOME", filepath.Join(env.WorkDir, "share"))
				return nil
			},
		})
	})
}

// house starts a house on the demo's clock.
func house(t *testing.T) *allinone.House {
	t.Helper()
	s, err := scenario.Read(demo.Files)
	if err != nil {
		t.Fatal(err)
	}
	h, err := allinone.Start(t.Context(), allinone.Options{
		Data: t.TempDir(), Listen: "127.0.0.1:0", Clock: clock.StartingAt(s.Start),
		Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError})),
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(h.Stop)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if err := h.Ready(ctx); err != nil {
		t.Fatal(err)
	}
	return h
}

// until is an output that calls done once it holds the text.
type until struct {
	bytes.Buffer
	text string
	done func()
}

func (u *until) Write(p []byte) (int, error) {
	n, err := u.Buffer.Write(p)
	if bytes.Contains(u.Bytes(), []byte(u.text)) {
		u.done()
	}
	return n, err
}

// TestFeedsGoOnUntilStopped: feeds begin where they are told to, wait for more,
// and a stop from outside is their usual end.
func TestFeedsGoOnUntilStopped(t *testing.T) {
	h := house(t)
	base := []string{"--server", h.Address(), "--yard", "feeds", "--as", "Pim Quillbottle"}
	rules := filepath.Join(t.TempDir(), "yard.yaml")
	content, err := demo.Files.ReadFile("yard.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(rules, content, 0o600); err != nil {
		t.Fatal(err)
	}
	var out, errw bytes.Buffer
	if status := cli.Main(t.Context(), append(base, "yard", "set", rules), &out, &errw); status != 0 {
		t.Fatal(errw.String())
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	watch := &until{text: "yard rules set: beams leave at 14 days", done: cancel}
	if status := cli.Main(ctx, append(base, "stock", "watch"), watch, &errw); status != 0 || !errors.Is(ctx.Err(), context.Canceled) {
		t.Errorf("status %d, %v, output %q, messages %q", status, ctx.Err(), watch.String(), errw.String())
	}
	// Stopped as a person stops it: without a deadline that the server knows.
	ctx, cancel = context.WithCancel(t.Context())
	defer time.AfterFunc(2*time.Second, cancel).Stop()
	var nothing bytes.Buffer
	if status := cli.Main(ctx, append(base, "picks", "--follow", "--json"), &nothing, &errw); status != 0 || nothing.Len() > 0 {
		t.Errorf("status %d, output %q, messages %q", status, nothing.String(), errw.String())
	}
}

// TestMainSaysWhatIsWrong: faults of the command line itself, without a house.
func TestMainSaysWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		name   string
		args   []string
		status int
		want   string
	}{
		{"unknown command", []string{"flor"}, 2, "There is no command \"flor\" of 'spanyard'. Did you mean floor?\nTry 'spanyard --help'."},
		{"unknown part of a command", []string{"floor", "lst"}, 2, "There is no command \"lst\" of 'spanyard floor'. Did you mean list?"},
		{"unknown flag", []string{"floor", "list", "--jobs"}, 2, "'spanyard floor list' has no flag --jobs."},
		{"unknown short flag", []string{"floor", "list", "-x"}, 2, "'spanyard floor list' has no flag -x."},
		{"flag without value", []string{"picks", "--after"}, 2, "--after needs a whole number from 0 after it."},
		{"flag with a word", []string{"picks", "--after", "noon"}, 2, "--after: \"noon\" is not a whole number from 0."},
		{"flag with letters", []string{"morning", "plan", "2027-03-17", "--budget-ms", "5s"}, 2, "--budget-ms: \"5s\" is not a whole number up to 2147483647."},
		{"list of words", []string{"batch", "test", "B1", "--test", "T", "--laboratory", "L", "--on", "2027-03-01", "--specimen", "cube", "--strengths", "a,b"}, 2, "\"a,b\" is not a list of numbers"},
		{"nothing to receive", []string{"batch", "receive", "B1", "--made-on", "2027-03-01"}, 2, "One of these is needed: --file, --block, --line."},
		{"no flag at all", []string{"floor", "list", "--=x"}, 2, "cannot be read as a flag."},
		{"missing argument", []string{"trace"}, 2, "PIECE is missing. The command is 'spanyard trace PIECE'.\nTry 'spanyard trace --help'."},
		{"second argument missing", []string{"run", "deliver", "R1"}, 2, "DROP is missing. The command is 'spanyard run deliver RUN DROP'."},
		{"one word too many", []string{"morning", "list", "17", "March"}, 2, "\"March\" is one word too many. The command is 'spanyard morning list DAY'."},
		{"missing flags", []string{"batch", "test", "B1"}, 2, "--laboratory, --on, --specimen, --strengths and --test are missing."},
		{"missing flag", []string{"run", "cancel", "R1"}, 2, "--reason is missing."},
		{"no such file", []string{"floor", "import", "nothing.xlsx"}, 1, "There is no file nothing.xlsx that can be read."},
		{"no table", []string{"floor", "import", "rooms.pdf"}, 1, "save it as .xlsx, .csv or .json"},
		{"bad revision", []string{"floor", "approve", "J1", "1", "x", "--engineer", "E", "--as", "A"}, 1, `REVISION: "x" is no revision`},
		{"bad clock", []string{"serve", "--clock-starts-at", "noon"}, 1, `--clock-starts-at: "noon" is no time`},
		{"bad log level", []string{"serve", "--log", "loud"}, 1, `--log: "loud" is no level`},
		{"no scenario", []string{"demo", "--scenario", "nowhere"}, 1, "There is no folder nowhere."},
		{"no server", []string{"batch", "list", "--server", "127.0.0.1:1"}, 1, "Is it running? 'spanyard serve' starts it"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var out, errw bytes.Buffer
			status := cli.Main(t.Context(), tc.args, &out, &errw)
			if status != tc.status || !bytes.Contains(errw.Bytes(), []byte(tc.want)) || out.Len() > 0 {
				t.Errorf("status %d, output %q, messages %q; want status %d and %q", status, out.String(), errw.String(), tc.status, tc.want)
			}
		})
	}
}

// TestPersonsAreNamed: what a person answers for is not recorded under the name
// of an account of the machine.
func TestPersonsAreNamed(t *testing.T) {
	t.Setenv("SPANYARD_AS", "")
	for _, args := range [][]string{
		{"batch", "release", "B1"}, {"batch", "release", "B1", "--by", "Pim Quillbottle"}, {"batch", "quarantine", "B1", "--reason", "r"},
		{"batch", "lift", "B1", "--reason", "r"}, {"floor", "approve", "J", "1", "1", "--engineer", "E"},
		{"morning", "confirm", "P1"}, {"run", "depart", "R1"}, {"run", "cancel", "R1", "--reason", "r"},
	} {
		var out, errw bytes.Buffer
		status := cli.Main(t.Context(), append(args, "--server", "127.0.0.1:1"), &out, &errw)
		if want := `Give --as "Your Name", or set SPANYARD_AS.`; status != 2 || !bytes.Contains(errw.Bytes(), []byte(want)) {
			t.Errorf("%v: status %d, messages %q", args, status, errw.String())
		}
	}
	var out, errw bytes.Buffer
	args := []string{"run", "depart", "R1", "--as", "Pim Quillbottle", "--server", "127.0.0.1:1"}
	if status := cli.Main(t.Context(), args, &out, &errw); status != 1 {
		t.Errorf("named: status %d, messages %q", status, errw.String())
	}
}

// TestServicesApart: every service is asked where it listens, and one that is
// not there is named with the flag that finds it.
func TestServicesApart(t *testing.T) {
	h := house(t)
	nowhere := "127.0.0.1:1"
	run := func(want int, args ...string) string {
		t.Helper()
		var out, errw bytes.Buffer
		status := cli.Main(t.Context(), append(args, "--yard", "apart", "--as", "Pim Quillbottle"), &out, &errw)
		if status != want {
			t.Errorf("%v: status %d, messages %q", args, status, errw.String())
		}
		return out.String() + errw.String()
	}
	t.Setenv("SPANYARD_SERVER", nowhere)
	rules := filepath.Join(t.TempDir(), "yard.yaml")
	content, err := demo.Files.ReadFile("yard.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(rules, content, 0o600); err != nil {
		t.Fatal(err)
	}
	run(0, "yard", "set", rules, "--stock-server", h.Address(), "--dispatch-server", h.Address())
	t.Setenv("SPANYARD_SERVER_STOCK", h.Address())
	run(0, "batch", "list")
	if said := run(1, "truck", "list"); !strings.Contains(said, "Asked at "+nowhere) || !strings.Contains(said, "--server or --dispatch-server asks somewhere else") {
		t.Errorf("said %q", said)
	}
	if said := run(1, "catalogue", "show", "--layout-server", nowhere, "--server", h.Address()); !strings.Contains(said, "--layout-server asks somewhere else") {
		t.Errorf("said %q", said)
	}
}

func TestMainStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errw bytes.Buffer
	if status := cli.Main(ctx, []string{"demo", "--once", "--data", t.TempDir()}, &out, &errw); status != 130 {
		t.Errorf("status %d, messages %q", status, errw.String())
	}
}
