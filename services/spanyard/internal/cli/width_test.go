package cli_test

import (
	"bytes"
	"context"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"spanyard.example/services/spanyard/internal/cli"
)

// listener is an output that hands over the address in "Serving at ADDRESS.".
type listener struct {
	mu    sync.Mutex
	text  bytes.Buffer
	found chan string
}

var serving = regexp.MustCompile(`Serving at ([^ ]+)\. `)

func (l *listener) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	n, err := l.text.Write(p)
	if m := serving.FindSubmatch(l.text.Bytes()); m != nil && l.found != nil {
		l.found <- string(m[1])
		l.found = nil
	}
	return n, err
}

// TestNothingIsWiderThanThePage: every list and sheet of the demo yard, with
// its longest names, keeps to 100 columns.
func TestNothingIsWiderThanThePage(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var page bytes.Buffer
	messages := &listener{found: make(chan string, 1)}
	address := messages.found
	ended := make(chan int, 1)
	go func() {
		ended <- cli.Main(ctx, []string{"demo", "--data", t.TempDir(), "--listen", "127.0.0.1:0"}, &page, messages)
	}()
	var at string
	select {
	case at = <-address:
	case status := <-ended:
		t.Fatalf("the demo ended with %d: %s", status, messages.text.String())
	case <-time.After(2 * time.Minute):
		t.Fatal("the demo does not serve")
	}
	narrow(t, "demo", page.String())
	lines := func(args ...string) []string {
		var out, errw bytes.Buffer
		status := cli.Main(ctx, append(args, "--server", at, "--as", "Rosamund Tickpenny"), &out, &errw)
		if status != 0 {
			t.Errorf("%v: status %d, messages %q", args, status, errw.String())
		}
		narrow(t, strings.Join(args, " "), out.String())
		return strings.Split(strings.TrimSpace(out.String()), "\n")
	}
	const day, plan = "2027-03-17", "2027-03-17-P1"
	lines("morning", "confirm", plan)
	for _, command := range []string{
		"morning list " + day, "morning show " + plan, "run list " + day, "run show " + day + " " + plan + "-R01", "call-off list " + day,
		"call-off floors", "truck list", "site list", "yard show", "catalogue show", "stock summary", "stock summary --day 2027-04-30",
		"stock free", "picks", "floor list",
	} {
		lines(strings.Fields(command)...)
	}
	for _, row := range lines("batch", "list")[1:] {
		if id := strings.Fields(row); !strings.HasPrefix(row, " ") && len(id) > 0 {
			lines("batch", "show", id[0])
		}
	}
	lines("stack", "A-03")
	lines("trace", "B0205-085")
	lines("batch", "quarantine", "B0205", "--reason", "cracked at the heads, seen by two people independently on the same morning")
	lines("run", "list", day)
	stop()
	if status := <-ended; status != 0 {
		t.Errorf("the demo ended with %d", status)
	}
}

// narrow names the lines of a page that are wider than it.
func narrow(t *testing.T, what, page string) {
	t.Helper()
	for _, line := range strings.Split(page, "\n") {
		if utf8.RuneCountInString(line) > 100 {
			t.Errorf("%s: %d columns: %q", what, utf8.RuneCountInString(line), line)
		}
	}
}
