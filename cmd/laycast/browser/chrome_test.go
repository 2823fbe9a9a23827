package browser

import (
	"context"
	"encoding/json"
	"fmt"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// tab is one tab of a browser, with a profile of its own: nobody is signed in.
type tab struct {
	t        testing.TB
	ctx      context.Context
	keyboard bool // what is pressed is reached by Tab and pressed by a key
}

// openTab starts a browser, or skips where there is none.
func openTab(t testing.TB) *tab {
	t.Helper()
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			program = p
			break
		}
	}
	if program == "" {
		t.Skip("there is no browser: install the package named chromium (testdata/need.sh does where it may)")
	}
	// no folder of the test for its profile: the browser still writes there as the test ends
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(program), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun}
	for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync", "hide-scrollbars", "disable-dev-shm-usage"} {
		options = append(options, chromedp.Flag(flag, true))
	}
	options = append(options, chromedp.WSURLReadTimeout(time.Minute))
	ctx, end := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(end)
	ctx, end = chromedp.NewContext(ctx)
	t.Cleanup(end)
	b := &tab{t: t, ctx: ctx}
	if err := chromedp.Run(ctx); err != nil { // the browser lives as long as its first context
		t.Fatalf("start %s: %v", program, err)
	}
	b.screen(1280, false)
	return b
}

// do runs actions, for half a minute at most.
func (b *tab) do(what string, actions ...chromedp.Action) {
	b.t.Helper()
	ctx, end := context.WithTimeout(b.ctx, 30*time.Second)
	defer end()
	if err := chromedp.Run(ctx, actions...); err != nil {
		b.t.Fatalf("%s: %v\non the page\n%s", what, err, b.text())
	}
}

// screen sets how wide the window is, and whether it is dark.
func (b *tab) screen(width int64, dark bool) {
	b.t.Helper()
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	b.do("set the screen", emulation.SetDeviceMetricsOverride(width, 844, 1, width < 500),
		emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}))
}

// scriptsOff keeps pages from running scripts; the tests' own questions still are
// answered.
func (b *tab) scriptsOff() {
	b.t.Helper()
	b.do("switch scripts off", emulation.SetScriptExecutionDisabled(true))
}

// open goes to an address.
func (b *tab) open(url string) {
	b.t.Helper()
	b.do("open "+url, chromedp.Navigate(url))
}

// text gives what the page shows.
func (b *tab) text() string {
	var s string
	ctx, end := context.WithTimeout(b.ctx, 10*time.Second)
	defer end()
	if err := chromedp.Run(ctx, chromedp.Evaluate(`document.title + "\n" + document.body.innerText`, &s)); err != nil {
		return "(" + err.Error() + ")"
	}
	return s
}

// wants fails unless the page shows each of the words.
func (b *tab) wants(words ...string) {
	b.t.Helper()
	text := b.text()
	for _, w := range words {
		if !strings.Contains(text, w) {
			b.t.Fatalf("the page does not show %q:\n%s", w, text)
		}
	}
}

// has reports whether the page has an element.
func (b *tab) has(xpath string) bool {
	b.t.Helper()
	var yes bool
	b.do("look for "+xpath, chromedp.Evaluate(find(xpath)+" !== null", &yes))
	return yes
}

// find is the script that gives the first element of an XPath.
func find(xpath string) string {
	quoted, err := json.Marshal(xpath)
	if err != nil {
		panic(err) // a string always marshals
	}
	return fmt.Sprintf("document.evaluate(%s, document, null, XPathResult.FIRST_ORDERED_NODE_TYPE, null).singleNodeValue", quoted)
}

// press presses a control, by mouse or key, on the page as it is.
func (b *tab) press(xpath string) {
	b.t.Helper()
	b.do("press "+xpath, b.pressing(xpath))
}

// follow presses a control that leads to another page, and waits for that.
func (b *tab) follow(xpath string) {
	b.t.Helper()
	b.answered(xpath, 200)
}

// answered presses a control that is answered by a page of this status.
func (b *tab) answered(xpath string, status int64) {
	b.t.Helper()
	action := b.pressing(xpath)
	ctx, end := context.WithTimeout(b.ctx, 30*time.Second)
	defer end()
	r, err := chromedp.RunResponse(ctx, action)
	if err != nil {
		b.t.Fatalf("follow %s: %v\non the page\n%s", xpath, err, b.text())
	}
	if r == nil || r.Status != status {
		b.t.Fatalf("follow %s: answered %+v\n%s", xpath, r, b.text())
	}
}

func (b *tab) pressing(xpath string) chromedp.Action {
	b.t.Helper()
	if !b.keyboard {
		return chromedp.Click(xpath, chromedp.BySearch, chromedp.NodeVisible)
	}
	b.reach(xpath)
	return chromedp.KeyEvent(kb.Enter)
}

// write puts text into a field.
func (b *tab) write(xpath, text string) {
	b.t.Helper()
	if !b.keyboard {
		b.do("write into "+xpath, chromedp.SendKeys(xpath, text, chromedp.BySearch, chromedp.NodeVisible))
		return
	}
	b.reach(xpath)
	b.do("write", chromedp.KeyEvent(text))
}

// reach goes to an element by Tab alone, and fails where its focus cannot be seen.
func (b *tab) reach(xpath string) {
	b.t.Helper()
	const most = 400 // steps: the longest page has some 150 controls
	for range most {
		var there bool
		b.do("look where the focus is", chromedp.Evaluate("document.activeElement !== null && document.activeElement === "+find(xpath), &there))
		if there {
			var outline string
			b.do("look at the focus", chromedp.Evaluate("getComputedStyle(document.activeElement).outlineStyle", &outline))
			if outline == "none" {
				b.t.Errorf("the focus on %s cannot be seen", xpath)
			}
			return
		}
		b.do("press Tab", chromedp.ActionFunc(func(ctx context.Context) error {
			for _, kind := range []input.KeyType{input.KeyDown, input.KeyUp} {
				if err := input.DispatchKeyEvent(kind).WithKey("Tab").WithCode("Tab").WithWindowsVirtualKeyCode(9).Do(ctx); err != nil {
					return err
				}
			}
			return nil
		}))
	}
	b.t.Fatalf("%s is not reached by %d presses of Tab on the page\n%s", xpath, most, b.text())
}

// attribute gives an attribute of an element.
func (b *tab) attribute(xpath, name string) string {
	b.t.Helper()
	var s string
	b.do("look at "+xpath, chromedp.Evaluate(fmt.Sprintf("%s?.getAttribute(%q) ?? ''", find(xpath), name), &s))
	return s
}

// number gives what a script comes to.
func (b *tab) number(script string) float64 {
	b.t.Helper()
	var n float64
	b.do("ask "+script, chromedp.Evaluate(script, &n))
	return n
}
