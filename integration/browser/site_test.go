package browser

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	dispatchv1 "spanyard.example/proto/gen/spanyard/dispatch/v1"

	"spanyard.example/integration/internal/await"
)

// foreman opens a drop by the link that the dispatcher makes for it.
func foreman(t *testing.T, d *day, s screen, run *dispatcheventv1.Run, drop int) *person {
	t.Helper()
	rosamund := sit(t, d.yard, desktop, dispatcher)
	rosamund.open(fmt.Sprintf("/site-link/%s/%d", run.GetRunId(), drop))
	link := ask[string](rosamund, string(find(fmt.Sprintf("Link to drop %d", drop)))+`.getAttribute("href")`)
	p := stranger(t, d.yard, s)
	p.open(link)
	return p
}

// beamsOf the first drop of a run, in laying order.
func beamsOf(t *testing.T, d *day, run *dispatcheventv1.Run) []*dispatchv1.DropPiece {
	t.Helper()
	s := d.scene(t)
	answer, err := s.Dispatch.GetDrop(s.Context("Rosamund Tickpenny"), &dispatchv1.GetDropRequest{Yard: s.Yard, RunId: run.GetRunId(), DropNumber: 1})
	s.Must(err, "get the drop")
	var beams []*dispatchv1.DropPiece
	for _, room := range answer.GetRooms() {
		for _, p := range room.GetPieces() {
			if p.GetBeam() != nil {
				beams = append(beams, p)
			}
		}
	}
	return beams
}

// box to tick a beam off.
func box(p *dispatchv1.DropPiece) chromedp.JSPath {
	return chromedp.JSPath(fmt.Sprintf("document.getElementById(%q)", p.GetPieceId()))
}

// drawn says whether the laying plans of the page are there.
const drawn = `[...document.querySelectorAll("img.layplan")].every((i) => i.complete && i.naturalWidth > 100)`

// The truck stands at the gate: the foreman sees what comes next, ticks off what
// is laid, tells what is broken, and takes the delivery over. The dispatcher
// sees it.
func TestSiteLaysItsDelivery(t *testing.T) {
	d := underWay(t)
	beams := beamsOf(t, d, d.onTheRoad)
	p := foreman(t, d, phone, d.onTheRoad, 1)
	p.sees("The truck has left the yard.", d.onTheRoad.GetTruckId(), "Next in room", beams[0].GetMark()+" is laid", fmt.Sprintf("0 of %d beams are laid.", len(beams)))
	p.keep("site")
	p.check("site")
	p.follow(beams[0].GetMark() + " is laid")
	p.sees("Kept: 1 beams", beams[1].GetMark()+" is laid")

	p.do("tick two beams", chromedp.Click(box(beams[1])), chromedp.Click(box(beams[2])))
	p.follow("Keep the ticks of room")
	p.sees("Kept: 3 beams", fmt.Sprintf("3 of %d beams are laid.", len(beams)))
	// One of them was ticked off by mistake.
	p.do("take a tick back", chromedp.Click(box(beams[2])))
	p.follow("Keep the ticks of room")
	p.sees("Kept: 2 beams", beams[2].GetMark()+" is laid")

	p.do("choose a piece", chromedp.SetValue(find("Which piece"), beams[3].GetPieceId()))
	p.click("It is broken")
	p.fill("What was seen", "cracked across at one end")
	p.follow("Tell the yard")
	p.sees("The yard is told about "+beams[3].GetPieceId(), "broken, not to be laid", "cracked across at one end")
	if !ask[bool](p, string(box(beams[3]))+".disabled") {
		t.Error("a broken beam can be ticked off as laid")
	}
	p.fill("Your name", "Bram Oddsock")
	p.follow("All of it was set down")
	p.sees("were taken over by Bram Oddsock", "Set down at your site.")
	p.do("look at the laying plan", chromedp.ScrollIntoView(chromedp.CSS("img.layplan")))
	p.sees("revision 1")
	p.awaits("the laying plan to be drawn", drawn)
	p.keep("site-laying")
	p.check("site-laying")

	rosamund := sit(t, d.yard, desktop, dispatcher)
	rosamund.open("/")
	rosamund.sees("Told by sites", beams[3].GetMark(), "is broken.", "cracked across at one end")
	rosamund.keep("journey-told-by-site")
	writesOff(p, rosamund, beams[3])

	p.do("choose a piece", chromedp.SetValue(find("Which piece"), beams[4].GetPieceId()))
	p.click("It is broken")
	p.follow("Tell the yard")
	p.follow(beams[4].GetPieceId() + " is here and whole")
	p.sees("is here and whole")
	p.seesNot("broken, not to be laid")
}

// writesOff follows what the site told to the piece: its place is open again, and
// the site is told not to lay it.
func writesOff(site, rosamund *person, beam *dispatchv1.DropPiece) {
	rosamund.follow("Write it off, for another in its place")
	rosamund.sees("Piece "+beam.GetPieceId(), "delivered", "Broken or lost", "need not be taken back first")
	rosamund.keep("journey-piece-broke")
	rosamund.check("journey-piece-broke")
	rosamund.follow("Write it off")
	rosamund.sees(beam.GetPieceId()+" is written off. Its place at the site is open again.", "Scrapped after it was delivered", "cracked across at one end")
	rosamund.seesNot("Broken or lost")
	rosamund.keep("journey-piece-written-off")
	// Dispatch hears of it a moment later.
	await.For(site.t, soon, "the site to be told", func(context.Context) error {
		site.open("/drop")
		if !says(site.text(), "was scrapped") {
			return errors.New("not yet")
		}
		return nil
	})
	site.sees("stopped, not to be laid")
	rosamund.open("/")
	rosamund.seesNot("cracked across at one end")
	site.keep("site-written-off")
	site.check("site-written-off")
}

// Before the truck leaves there is nothing to tick off; a link shows no other
// floor than its own.
func TestSiteBeforeTheTruckLeaves(t *testing.T) {
	d := underWay(t)
	p := foreman(t, d, phone, d.confirmed, 1)
	p.sees("The truck has not left the yard yet.", "Laying plan")
	p.do("look at the laying plan", chromedp.ScrollIntoView(chromedp.CSS("img.layplan")))
	p.awaits("the laying plan to be drawn", drawn)
	p.seesNot("is laid\n", "Tell the yard", "All of it was set down")
	p.keep("site-before")
	p.check("site-before")
	p.open("/drop/plan/J999/1")
	p.sees("This delivery brings nothing for that floor.")
	desk := foreman(t, d, desktop, d.confirmed, 1)
	desk.keep("site-before")
	desk.check("site-before")
}
