package browser

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/rpc"

	"spanyard.example/integration/internal/house"
	"spanyard.example/integration/internal/scene"
)

// yard is a running program with its desk.
type yard struct {
	data string
	// base of the desk's addresses, and the address that lets its reader in.
	base, entry string
	// server is where the services listen for the command line.
	server string
	stop   func() error
	// told is what tests do over the services' RPCs; its requests are counted
	// for as long as the yard lives.
	told *scene.Scene
}

// started are the yards that run until the tests end.
var (
	started     []*yard
	startedLock sync.Mutex
)

func stopYards() {
	startedLock.Lock()
	defer startedLock.Unlock()
	for _, y := range started {
		if err := y.stop(); err != nil {
			fmt.Fprintln(os.Stderr, "browser tests: stop a yard:", err)
		}
		_ = os.RemoveAll(y.data) // a folder of ours in the place for such
	}
	started = nil
}

// freshYard starts a demo yard of the test's own: its morning is planned, and
// nobody has done anything yet.
func freshYard(t *testing.T) *yard {
	t.Helper()
	data := t.TempDir()
	if err := os.CopyFS(data, os.DirFS(planned)); err != nil {
		t.Fatal(err)
	}
	return ownYard(t, data, "demo")
}

// ownYard starts the program as it is told, for one test.
func ownYard(t *testing.T, data string, args ...string) *yard {
	t.Helper()
	y, err := start(data, args...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := y.stop(); err != nil {
			t.Errorf("stop the yard: %v", err)
		}
	})
	return y
}

// start runs the program on a data folder until it serves.
func start(data string, args ...string) (*yard, error) {
	ctx, cancel := context.WithCancel(context.Background())
	c := exec.CommandContext(ctx, program, append(args, "--data", data, "--listen", "127.0.0.1:0", "--desk", "127.0.0.1:0")...)
	c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
	said, err := c.StderrPipe()
	if err != nil {
		cancel()
		return nil, err
	}
	if err := c.Start(); err != nil {
		cancel()
		return nil, err
	}
	y := &yard{data: data, stop: func() error {
		cancel()
		if err := c.Wait(); err != nil && !errors.Is(err, context.Canceled) {
			return err
		}
		return nil
	}}
	late := time.AfterFunc(startWithin, cancel)
	err = y.listen(said)
	if !late.Stop() || err != nil {
		return nil, errors.Join(err, errors.New("the yard does not start"), y.stop())
	}
	return y, nil
}

// listen reads what the program says until it serves, and lets it say on.
func (y *yard) listen(said io.Reader) error {
	var all strings.Builder
	for lines := bufio.NewScanner(said); lines.Scan(); {
		line := lines.Text()
		all.WriteString(line + "\n")
		if address, ok := strings.CutPrefix(line, "Open in a browser: "); ok {
			u, err := url.Parse(address)
			if err != nil {
				return err
			}
			y.base, y.entry = "http://"+u.Host, address
		}
		if rest, ok := strings.CutPrefix(line, "Serving at "); ok {
			y.server, _, _ = strings.Cut(rest, ". ")
			go func() { _, _ = io.Copy(io.Discard, said) }() // ends with the program
			return nil
		}
	}
	return fmt.Errorf("the program ended:\n%s", all.String())
}

// spanyard runs a command of the program; text goes to its standard input.
func (y *yard) spanyard(t *testing.T, text string, args ...string) string {
	t.Helper()
	c := exec.CommandContext(t.Context(), program, args...)
	c.Stdin = strings.NewReader(text)
	out, err := output(c)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// scene lets a test do over the services' RPCs what is not its journey.
func (y *yard) scene(t *testing.T) *scene.Scene {
	t.Helper()
	if y.told == nil {
		conn, err := rpc.Dial(y.server)
		if err != nil {
			t.Fatal(err)
		}
		// The connection lives as long as the yard.
		y.told = scene.New(t, &house.Clients{
			Layout: layoutv1.NewLayoutServiceClient(conn), Stock: stockv1.NewStockServiceClient(conn), Dispatch: dispatchv1.NewDispatchServiceClient(conn),
		}, "demo")
	}
	y.told.T = t
	return y.told
}

// day that is under way in the yard that the tests share.
type day struct {
	*yard
	// Three runs in the order of the day: the first was delivered, the second is
	// on the road, the third is confirmed.
	delivered, onTheRoad, confirmed *dispatcheventv1.Run
}

var (
	sharedDay  *day
	sharedOnce sync.Once
)

// underWay returns the demo yard that the tests share: its morning is
// confirmed, and the first two trucks have left. Whoever changes something in
// it changes what no other test looks at.
func underWay(t *testing.T) *day {
	t.Helper()
	sharedOnce.Do(func() {
		data, err := os.MkdirTemp("", "spanyard-browser-")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.CopyFS(data, os.DirFS(planned)); err != nil {
			t.Fatal(err)
		}
		y, err := start(data, "demo")
		if err != nil {
			t.Fatal(err)
		}
		startedLock.Lock()
		started = append(started, y)
		startedLock.Unlock()
		d := &day{yard: y}
		d.begin(t)
		sharedDay = d
	})
	if sharedDay == nil {
		t.Fatal("the yard that the tests share did not start; see the first failure")
	}
	return sharedDay
}

// begin confirms the morning, delivers one run and lets another leave.
func (d *day) begin(t *testing.T) {
	t.Helper()
	s := d.scene(t)
	ctx := s.Context("Rosamund Tickpenny")
	mornings, err := s.Dispatch.ListMornings(ctx, &dispatchv1.ListMorningsRequest{Yard: s.Yard, Day: scene.Day})
	s.Must(err, "list the plans")
	confirmed, err := s.Confirm(mornings.GetMornings()[0].GetPlanId())
	s.Must(err, "confirm the morning")
	answer, err := s.Dispatch.ListRuns(ctx, &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: scene.Day, AtLeast: confirmed.GetPosition()})
	s.Must(err, "list the runs")
	var runs []*dispatcheventv1.Run
	for _, r := range answer.GetRuns() {
		runs = append(runs, r.GetRun())
	}
	d.delivered, d.onTheRoad, d.confirmed = runs[0], runs[1], runs[2]
	for _, run := range runs[:2] {
		s.PickAndLoad(run.GetRunId(), run.GetTruckId(), run.GetPicks())
	}
	s.Drive(d.delivered)
	_, err = s.Dispatch.DepartRun(ctx, &dispatchv1.DepartRunRequest{Yard: s.Yard, RequestId: s.Request(), RunId: d.onTheRoad.GetRunId(), DepartedBy: "Odo Bristlecomb"})
	s.Must(err, "let run %s leave", d.onTheRoad.GetRunId())
}
