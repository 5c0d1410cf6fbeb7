package browser

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"
	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	"spanyard.example/integration/internal/await"
	"spanyard.example/integration/internal/scene"
)

// radio is the line between a phone and the desk: it can be cut, for the page,
// for what the browser keeps of it, and for everything else.
type radio struct {
	t    *testing.T
	to   string
	door net.Listener
	lock sync.Mutex
	cut  bool
	open map[net.Conn]bool
}

// byRadio returns the yard as a phone reaches it.
func byRadio(t *testing.T, y *yard) (*yard, *radio) {
	t.Helper()
	door, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	base, err := url.Parse(y.base)
	if err != nil {
		t.Fatal(err)
	}
	r := &radio{t: t, to: base.Host, door: door, open: map[net.Conn]bool{}}
	t.Cleanup(func() {
		if err := door.Close(); err != nil {
			t.Error(err)
		}
		r.lose(true)
	})
	go func() {
		for {
			c, err := door.Accept()
			if err != nil {
				return // the test is over
			}
			go r.carry(c)
		}
	}()
	far := *y
	far.base, far.entry = "http://"+door.Addr().String(), strings.Replace(y.entry, base.Host, door.Addr().String(), 1)
	return &far, r
}

// carry a connection until it or the line is cut.
func (r *radio) carry(near net.Conn) {
	defer near.Close()
	far, err := net.Dial("tcp", r.to)
	if err != nil {
		return
	}
	defer far.Close()
	r.lock.Lock()
	cut := r.cut
	r.open[near] = true
	r.lock.Unlock()
	if cut {
		return
	}
	go func() {
		_, _ = io.Copy(far, near) // ends when either is closed
		far.Close()
	}()
	_, _ = io.Copy(near, far)
	r.lock.Lock()
	delete(r.open, near)
	r.lock.Unlock()
}

// lose the line, or get it back.
func (r *radio) lose(lost bool) {
	r.lock.Lock()
	defer r.lock.Unlock()
	r.cut = lost
	for c := range r.open {
		if lost {
			c.Close()
		}
	}
}

// runToPick is a confirmed run that no other test looks at, whose first five
// picks are beams.
func (d *day) runToPick(t *testing.T) *dispatcheventv1.Run {
	t.Helper()
	s := d.scene(t)
	answer, err := s.Dispatch.ListRuns(s.Context("Pim Quillbottle"), &dispatchv1.ListRunsRequest{Yard: s.Yard, Day: scene.Day})
	s.Must(err, "list the runs")
	for _, r := range slices.Backward(answer.GetRuns()) {
		beams := slices.IndexFunc(r.GetRun().GetPicks(), func(p *dispatcheventv1.Pick) bool { return p.GetBeam() == nil })
		if r.GetState() == dispatchv1.RunState_RUN_STATE_CONFIRMED && beams > 4 && len(r.GetRun().GetMoves()) == 0 {
			return r.GetRun()
		}
	}
	t.Fatal("no run of the demo begins with five beams")
	return nil
}

// keepsPages waits until the phone has what it needs without a line.
func (p *person) keepsPages() {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	err := await.Until(ctx, "pages on the phone", func(context.Context) error {
		if !ask[bool](p, `(async () => {
		  const kept = await caches.open("spanyard-yard");
		  return Boolean(navigator.serviceWorker.controller && await kept.match(location.pathname) && await kept.match("/static/yard.js"));
		})()`) {
			return errors.New("the page is not kept")
		}
		return nil
	})
	if err != nil {
		p.t.Fatal(err)
	}
}

// hasSent waits until no tap is kept on the phone.
func (p *person) hasSent() {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	err := await.Until(ctx, "taps to be sent", func(context.Context) error {
		if n := ask[int](p, `JSON.parse(localStorage.getItem("spanyard-taps") || '{"taps":[]}').taps.length`); n > 0 {
			return fmt.Errorf("%d are kept", n)
		}
		return nil
	})
	if err != nil {
		p.t.Fatal(err)
	}
}

// Pim picks a load on his phone and walks behind the hall, where there is no
// line. He goes on, and looks the page up again. Meanwhile somebody else picks
// one of his beams. When the line is back, what he tapped is recorded once, in
// his name, and what was not is told to him in words.
func TestYardPicksThroughALostConnection(t *testing.T) {
	d := underWay(t)
	run := d.runToPick(t)
	far, line := byRadio(t, d.yard)
	pim := sit(t, far, phone, yardStaff)
	picks := run.GetPicks()
	short := func(i int) string { return strings.TrimPrefix(picks[i].GetPieceId(), picks[i].GetBatchId()+"-") }
	pim.open("/yard/run/" + scene.Day + "/" + run.GetRunId())
	pim.sees("Lift beam "+short(0), picks[0].GetMark(), "0 of ")
	pim.keep("journey-pick")
	pim.keepsPages()
	pim.click("Done: " + short(0) + " is off the stack")
	pim.sees("Lift beam "+short(1), "1 of ")
	pim.hasSent()

	line.lose(true)
	pim.click("Done: " + short(1) + " is off the stack")
	pim.sees("Lift beam "+short(2), "2 of ", "No connection. One tap is kept on this phone")
	pim.open("/yard/run/" + scene.Day + "/" + run.GetRunId())
	pim.sees("Lift beam "+short(2), "2 of ", "One tap is kept on this phone")
	s := d.scene(t)
	_, err := s.Stock.PickPieces(s.Context("Odo Bristlecomb"), &stockv1.PickPiecesRequest{
		Yard: s.Yard, RequestId: s.Request(), RunId: run.GetRunId(), PieceIds: []string{picks[2].GetPieceId()},
	})
	s.Must(err, "pick under Pim's hands")
	pim.click("Done: " + short(2) + " is off the stack")
	pim.sees("Lift beam "+short(3), "2 taps are kept")
	pim.click("Not there")
	pim.click(short(3) + " is not there")
	pim.sees("Lift beam "+short(4), "3 taps are kept")
	pim.keep("journey-pick-without-line")

	line.lose(false)
	pim.sees("Not done.", "Lift "+picks[2].GetPieceId(), "cannot be picked", "3 of ")
	pim.hasSent()
	pim.keep("journey-pick-told")
	pim.click("I have read it")
	pim.seesNot("Not done.", "kept on this phone")
	d.recordedOnce(t, picks[0].GetPieceId(), "Pim Quillbottle")
	d.recordedOnce(t, picks[1].GetPieceId(), "Pim Quillbottle")
	d.recordedOnce(t, picks[2].GetPieceId(), "Odo Bristlecomb")
	gone, err := s.Stock.GetPieces(s.Context("Pim Quillbottle"), &stockv1.GetPiecesRequest{Yard: s.Yard, PieceIds: []string{picks[3].GetPieceId()}})
	s.Must(err, "find the beam that was not there")
	if state := gone.GetPieces()[0].GetState(); state != stockeventv1.PieceState_PIECE_STATE_SCRAPPED {
		t.Errorf("the beam that was not there is %v", state)
	}
}

// recordedOnce fails unless a piece was picked once, by a person.
func (d *day) recordedOnce(t *testing.T, piece, by string) {
	t.Helper()
	s := d.scene(t)
	history, err := s.Stock.GetPieceHistory(s.Context("Pim Quillbottle"), &stockv1.GetPieceHistoryRequest{Yard: s.Yard, PieceId: piece})
	s.Must(err, "read the history of %s", piece)
	var actors []string
	for _, e := range history.GetEntries() {
		if strings.Contains(e.GetEvent(), "picked") {
			actors = append(actors, e.GetActor())
		}
	}
	if !slices.Equal(actors, []string{by}) {
		t.Errorf("%s was picked by %q, want once by %s", piece, actors, by)
	}
}
