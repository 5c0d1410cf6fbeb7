package browser

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	"spanyard.example/integration/internal/await"
	"spanyard.example/integration/internal/scene"
)

// pressLeading presses a key that leads to another page.
func (p *person) pressLeading(key string) {
	p.t.Helper()
	p.leads(fmt.Sprintf("press %q", key), chromedp.KeyEvent(key))
}

// The whole morning without a mouse: a run is moved with the arrow keys, what
// that changes is read before it is done, the plan is confirmed. Then a batch is
// stopped, and the run that it hits shows so by itself within a second.
func TestMorningByKeyboard(t *testing.T) {
	y := freshYard(t)
	p := sit(t, y, desktop, dispatcher)
	p.open("/")
	p.tabTo("Morning")
	p.pressLeading(kb.Enter)
	p.sees("17 runs, and proved", "P1-R07", "Left, and why")
	p.keep("journey-morning-draft")

	p.tabTo("P1-R07 CR")
	p.press(kb.ArrowUp)
	p.sees("T1 8:10")
	p.press(kb.Escape)
	p.press(kb.ArrowUp, kb.ArrowRight)
	p.sees("T1 8:20")
	p.pressLeading(kb.Enter)
	p.sees("Nothing is changed yet", "2027-03-17-P1 stays", "Runs as before")
	p.check("morning-wish")
	p.keep("journey-morning-wish")
	p.tabTo("Make this plan")
	p.pressLeading(kb.Enter)
	p.sees("Plan 2027-03-17-P2 was made out of 2027-03-17-P1", "draft, binds nobody", "Changed since 2027-03-17-P1")
	p.keep("journey-morning-changed")

	p.tabTo("Confirm 2027-03-17-P2")
	p.pressLeading(kb.Enter)
	p.sees("Plan 2027-03-17-P2 is confirmed", "Something happened")
	p.hitShowsByItself(y)
}

// hitShowsByItself stops a batch of the first run, elsewhere, and sees the run
// on the page change.
func (p *person) hitShowsByItself(y *yard) {
	p.t.Helper()
	run := ask[string](p, `document.querySelector("svg.board a").dataset.run`)
	s := y.scene(p.t)
	runs, err := s.Stock.ListBatches(s.Context("Nettie Underbloom"), &stockv1.ListBatchesRequest{Yard: s.Yard, PageSize: 1000})
	s.Must(err, "list the batches")
	batch := ""
	for _, b := range runs.GetBatches() {
		if b.GetBlockKind() == "" && b.GetCounts().GetReserved() > 0 {
			batch = b.GetBatchId()
		}
	}
	_, err = s.Stock.QuarantineBatch(s.Context("Nettie Underbloom"), &stockv1.QuarantineBatchRequest{
		Yard: s.Yard, RequestId: s.Request(), BatchId: batch, Reason: "honeycombs at the heads", QuarantinedBy: "Nettie Underbloom",
	})
	s.Must(err, "stop batch %s", batch)
	began := time.Now()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	if err := await.Until(ctx, "a stopped run on the board", func(ctx context.Context) error {
		n, err := chromedp.Run(ctx, chromedp.Evaluate[int64](`document.querySelectorAll("svg.board .b-hit").length`))
		if err == nil && n == 0 {
			err = fmt.Errorf("no run is shown as stopped")
		}
		return err
	}); err != nil {
		p.t.Fatalf("%v; first run %s", err, run)
	}
	took := time.Since(began)
	p.t.Logf("stopped runs were shown %v after the batch was stopped", took.Round(time.Millisecond))
	if took > time.Second {
		p.t.Errorf("it took %v until stopped runs were shown, want a second at most", took)
	}
	p.sees("stopped", "honeycombs at the heads")
	p.keep("journey-morning-stopped")
}

// With a mouse: why a run is on its truck, what a wish would change, what cannot
// be; two plans compared; planning ended early.
func TestMorningByMouse(t *testing.T) {
	y := freshYard(t)
	p := sit(t, y, desktop, dispatcher)
	p.open("/morning?plan=" + scene.Day + "-P1&run=" + scene.Day + "-P1-R06")
	p.sees("Run P1-R06, truck T1", "Load sheet", "Loads on the axles")
	p.keep("journey-morning-run")
	p.follow("Why this truck, and what others could do")
	p.sees("of the site's laying order", "T5", "the pieces weigh")
	p.keep("journey-morning-why")
	p.follow("Back to the plan")

	p.open("/morning?plan=" + scene.Day + "-P1&run=" + scene.Day + "-P1-R06")
	p.do("choose truck T5", chromedp.SetValue(chromedp.JSPath(`document.querySelector("#truck")`), "T5"))
	p.leads("move the run", chromedp.Click(chromedp.JSPath(`document.querySelector("#move button")`)))
	p.sees("Not done.", "the truck carries 3400 kg")

	p.open("/morning?plan=" + scene.Day + "-P1")
	p.do("give it time", chromedp.SetValue(chromedp.JSPath(`document.querySelector("#seconds")`), "30"))
	began := time.Now()
	p.do("plan", chromedp.Click(find("Plan")))
	p.sees("Planning goes on")
	// It may have come to its end by itself just now.
	ask[bool](p, `(document.querySelector("form.stop button")?.click(), true)`)
	p.sees("Plan " + scene.Day + "-P2 has")
	if took := time.Since(began); took > 20*time.Second {
		p.t.Errorf("planning went on for %v after it was stopped", took)
	}
	p.follow("Compare")
	p.sees("From "+scene.Day+"-P1 to "+scene.Day+"-P2", "Runs as before")
	if text := p.text(); strings.Contains(text, "%!") {
		t.Errorf("words are not filled in:\n%s", text)
	}
}
