// Package browser walks through the desk as people do: the demo yard in a
// process of its own, Debian's Chromium in front of it, on a desk's screen and
// on a phone. It needs no containers.
//
// A journey begins with a person at a screen (sit), finds what it needs by the
// words on the page, and says what must be seen. Every page that a journey
// shows is kept as a picture; axe-core looks at all pages in TestAccessibility.
//
// Tests share one demo yard whose day is under way, see underWay. A test that
// needs the morning as it is planned, or stops something that others need,
// starts a yard of its own with freshYard.
package browser

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// What all tests stand on.
var (
	// program is the path of the program under test.
	program string
	// planned is a data folder with the demo yard, loaded and its morning planned;
	// yards start on copies of it.
	planned string
	// axe is the text of axe-core.
	axe string
	// chromium has the one browser process; every person gets a profile in it
	// that knows nothing of the others.
	chromium context.Context
	// pictures is the folder in which pages are kept as they were seen.
	pictures string
)

// Times within which things have to be done.
const (
	// soon is for a page to show what it has to, also on a busy machine.
	soon = 20 * time.Second
	// startWithin is for the demo yard to be loaded and planned.
	startWithin = 2 * time.Minute
	// buildWithin is for building the program for the first time.
	buildWithin = 5 * time.Minute
)

func TestMain(m *testing.M) {
	os.Exit(run(m))
}

func run(m *testing.M) int {
	folder, err := os.MkdirTemp("", "spanyard-browser-")
	if err == nil {
		defer os.RemoveAll(folder)
		err = prepare(folder)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "browser tests:", err)
		return 1
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.DisableGPU, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox) // which does not work as root
	}
	allocator, end := chromedp.NewExecAllocator(context.Background(), options...)
	defer end()
	var stop context.CancelFunc
	chromium, stop = chromedp.NewContext(allocator)
	defer stop()
	if err := chromedp.Do(chromium); err != nil {
		fmt.Fprintln(os.Stderr, "browser tests: Chromium does not start (on Debian, as root: apt-get install chromium):", err)
		return 1
	}
	defer stopYards()
	status := m.Run()
	fmt.Fprintln(os.Stdout, "pages as they were seen are in", pictures)
	return status
}

// prepare builds the program and finds axe-core. What is missing is a failure.
func prepare(folder string) error {
	ctx, cancel := context.WithTimeout(context.Background(), buildWithin)
	defer cancel()
	root, err := filepath.Abs("../..")
	if err != nil {
		return err
	}
	if pictures = os.Getenv("SPANYARD_PICTURES"); pictures == "" {
		pictures = filepath.Join(root, ".cache", "pictures")
	}
	if err := os.MkdirAll(pictures, 0o755); err != nil {
		return err
	}
	program = filepath.Join(folder, "spanyard")
	if _, err := output(exec.CommandContext(ctx, "go", "build", "-C", filepath.Join(root, "services", "spanyard"), "-o", program, "./cmd/spanyard")); err != nil {
		return err
	}
	planned = filepath.Join(folder, "planned")
	if _, err := output(exec.CommandContext(ctx, program, "demo", "--once", "--json", "--data", planned)); err != nil {
		return err
	}
	path, err := output(exec.CommandContext(ctx, filepath.Join(root, "scripts", "axe")))
	if err != nil {
		return err
	}
	text, err := os.ReadFile(strings.TrimSpace(path))
	axe = string(text)
	return err
}

// output of a command, or all that it said when it failed.
func output(c *exec.Cmd) (string, error) {
	out, err := c.Output()
	var failed *exec.ExitError
	if errors.As(err, &failed) {
		return "", fmt.Errorf("%s: %w\n%s", strings.Join(c.Args, " "), err, failed.Stderr)
	}
	return string(out), err
}
