package browser

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"spanyard.example/integration/internal/await"
)

// screen that a person sits at.
type screen struct {
	name          string
	width, height int64
	touch         bool
}

// The two sizes at which every page is looked at.
var (
	desktop = screen{name: "desktop", width: 1280, height: 900}
	phone   = screen{name: "phone", width: 390, height: 844, touch: true}
)

// The demo's roles, as pages name them.
const (
	dispatcher    = "dispatcher"
	yardStaff     = "yard staff"
	laboratory    = "laboratory contact"
	drawingOffice = "drawing office"
)

// person is somebody in front of a browser.
type person struct {
	t      *testing.T
	ctx    context.Context
	base   string
	screen screen
}

// stranger opens a browser that nobody has signed in with.
func stranger(t *testing.T, y *yard, s screen) *person {
	t.Helper()
	ctx, stop := chromedp.NewContext(chromium, chromedp.WithNewBrowserContext())
	t.Cleanup(stop)
	p := &person{t: t, ctx: ctx, base: y.base, screen: s}
	var options []chromedp.EmulateViewportOption
	if s.touch {
		options = append(options, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	// The browser's life is bound to the first context that is used.
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(s.width, s.height, options...)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if t.Failed() {
			p.keep(picture(t.Name() + " failed"))
		}
	})
	return p
}

// sit lets a person of a role in by the printed address.
func sit(t *testing.T, y *yard, s screen, role string) *person {
	t.Helper()
	p := stranger(t, y, s)
	p.open(y.entry)
	if role != dispatcher {
		p.click("Rosamund Tickpenny")
		p.follow(", " + role)
	}
	return p
}

// do fails the test when a step is not done soon.
func (p *person) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.t.Fatalf("%s: %v\nthe page says:\n%s", what, err, p.text())
	}
}

// ask evaluates a script that the test, not the page, brings along.
func ask[T any](p *person, script string) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	answer, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("ask the page: %v", err)
	}
	return answer
}

// open goes to a path of the desk, or to an address.
func (p *person) open(path string) {
	p.t.Helper()
	if strings.HasPrefix(path, "/") {
		path = p.base + path
	}
	p.do("open "+path, chromedp.Navigate(path))
}

// named finds what a person sees or hears as a name: the words on a link or a
// button, or the label of a field. It prefers the whole name to a part of it.
const named = `(name) => {
  const words = (e) => (e.getAttribute("aria-label") || e.innerText || e.value || "").replace(/\s+/g, " ").trim();
  const seen = (e) => e.getClientRects().length > 0;
  const all = [...document.querySelectorAll("a[href], button, summary, [role=button], [role=tab]")].filter(seen);
  for (const l of document.querySelectorAll("label")) {
    const field = l.control;
    if (field && seen(field)) all.push({ field, label: l });
  }
  const of = (e) => e.label ? e.label.innerText.replace(/\s+/g, " ").trim() : words(e);
  const found = all.find((e) => of(e) === name) || all.find((e) => of(e).includes(name));
  return found && (found.field || found);
}`

// find returns a lookup by name.
func find(name string) chromedp.JSPath {
	return chromedp.JSPath(fmt.Sprintf("(%s)(%s)", named, strconv.QuoteToASCII(name)))
}

// replaced is what the browser says of something that a live page made anew while
// it was being found: nothing was pressed.
const replaced = "Could not find node"

// click presses what has a name, as a person does who looks again when the page
// has changed meanwhile.
func (p *person) click(name string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	err := chromedp.Do(ctx, chromedp.Click(find(name)))
	for err != nil && strings.Contains(err.Error(), replaced) {
		err = chromedp.Do(ctx, chromedp.Click(find(name)))
	}
	if err != nil {
		p.t.Fatalf("click %q: %v\nthe page says:\n%s", name, err, p.text())
	}
}

// follow presses what has a name and waits for the page that it leads to.
func (p *person) follow(name string) {
	p.t.Helper()
	p.leads(fmt.Sprintf("follow %q", name), chromedp.Click(find(name)))
}

// leads does something and waits for the page that it leads to.
func (p *person) leads(what string, step chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	if _, err := chromedp.RunResponse(ctx, step); err != nil {
		p.t.Fatalf("%s: %v\nthe page says:\n%s", what, err, p.text())
	}
}

// fill types into the field with a label, in place of what stands there.
func (p *person) fill(label, text string) {
	p.t.Helper()
	p.do(fmt.Sprintf("fill in %q", label), chromedp.Click(find(label)), chromedp.KeyEvent("a", chromedp.KeyModifiers(chromedp.ModifierCtrl)), chromedp.KeyEvent(text))
}

// setDate fills in a field for a day, whose keys depend on the browser's
// language.
func (p *person) setDate(label, day string) {
	p.t.Helper()
	p.do(fmt.Sprintf("set %q", label), chromedp.SetValue(find(label), day))
}

// press sends keys to whatever has the focus.
func (p *person) press(keys ...string) {
	p.t.Helper()
	p.do(fmt.Sprintf("press %q", keys), chromedp.KeyEvent(strings.Join(keys, "")))
}

// shortcut presses one key of a page's own: unlike press, it types nothing
// where the page takes the key for itself.
func (p *person) shortcut(key string) {
	p.t.Helper()
	p.do(fmt.Sprintf("press the shortcut %q", key), chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		if _, err := chromedp.Call(ctx, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyDown, Key: key, Text: key}); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyUp, Key: key})
		return err
	}))
}

// tabTo presses the tabulator until what has a name has the focus, as somebody
// without a mouse does, and sees that the focus is shown.
func (p *person) tabTo(name string) {
	p.t.Helper()
	const most = 80
	for range most {
		p.press(kb.Tab)
		if ask[bool](p, string(find(name))+` === document.activeElement`) {
			if !ask[bool](p, `getComputedStyle(document.activeElement).outlineStyle !== "none"`) {
				p.t.Errorf("%q has the focus and does not show it", name)
			}
			return
		}
	}
	p.t.Fatalf("%d tabs do not lead to %q\nthe page says:\n%s", most, name, p.text())
}

// sees waits until the page says all of it.
func (p *person) sees(words ...string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	err := await.Until(ctx, "words on the page", func(ctx context.Context) error {
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string](innerText))
		if err != nil {
			return err // between two pages
		}
		var missing []error
		for _, w := range words {
			if !says(text, w) {
				missing = append(missing, fmt.Errorf("it does not say %q", w))
			}
		}
		return errors.Join(missing...)
	})
	if err != nil {
		p.t.Fatalf("%v\nthe page at %s says:\n%s", err, p.path(), p.text())
	}
}

// awaits a script of the test to say that something is so.
func (p *person) awaits(what, script string) {
	p.t.Helper()
	await.For(p.t, soon, what, func(context.Context) error {
		if !ask[bool](p, script) {
			return errors.New("not yet")
		}
		return nil
	})
}

// seesNot fails when the page says any of it now.
func (p *person) seesNot(words ...string) {
	p.t.Helper()
	text := p.text()
	for _, w := range words {
		if says(text, w) {
			p.t.Errorf("the page says %q:\n%s", w, text)
		}
	}
}

// says reports whether a page has words, in whatever case they are shown.
func says(text, words string) bool {
	return strings.Contains(strings.ToLower(text), strings.ToLower(words))
}

// innerText is what a page says, on one line for each line.
const innerText = `document.body ? document.body.innerText.replace(/[\u00a0 ]+/g, " ") : ""`

// maxText of a page that is told when a test fails.
const maxText = 3000

// text of the page, or its beginning; empty when there is none.
func (p *person) text() string {
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](innerText))
	if err != nil {
		return ""
	}
	return text[:min(len(text), maxText)]
}

// path of the page.
func (p *person) path() string {
	p.t.Helper()
	return ask[string](p, "location.pathname")
}

// loseConnection cuts the browser off, or gives it its connection back.
func (p *person) loseConnection(lost bool) {
	p.t.Helper()
	p.do("cut the connection", chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		if _, err := chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
			MatchedNetworkConditions: []*network.Conditions{{Offline: lost, DownloadThroughput: -1, UploadThroughput: -1}},
		}); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: lost, DownloadThroughput: -1, UploadThroughput: -1})
		return err
	}))
}

// keep a picture of the whole page, and fail when the page is wider than the
// screen: nobody finds what lies beside it.
func (p *person) keep(name string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, soon)
	defer cancel()
	image, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(pictures, fmt.Sprintf("%s.%s.png", name, p.screen.name)), image, 0o644)
	}
	if err != nil {
		p.t.Errorf("keep a picture of %s: %v", name, err)
		return
	}
	if wide := ask[int64](p, "document.documentElement.scrollWidth"); wide > p.screen.width {
		p.t.Errorf("%s is %d px wide on a screen of %d", name, wide, p.screen.width)
	}
}

// picture is a file's name for something.
func picture(name string) string {
	return strings.Map(func(r rune) rune {
		if r == '/' || r == ' ' {
			return '-'
		}
		return r
	}, strings.Trim(name, "/ "))
}
