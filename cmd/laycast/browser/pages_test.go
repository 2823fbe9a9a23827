package browser

import (
	"context"
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

var screens = flag.String("screens", "", "make pictures of every page into this folder (make screens)")

// look is how the pages are looked at.
type look struct {
	name  string
	width int64
	dark  bool
}

// pages opens every page of the firm in every look and calls see for each with a
// name for it. It signs in once: more than some links an hour are refused.
func pages(t *testing.T, f *firm, b *tab, looks []look, see func(name string, l look)) {
	t.Helper()
	enter := f.link(t, "sign-in")
	outside := map[string]string{
		"front": f.base + "/", "sign-in-dead": f.base + "/sign-in/AAAAAAAAAAAAAAAAAAAAAAAAAA", "sign-in": enter,
		"crew": f.link(t, "new", "--crew", "plover"), "customer": f.link(t, "new", "--customer", "tobias.wren@mail.example"), "owner-link": f.link(t, "new", "--owner"),
	}
	inside := map[string]string{
		"week": "/week", "jobs": "/jobs", "job": "/job/SB-07", "why": "/job/SB-05/why", "job-new": "/jobs/new", "job-edit": "/job/SB-05/edit", "import": "/jobs/import",
		"crews": "/crews", "crew-edit": "/crews/edit?crew=heron", "crew-new": "/crews/edit", "log": "/log", "reliability": "/reliability",
		"settings": "/settings", "limits": "/settings/limits", "links": "/links",
	}
	for _, l := range looks {
		b.screen(l.width, l.dark)
		for name, address := range outside {
			b.open(address)
			see(name, l)
		}
	}
	b.open(enter)
	b.follow(`//button[.="Sign in"]`)
	for _, l := range looks {
		b.screen(l.width, l.dark)
		for name, path := range inside {
			b.open(f.base + path)
			see(name, l)
		}
		b.open(f.base + "/log")
		b.follow(`(//a[contains(@href, "/log/message/")])[1]`)
		see("message", l)
		b.open(f.base + "/job/SB-05/edit")
		b.write(`//input[contains(@name, "area")]`, "x")
		b.answered(`//form//button[starts-with(., "Save")]`, 422)
		see("job-edit-wrong", l)
	}
}

// unfold opens all that is folded up.
func (b *tab) unfold() {
	b.t.Helper()
	b.number(`document.querySelectorAll("details").forEach(d => d.open = true), 1`)
}

// axe gives the program of the accessibility checker, got from the package
// registry into a folder that goes again.
func axe(t *testing.T) string {
	t.Helper()
	npm, err := exec.LookPath("npm")
	if err != nil {
		t.Skip("there is no npm to get the checker axe-core with: install the package named npm")
	}
	dir := t.TempDir()
	ctx, end := context.WithTimeout(t.Context(), time.Minute)
	defer end()
	c := exec.CommandContext(ctx, npm, "install", "--no-audit", "--no-fund", "--no-save", "--ignore-scripts", "axe-core@4")
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil {
		t.Skipf("npm cannot get the checker axe-core (is there a network?): %v\n%s", err, out)
	}
	b, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// violation is what axe-core complains of.
type violation struct {
	ID, Help string
	Nodes    []struct {
		HTML           string
		FailureSummary string
	}
}

// TestPagesAreAccessible: axe-core finds no violation on any page, on a phone by
// day and on a desk by night, all that is folded up opened.
func TestPagesAreAccessible(t *testing.T) {
	f := openFirm(t)
	b := openTab(t)
	checker := axe(t)
	seen := 0
	pages(t, f, b, []look{{"390 light", 390, false}, {"1280 dark", 1280, true}}, func(name string, l look) {
		seen++
		b.unfold()
		for _, v := range b.violations(checker) {
			for _, n := range v.Nodes {
				t.Errorf("%s, %s: %s (%s)\n  %s\n  %s", name, l.name, v.Help, v.ID, n.HTML, strings.ReplaceAll(n.FailureSummary, "\n", "\n  "))
			}
		}
		b.noSideways(name)
	})
	t.Logf("%d pages", seen)
}

// awaited has a script's promise waited for.
func awaited(p *runtime.EvaluateParams) *runtime.EvaluateParams {
	return p.WithAwaitPromise(true).WithReturnByValue(true)
}

// violations asks the checker about the page.
func (b *tab) violations(checker string) []violation {
	b.t.Helper()
	var got string
	b.do("bring the checker", chromedp.Evaluate(checker+"; 1", nil))
	b.do("check the page", chromedp.Evaluate(`axe.run(document, {resultTypes: ["violations"], preload: false}).then(r => JSON.stringify({passes: r.passes.length, violations: r.violations}))`, &got, awaited))
	var r struct {
		Passes     int
		Violations []violation
	}
	if err := json.Unmarshal([]byte(got), &r); err != nil || r.Passes == 0 {
		b.t.Fatalf("the checker checked nothing: %v in %.200s", err, got)
	}
	return r.Violations
}

// TestScreens makes pictures of every page into the folder -screens, for a person
// to look at.
func TestScreens(t *testing.T) {
	if *screens == "" {
		t.Skip("makes pictures to look at: run make screens")
	}
	f := openFirm(t)
	mails, err := f.mails()
	if err != nil {
		t.Fatal(err)
	}
	b := openTab(t)
	looks := []look{{"390-light", 390, false}, {"390-dark", 390, true}, {"1280-light", 1280, false}, {"1280-dark", 1280, true}}
	take := func(name string, l look) { b.picture(filepath.Join(*screens, name+"-"+l.name+".png")) }
	pages(t, f, b, looks, take)
	for _, l := range looks {
		b.screen(l.width, l.dark)
		b.open(mails + "/mail")
		take("mails", l)
		b.follow(`(//main//a[contains(@href, "/mail/")])[1]`)
		take("mail", l)
	}
}

// picture keeps the whole page as a picture.
func (b *tab) picture(path string) {
	b.t.Helper()
	const tallest = 8000 // px: more cannot be looked at
	width, height := b.number("innerWidth"), min(b.number("document.documentElement.scrollHeight"), tallest)
	b.do("take a picture", chromedp.ActionFunc(func(ctx context.Context) error {
		shot, err := page.CaptureScreenshot().WithCaptureBeyondViewport(true).WithClip(&page.Viewport{
			Width: width, Height: height, Scale: 1}).Do(ctx)
		if err != nil {
			return err
		}
		return os.WriteFile(path, shot, 0o644)
	}))
}
