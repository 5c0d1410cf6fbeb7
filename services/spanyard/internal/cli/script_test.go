package cli_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
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
		{"unknown command", []string{"flor"}, 2, "unknown command \"flor\""},
		{"unknown flag", []string{"floor", "list", "--jobs"}, 2, "unknown flag: --jobs"},
		{"missing argument", []string{"trace"}, 2, "Try 'spanyard trace --help'."},
		{"missing flag", []string{"floor", "approve", "J1", "1", "1"}, 2, `required flag(s) "engineer", "reason" not set`},
		{"no such file", []string{"floor", "import", "nothing.xlsx"}, 1, "There is no file nothing.xlsx that can be read."},
		{"no table", []string{"floor", "import", "rooms.pdf"}, 1, "save it as .xlsx, .csv or .json"},
		{"bad revision", []string{"floor", "approve", "J1", "1", "x", "--engineer", "E", "--reason", "R"}, 1, `REVISION: "x" is no revision`},
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

func TestMainStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errw bytes.Buffer
	if status := cli.Main(ctx, []string{"demo", "--once", "--data", t.TempDir()}, &out, &errw); status != 130 {
		t.Errorf("status %d, messages %q", status, errw.String())
	}
}
