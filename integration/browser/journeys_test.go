package browser

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"

	"spanyard.example/integration/internal/scene"
)

// batches that a run carries.
func batches(run *dispatcheventv1.Run) []string {
	var all []string
	for _, p := range run.GetPicks() {
		all = append(all, p.GetBatchId())
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// A batch turns out to be bad when some of it lies at a site already. The
// laboratory stops it on a phone; the dispatcher's screen tells so by itself,
// and leads to where every piece is and whom to call.
func TestDispatcherFindsAStoppedBatch(t *testing.T) {
	d := underWay(t)
	elsewhere := append(batches(d.onTheRoad), batches(d.confirmed)...)
	gone := slices.DeleteFunc(batches(d.delivered), func(b string) bool { return slices.Contains(elsewhere, b) })
	if len(gone) == 0 {
		t.Fatalf("the first run has no batch of its own: %v", batches(d.delivered))
	}
	batch := gone[0]
	rosamund := sit(t, d.yard, desktop, dispatcher)
	rosamund.open("/")
	rosamund.sees("In quarantine")

	nettie := sit(t, d.yard, phone, laboratory)
	nettie.fill("Find a mark, batch, job or truck", batch)
	nettie.follow("Find")
	nettie.sees("Batch "+batch, "Released")
	nettie.fill("Reason", "honeycombs at the heads")
	nettie.follow("Stop this batch")
	nettie.sees("Batch "+batch+" is stopped.", "see the recall", "honeycombs at the heads")
	nettie.keep("journey-stopped")

	rosamund.sees("Something in the yard has changed.")
	rosamund.follow("Show it")
	rosamund.sees("honeycombs at the heads")
	rosamund.follow(batch)
	rosamund.sees("Batch "+batch, "Quarantine")
	rosamund.follow("Find all of it")
	site := d.delivered.GetDrops()[0].GetSiteId()
	rosamund.sees("Where batch "+batch+" is", "at site "+site+", from run "+d.delivered.GetRunId(), "To print (PDF)")
	rosamund.keep("journey-recall")
}

// The laboratory has results for the batch that somebody waits for.
func TestLaboratoryEntersResultsAndReleases(t *testing.T) {
	d := underWay(t)
	p := sit(t, d.yard, phone, laboratory)
	p.open("/")
	p.sees("Specimens due", "Old enough, not released")
	p.follow("B0301")
	p.sees("No results yet")
	p.follow("Release this batch")
	p.sees("Not done.", "B0301")

	p.fill("Number of the test", "TW-B0301")
	p.fill("Laboratory", "Tumblewick Testing Room")
	p.setDate("Tested on", "2027-03-15")
	p.fill("Strengths in MPa", "46.2 forty-six 47.1")
	p.follow("Enter results")
	p.sees("Not done.", "forty-six", "is no number")
	p.keep("journey-results-refused")
	if got := ask[string](p, string(find("Number of the test"))+".value"); got != "TW-B0301" {
		t.Errorf("after a refusal the form has the test %q", got)
	}
	p.fill("Strengths in MPa", "46,2; 46.9 47.1")
	p.follow("Enter results")
	p.sees("Results entered.", "Conforms")
	p.follow("Release this batch")
	p.sees("Batch B0301 is released by Nettie Underbloom, 15 days old.")
	p.seesNot("Release this batch")
	p.keep("journey-released")
}

// Somebody reads a mark off a beam and asks what it is.
func TestSearchByMark(t *testing.T) {
	d := underWay(t)
	var pick *dispatcheventv1.Pick
	for _, p := range d.delivered.GetPicks() {
		if p.GetMark() != "" {
			pick = p
		}
	}
	for _, s := range []screen{desktop, phone} {
		p := sit(t, d.yard, s, yardStaff)
		p.fill("Find a mark, batch, job or truck", pick.GetMark())
		p.follow("Find")
		p.sees("Found for “"+pick.GetMark()+"”", pick.GetPieceId(), "delivered")
		p.follow(pick.GetPieceId())
		p.sees("Piece "+pick.GetPieceId(), "What happened to it", "Released by", "Batch "+pick.GetBatchId())
		p.keep("journey-piece")
	}
}

// A foreman gets a link from the dispatcher: it opens his drop, and nothing
// else; a link that ran out opens nothing.
func TestSiteLinkOpensOneDropAndRunsOut(t *testing.T) {
	d := underWay(t)
	rosamund := sit(t, d.yard, desktop, dispatcher)
	rosamund.open("/site-link/" + d.confirmed.GetRunId() + "/1")
	rosamund.sees("opens drop 1 of run "+d.confirmed.GetRunId(), "for 3 days")
	link := ask[string](rosamund, string(find("Link to drop 1"))+`.getAttribute("href")`)

	foreman := stranger(t, d.yard, phone)
	foreman.open(link)
	foreman.sees("Drop 1 of run " + d.confirmed.GetRunId())
	foreman.seesNot("Stock", "What is free")
	for _, path := range []string{"/", "/stock", "/find?q=J101", "/site-link/" + d.confirmed.GetRunId() + "/1"} {
		foreman.open(path)
		if foreman.path() != "/sign-in" {
			t.Errorf("the link opens %s", path)
		}
	}
	foreman.open(strings.Replace(link, ".", "x.", 1))
	foreman.sees("This link has run out or is not whole.")

	// Four days later, with the same key.
	later := filepath.Join(t.TempDir(), "later")
	d.spanyard(t, "", "account", "list", "--data", later) // makes the folder
	key, err := os.ReadFile(filepath.Join(d.data, "sign-in-key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(later, "sign-in-key.pem"), key, 0o600); err != nil {
		t.Fatal(err)
	}
	y := ownYard(t, later, "serve", "--yard", "demo", "--clock-starts-at", "2027-03-20T16:00:00Z")
	foreman = stranger(t, y, phone)
	foreman.open(link)
	foreman.sees("This link has run out or is not whole.")
	foreman.keep("journey-link-ran-out")
}

// Nobody touches a mouse: sign-in with a password, the way to a batch, its
// release. Then somebody guesses passwords and is slowed.
func TestKeyboardAloneAndGuessersSlowed(t *testing.T) {
	d := underWay(t)
	s := d.scene(t)
	const batch, password = "B0290", "four words of stone"
	beams := scene.BatchRequest(s.Yard, s.Request(), batch, 4, 20)
	beams.GetBeams().GetLines()[0].StackId = "A-15"
	_, err := s.Stock.ReceiveBatch(s.Context("Pim Quillbottle"), beams)
	s.Must(err, "receive a batch")
	s.Test(batch, 46.1, 45.8, 46.6)
	d.spanyard(t, password+"\n", "account", "add", "Pim Quillbottle", "--role", "laboratory", "--data", d.data)

	p := stranger(t, d.yard, desktop)
	p.open("/stock/" + batch)
	p.sees("Sign in")
	p.tabTo("Name")
	p.press("Pim Quillbottle")
	p.tabTo("Password")
	p.press(password)
	p.leads("sign in by the key Enter", chromedp.KeyEvent(kb.Enter))
	p.sees("Batch "+batch, "Curing")
	p.leads("to today", chromedp.Navigate(d.base+"/"))
	p.shortcut("/")
	p.press(strings.ToLower(batch))
	p.leads("search by the key Enter", chromedp.KeyEvent(kb.Enter))
	p.sees("Batch " + batch)
	p.tabTo("Release this batch")
	p.keep("journey-keyboard")
	p.leads("release by the key Enter", chromedp.KeyEvent(kb.Enter))
	p.sees("Batch " + batch + " is released by Pim Quillbottle, 20 days old.")

	guesser := stranger(t, d.yard, phone)
	guesser.open("/sign-in")
	const most = 12
	for range most {
		guesser.fill("Name", "Pim Quillbottle")
		guesser.fill("Password", "a guess of mine")
		guesser.follow("Sign in")
		guesser.sees("Not done.")
		if strings.Contains(guesser.text(), "tried too often") {
			guesser.keep("journey-guesser")
			return
		}
		guesser.sees("do not go together")
	}
	t.Errorf("%d guesses in a row are answered", most)
}

// The connection goes while a page is open; what happened meanwhile is told
// when it is back.
func TestFeedComesBackAfterALostConnection(t *testing.T) {
	y := freshYard(t)
	p := sit(t, y, phone, yardStaff)
	p.open("/stock/B0208")
	p.loseConnection(true)
	s := y.scene(t)
	_, err := s.Stock.QuarantineBatch(s.Context("Nettie Underbloom"), &stockv1.QuarantineBatchRequest{
		Yard: s.Yard, RequestId: s.Request(), BatchId: "B0208", Reason: "honeycombs at the heads", QuarantinedBy: "Nettie Underbloom",
	})
	s.Must(err, "stop a batch")
	p.seesNot("Something has happened to this batch.")
	p.loseConnection(false)
	p.sees("Something has happened to this batch.")
	p.follow("Show it")
	p.sees("Quarantine", "honeycombs at the heads")
}
