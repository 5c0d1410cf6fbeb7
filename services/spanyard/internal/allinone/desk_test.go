package allinone_test

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	stockeventv1 "spanyard.example/proto/gen/spanyard/stock/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/desk/accounts"
	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/rpc"
	"spanyard.example/services/spanyard/internal/allinone"
)

// browser keeps cookies and follows redirections, as browsers do.
type browser struct {
	t    *testing.T
	base string
	http *http.Client
}

// answer of the desk.
type answer struct {
	status int
	header http.Header
	text   string
	path   string
}

func newBrowser(t *testing.T, h *allinone.House) *browser {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(h.DeskAddress())
	if err != nil {
		t.Fatal(err)
	}
	transport := &http.Transport{}
	t.Cleanup(transport.CloseIdleConnections)
	return &browser{t: t, base: "http://" + u.Host, http: &http.Client{Jar: jar, Timeout: 30 * time.Second, Transport: transport}}
}

func (b *browser) do(method, path string, form url.Values, header ...string) answer {
	b.t.Helper()
	address := path
	if strings.HasPrefix(path, "/") {
		address = b.base + path
	}
	req, err := http.NewRequestWithContext(b.t.Context(), method, address, strings.NewReader(form.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	resp, err := b.http.Do(req)
	if err != nil {
		b.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return answer{resp.StatusCode, resp.Header, string(body), resp.Request.URL.Path}
}

func (b *browser) get(path string) answer { b.t.Helper(); return b.do(http.MethodGet, path, nil) }

var formToken = regexp.MustCompile(`name="form_token" value="([0-9a-f]+)"`)

// post sends a form as the page at from has it.
func (b *browser) post(from, path string, fields ...string) answer {
	b.t.Helper()
	form := url.Values{"request_id": {"request-" + path}}
	if m := formToken.FindStringSubmatch(b.get(from).text); m != nil {
		form.Set("form_token", m[1])
	}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Set(fields[i], fields[i+1])
	}
	return b.do(http.MethodPost, path, form)
}

var (
	rosamund = auth.Person{Name: "Rosamund Tickpenny", Roles: []auth.Role{auth.Dispatcher}}
	nettie   = auth.Person{Name: "Nettie Underbloom", Roles: []auth.Role{auth.Laboratory}}
)

// withDesk starts a house with a desk, and a batch of beams that is old enough.
func withDesk(t *testing.T, people ...auth.Person) (*allinone.House, string) {
	t.Helper()
	o := options(t, t.TempDir())
	o.Desk = &allinone.Desk{Listen: "127.0.0.1:0", Yard: "y1", Demo: people}
	h, err := allinone.Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(h.Stop)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	if err := h.Ready(ctx); err != nil {
		t.Fatal(err)
	}
	return h, o.Data
}

// fill takes a batch of beams into the yard.
func fill(t *testing.T, h *allinone.House) {
	t.Helper()
	conn, err := rpc.Dial(h.Address())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	c := stockv1.NewStockServiceClient(conn)
	ctx := rpc.AsActor(t.Context(), "Pim Quillbottle")
	if _, err := c.SetYardRules(ctx, &stockv1.SetYardRulesRequest{Yard: "y1", RequestId: "r1", TimeZone: "Etc/UTC", BeamMinAgeDays: 14, BlockMinAgeDays: 28, BeamsPerStackTier: 6}); err != nil {
		t.Fatal(err)
	}
	received, err := c.ReceiveBatch(ctx, &stockv1.ReceiveBatchRequest{
		Yard: "y1", RequestId: "r2", BatchId: "B1", MadeOn: "2027-02-01", Concrete: &stockeventv1.Concrete{FckCylinderMpa: 40, FckCubeMpa: 50},
		Pieces: &stockv1.ReceiveBatchRequest_Beams{Beams: &stockv1.BeamLines{Profile: "T150", WirePattern: "p4", Lines: []*stockv1.BeamLine{
			{LengthMm: 3600, Count: 6, MassGEach: 115000, StackId: "A-01"},
		}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	// Pages read the view, which comes a moment later.
	if _, err := c.GetBatch(ctx, &stockv1.GetBatchRequest{Yard: "y1", BatchId: "B1", AtLeast: received.GetPosition()}); err != nil {
		t.Fatal(err)
	}
}

func want(t *testing.T, what string, a answer, status int, words ...string) {
	t.Helper()
	if a.status != status {
		t.Errorf("%s: status %d, want %d", what, a.status, status)
	}
	for _, w := range words {
		if !strings.Contains(a.text, w) {
			t.Errorf("%s: the page does not say %q:\n%s", what, w, a.text)
		}
	}
}

func TestDeskSaysWhatToDoFirstInAnEmptyYard(t *testing.T) {
	h, _ := withDesk(t, rosamund)
	b := newBrowser(t, h)
	want(t, "the printed address", b.get(h.DeskAddress()), http.StatusOK, "Rosamund Tickpenny", "This yard is empty")
	want(t, "stock", b.get("/stock"), http.StatusOK, "There is nothing in the yard yet")
	want(t, "what is free", b.get("/available"), http.StatusOK, "There is nothing in the yard yet")
	want(t, "a search", b.get("/find?q=B0205"), http.StatusOK, "Nothing was found")
	want(t, "an unknown batch", b.get("/stock/B9"), http.StatusNotFound, "Not done.")
	want(t, "an unknown page", b.get("/nothing"), http.StatusNotFound, "There is no such page.")
	want(t, "an empty morning", b.get("/morning"), http.StatusOK, "Nothing is called off for this day")
	want(t, "a plan that is not there", b.get("/morning?plan=2027-03-17-P9"), http.StatusNotFound, "Not done.")
}

func TestDeskShowsNothingToStrangers(t *testing.T) {
	h, _ := withDesk(t, rosamund)
	fill(t, h)
	b := newBrowser(t, h)
	for _, path := range []string{"/", "/stock", "/stock/B1", "/available", "/find?q=B1", "/piece/B1-001", "/stack/A-01", "/stock/B1/recall", "/live/stock"} {
		if a := b.get(path); a.path != "/sign-in" || strings.Contains(a.text, "T150") {
			t.Errorf("%s shows a stranger %s", path, a.path)
		}
	}
	want(t, "a wrong key", b.get("/enter?key=wrong"), http.StatusForbidden, "belongs to an earlier start")
	if a := b.do(http.MethodPost, "/take", url.Values{"name": {"Rosamund Tickpenny"}}); a.path != "/sign-in" {
		t.Errorf("a stranger took a place: %s", a.path)
	}
	head := b.get("/sign-in").header
	csp := head.Get("Content-Security-Policy")
	if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || head.Get("X-Content-Type-Options") != "nosniff" || head.Get("Cache-Control") != "no-store" {
		t.Errorf("the headers are %v", head)
	}
}

// The services decide: a dispatcher's form for a release is refused by stock,
// whatever the desk shows.
func TestDeskActsInThePersonsNameAndRole(t *testing.T) {
	h, _ := withDesk(t, rosamund, nettie)
	fill(t, h)
	b := newBrowser(t, h)
	page := b.get(h.DeskAddress() + "&to=/stock/B1")
	want(t, "the batch", page, http.StatusOK, "Curing", "T150/p4", "No results yet")
	if strings.Contains(page.text, "/stock/B1/release") || strings.Contains(page.text, "style=") || strings.Contains(page.text, "<script>") {
		t.Error("the dispatcher's page has what does not belong there")
	}
	want(t, "a release by the dispatcher", b.post("/stock/B1", "/stock/B1/release"), http.StatusForbidden, "That is for the laboratory contact.")
	want(t, "another place", b.post("/stock/B1", "/take", "name", "Nettie Underbloom"), http.StatusOK, "You sit here as Nettie Underbloom, laboratory contact.")
	want(t, "a release without results", b.post("/stock/B1", "/stock/B1/release"), http.StatusConflict, "Not done.")
	results := []string{"test_id", "L-1", "laboratory", "Greystone Laboratory", "tested_on", "2027-02-15", "specimen", "SPECIMEN_KIND_CYLINDER"}
	want(t, "no numbers", b.post("/stock/B1", "/stock/B1/results", append(results, "strengths", "fifty")...), http.StatusUnprocessableEntity, "is no number", "Greystone Laboratory")
	want(t, "results", b.post("/stock/B1", "/stock/B1/results", append(results, "strengths", "50,5 51.0; 52", "request_id", "t1")...), http.StatusOK, "Results entered. Conforms")
	want(t, "the release", b.post("/stock/B1", "/stock/B1/release", "request_id", "t2"), http.StatusOK, "Batch B1 is released by Nettie Underbloom, 43 days old.")
	want(t, "the history", b.get("/piece/B1-001"), http.StatusOK, "Nettie Underbloom")
	want(t, "a quarantine", b.post("/stock/B1", "/stock/B1/quarantine", "reason", "cracked at the heads", "request_id", "t3"), http.StatusOK, "Batch B1 is stopped.")
	want(t, "the recall", b.get("/stock/B1/recall"), http.StatusOK, "A-01", "To print (PDF)")
	if a := b.get("/stock/B1/recall/pdf"); a.status != http.StatusOK || !strings.HasPrefix(a.text, "%PDF") {
		t.Errorf("the recall's paper: %d", a.status)
	}
}

func TestDeskTakesNoFormsFromElsewhere(t *testing.T) {
	h, _ := withDesk(t, rosamund)
	fill(t, h)
	b := newBrowser(t, h)
	b.get(h.DeskAddress())
	form := url.Values{"reason": {"mischief"}, "request_id": {"x"}}
	want(t, "a form without its token", b.do(http.MethodPost, "/stock/B1/quarantine", form), http.StatusForbidden, "earlier sign-in")
	form.Set("form_token", formToken.FindStringSubmatch(b.get("/stock/B1").text)[1])
	if a := b.do(http.MethodPost, "/stock/B1/quarantine", form, "Sec-Fetch-Site", "cross-site"); a.status != http.StatusForbidden {
		t.Errorf("a form of another site: %d", a.status)
	}
	if a := b.do(http.MethodPost, "/stock/B1/quarantine", form, "Origin", "https://elsewhere.example"); a.status != http.StatusForbidden {
		t.Errorf("a form of another origin: %d", a.status)
	}
	form.Set("reason", strings.Repeat("x", 2<<20))
	if a := b.do(http.MethodPost, "/stock/B1/quarantine", form); a.status != http.StatusUnprocessableEntity {
		t.Errorf("a form of 2 MiB: %d", a.status)
	}
	want(t, "the batch", b.get("/stock/B1"), http.StatusOK, "Curing")
}

func TestDeskSignsInByAccountAndSlowsGuessers(t *testing.T) {
	h, data := withDesk(t)
	const password = "four words of stone"
	if err := accounts.Open(allinone.AccountsFile(data)).Put(nettie.Name, password, nettie.Roles); err != nil {
		t.Fatal(err)
	}
	b := newBrowser(t, h)
	want(t, "a stranger", b.post("/sign-in", "/sign-in", "name", nettie.Name, "password", "a guess of mine"), http.StatusForbidden, "do not go together")
	if a := b.post("/sign-in", "/sign-in", "name", nettie.Name, "password", password, "to", "//elsewhere.example"); a.path != "/" || !strings.Contains(a.text, nettie.Name) {
		t.Errorf("signed in to %s", a.path)
	}
	b.post("/", "/sign-out")
	if a := b.get("/stock"); a.path != "/sign-in" {
		t.Errorf("signed out, and at %s", a.path)
	}
	last := answer{}
	for range 12 {
		if last = b.post("/sign-in", "/sign-in", "name", nettie.Name, "password", "a guess of mine"); last.status == http.StatusTooManyRequests {
			break
		}
	}
	want(t, "the guesser", last, http.StatusTooManyRequests, "tried too often")
}

// The feed resumes after the position that the browser has seen.
func TestDeskFeedResumes(t *testing.T) {
	h, _ := withDesk(t, rosamund)
	fill(t, h)
	b := newBrowser(t, h)
	b.get(h.DeskAddress())
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, b.base+"/live/stock", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Last-Event-ID", "1")
	resp, err := b.http.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	for lines.Scan() {
		if id, ok := strings.CutPrefix(lines.Text(), "id: "); ok {
			if id != "2" {
				t.Errorf("the feed goes on at %s", id)
			}
			return
		}
	}
	t.Errorf("the feed ended: %v", lines.Err())
}

// A link opens its own drop and nothing else of the yard.
func TestDeskLinksForSites(t *testing.T) {
	h, _ := withDesk(t, rosamund, nettie)
	fill(t, h)
	b := newBrowser(t, h)
	b.get(h.DeskAddress())
	page := b.get("/site-link/2027-03-17-P1-R01/2")
	want(t, "the link's page", page, http.StatusOK, "opens drop 2 of run 2027-03-17-P1-R01")
	link := regexp.MustCompile(`/site/[^"]+`).FindString(page.text)
	b.post("/", "/take", "name", nettie.Name)
	want(t, "a link by another role", b.get("/site-link/2027-03-17-P1-R01/2"), http.StatusForbidden, "made by the dispatcher")

	site := newBrowser(t, h)
	want(t, "a spoiled link", site.get(link+"x"), http.StatusForbidden, "This link has run out or is not whole.")
	if a := site.get(link); a.path != "/drop" || strings.Contains(a.text, `href="/stock"`) {
		t.Errorf("the link led to %s: %s", a.path, a.text)
	}
	for _, path := range []string{"/", "/stock", "/stock/B1", "/find?q=B1", "/live/stock", "/site-link/2027-03-17-P1-R01/1"} {
		if a := site.get(path); a.path != "/sign-in" {
			t.Errorf("the link opens %s: %s", path, a.path)
		}
	}
	if a := site.post("/drop", "/take", "name", rosamund.Name); strings.Contains(a.text, "You sit here as") {
		t.Error("the link made its holder the dispatcher")
	}
	a := site.post("/drop", "/drop", "received_by", "Foreman Dobbleday")
	if a.status == http.StatusOK || a.status == http.StatusForbidden || !strings.Contains(a.text, "Not done.") {
		t.Errorf("a drop of a run that is not there: %d %s", a.status, a.text)
	}
}
