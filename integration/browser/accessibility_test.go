package browser

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"spanyard.example/integration/internal/scene"
)

// place is a page of the desk, and who looks at it.
type place struct{ name, path, role string }

// places are all pages as they are with a day under way.
func places(d *day) []place {
	beam := d.delivered.GetPicks()[0]
	run := d.onTheRoad.GetRunId()
	return []place{
		{name: "today", path: "/", role: dispatcher},
		{name: "morning", path: "/morning", role: dispatcher},
		{name: "morning-run", path: "/morning?plan=" + scene.Day + "-P1&run=" + run, role: dispatcher},
		{name: "morning-none", path: "/morning?day=2027-04-01", role: dispatcher},
		{name: "morning-why", path: "/morning/explain?plan=" + scene.Day + "-P1&run=" + run, role: dispatcher},
		{name: "stock", path: "/stock", role: dispatcher},
		{name: "stock-none", path: "/stock?state=nothing", role: dispatcher},
		{name: "batch-stopped", path: "/stock/B0222", role: laboratory},
		{name: "batch-curing", path: "/stock/B0308", role: laboratory},
		{name: "batch-of-blocks", path: "/stock/K0203", role: dispatcher},
		{name: "recall", path: "/stock/" + beam.GetBatchId() + "/recall", role: dispatcher},
		{name: "available", path: "/available?day=2027-03-18", role: dispatcher},
		{name: "stack", path: "/stack/" + d.confirmed.GetPicks()[0].GetStackId(), role: yardStaff},
		{name: "yard", path: "/yard?day=" + scene.Day, role: yardStaff},
		{name: "yard-empty", path: "/yard?day=2027-03-20", role: yardStaff},
		{name: "yard-run", path: "/yard/run/" + scene.Day + "/" + d.confirmed.GetRunId(), role: yardStaff},
		{name: "yard-run-seen", path: "/yard/run/" + scene.Day + "/" + d.confirmed.GetRunId(), role: dispatcher},
		{name: "yard-run-left", path: "/yard/run/" + scene.Day + "/" + run, role: yardStaff},
		{name: "put-away", path: "/yard/put-away/B0219", role: yardStaff},
		{name: "put-away-nothing", path: "/yard/put-away/B0301", role: yardStaff},
		{name: "piece", path: "/piece/" + beam.GetPieceId(), role: drawingOffice},
		{name: "piece-at-site", path: "/piece/" + beam.GetPieceId() + "?reason=cracked", role: yardStaff},
		{name: "floors", path: "/floors", role: drawingOffice},
		{name: "floors-none", path: "/floors?text=nothing+like+it", role: drawingOffice},
		{name: "floors-new", path: "/floors/new", role: drawingOffice},
		{name: "floor", path: "/floors/J101/1", role: drawingOffice},
		{name: "floor-seen", path: "/floors/J101/1", role: dispatcher},
		{name: "floor-open", path: "/floors/J110/1", role: drawingOffice},
		{name: "floor-compare", path: "/floors/J101/1/compare", role: drawingOffice},
		{name: "room", path: "/floors/J101/1/room/01", role: drawingOffice},
		{name: "room-not-laid", path: "/floors/J110/1/room/01", role: drawingOffice},
		{name: "found", path: "/find?q=J101", role: dispatcher},
		{name: "not-found", path: "/find?q=nothing+like+it", role: dispatcher},
		{name: "no-such-page", path: "/nothing", role: dispatcher},
		{name: "site-link", path: "/site-link/" + run + "/1", role: dispatcher},
	}
}

// finding is a rule that a page breaks, and where.
type finding struct {
	ID, Help string
	Nodes    []struct{ HTML, Summary string }
}

// findings of axe-core on the page, by the rules of WCAG 2.2 up to AA and by
// what it calls good practice.
func (p *person) findings() []finding {
	p.t.Helper()
	quoted, err := json.Marshal(axe)
	if err != nil {
		p.t.Fatal(err)
	}
	return ask[[]finding](p, fmt.Sprintf(`(async () => {
	  if (!window.axe) (0, eval)(%s);
	  const rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
	  const said = await axe.run(document, { runOnly: rules, resultTypes: ["violations"], preload: false });
	  return said.violations.map((v) => ({ ID: v.id, Help: v.help, Nodes: v.nodes.map((n) => ({ HTML: n.html, Summary: n.failureSummary })) }));
	})()`, quoted))
}

// check fails the test for every rule that the page breaks.
func (p *person) check(name string) {
	p.t.Helper()
	for _, f := range p.findings() {
		var where strings.Builder
		for _, n := range f.Nodes {
			fmt.Fprintf(&where, "\n  %s\n    %s", n.HTML, strings.ReplaceAll(n.Summary, "\n", "\n    "))
		}
		p.t.Errorf("%s on the %s: %s (%s)%s", name, p.screen.name, f.Help, f.ID, where.String())
	}
}

// Every page, at both sizes: no rule of WCAG 2.2 AA that a machine can check is
// broken, and nothing lies beside the screen.
func TestAccessibility(t *testing.T) {
	d := underWay(t)
	for _, s := range []screen{desktop, phone} {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			guest := stranger(t, d.yard, s)
			guest.open("/sign-in")
			guest.keep("sign-in")
			guest.check("sign-in")
			seats := map[string]*person{}
			for _, at := range places(d) {
				p := seats[at.role]
				if p == nil {
					p = sit(t, d.yard, s, at.role)
					seats[at.role] = p
				}
				p.open(at.path)
				p.keep(at.name)
				p.check(at.name)
			}
			p := seats[dispatcher]
			p.open("/")
			p.click("Rosamund Tickpenny")
			p.sees("Sign out")
			p.keep("who")
			p.check("who")
		})
	}
}

// The checker sees what is wrong, so that its silence means something.
func TestCheckerFindsWhatIsWrong(t *testing.T) {
	p := stranger(t, underWay(t).yard, desktop)
	p.open("/sign-in")
	ask[bool](p, `document.querySelector("main").insertAdjacentHTML("beforeend", "<img src='/static/beam.svg'><input>") || true`)
	var found []string
	for _, f := range p.findings() {
		found = append(found, f.ID)
	}
	if !slices.Contains(found, "image-alt") || !slices.Contains(found, "label") {
		t.Errorf("of an image and a field without names it finds %v", found)
	}
}
