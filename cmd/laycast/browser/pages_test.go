package browser

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
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
// name for it; looked says which address each is of. It signs in once: more than some
// links an hour are refused.
func pages(t *testing.T, f *firm, b *tab, looks []look, see func(name string, l look)) {
	t.Helper()
	enter, demo := f.link(t, "sign-in"), f.mails(t)
	outside := map[string]string{
		"front": f.base + "/", "sign-in-dead": f.base + "/sign-in/AAAAAAAAAAAAAAAAAAAAAAAAAA", "sign-in": enter,
		"crew": f.link(t, "new", "--crew", "plover"), "customer": f.link(t, "new", "--customer", "tobias.wren@mail.example"), "owner-link": f.link(t, "new", "--owner"),
		"stop": f.mailed(t, "/n/"), "other-day": f.otherDay(t, b),
		"home": demo + "/", "mails": demo + "/mail",
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
		b.open(demo + "/mail")
		b.follow(`(//main//a[contains(@href, "/mail/")])[1]`)
		see("mail", l)
	}
	b.open(enter)
	b.follow(`//button[.="Sign in"]`)
	inside["record"], inside["record-none"] = f.recorded(t, b)
	approve := f.mailed(t, "/y/")
	b.open(f.base + "/week")
	b.awaitMove(approve)
	for _, l := range looks {
		b.screen(l.width, l.dark)
		for name, path := range inside {
			b.open(f.base + path)
			see(name, l)
		}
		b.open(approve)
		see("approve", l)
		b.open(f.base + "/log")
		b.follow(`(//a[contains(@href, "/log/message/")])[1]`)
		see("message", l)
		f.refusals(t, b, func(name string) { see(name, l) })
	}
}

// awaitMove, on the week page, forbids the day of a planned visit and waits until the
// plan has a new date that waits for the owner's yes. After other tests it may have
// none; then the page says so.
func (b *tab) awaitMove(approve string) {
	b.t.Helper()
	planned := `(//article[.//summary][contains(., "(SB-04)")])[1]` // its next day is another's told one
	if !b.has(planned) {
		planned = b.firstPlanned()
	}
	b.press(planned + `//summary`)
	b.follow(planned + `//button[@value="forbid"]`)
	ask := time.NewTicker(time.Second)
	defer ask.Stop()
	for patience := time.After(time.Minute); ; {
		b.open(approve)
		if b.has(`//button[starts-with(., "Yes, tell")]`) {
			return
		}
		select {
		case <-patience:
			b.t.Log("no new date waits for the owner's yes, so its page is looked at without one")
			return
		case <-ask.C:
		}
	}
}

// refusals opens the pages that say what is wrong with something sent.
func (f *firm) refusals(t *testing.T, b *tab, see func(name string)) {
	t.Helper()
	b.open(f.base + "/job/SB-05/edit")
	b.write(`//input[contains(@name, "area")]`, "x")
	b.submitWrong(`//form//button[starts-with(., "Save")]`)
	see("job-edit-wrong")
	b.open(f.base + "/job/SB-05/edit")
	b.write(`//input[@name="title"]`, ", mine")
	b.number(`document.querySelector("input[name=seen]").value = 999`)
	b.answered(`//form//button[starts-with(., "Save")]`, 409)
	b.wants("Somebody else changed this", "In the book now")
	see("job-edit-stale")
	b.open(f.base + "/settings")
	b.write(`//input[@name="times.call"]`, "x")
	b.write(`(//input[@name="costs.move.cost"])[2]`, "x")
	b.submitWrong(`//button[.="Save"]`)
	b.wants("Write a time of day such as 18:00", "for 4 days is not an amount")
	see("settings-wrong")
	for name, file := range map[string]string{"import-preview": filepath.Join("..", "demo", "saltbox.json"), "import-bad": f.write(t, "bad.csv", "id,title,roof.area_m2\nX-1,,much\n")} {
		full, err := filepath.Abs(file)
		if err != nil {
			t.Fatal(err)
		}
		b.open(f.base + "/jobs/import")
		b.do("choose a file", chromedp.SetUploadFiles(`//input[@type="file"]`, []string{full}, chromedp.BySearch))
		b.answered(`//button[.="Look at it"]`, map[string]int64{"import-preview": 200, "import-bad": 422}[name])
		see(name)
	}
	b.open(f.base + "/week")
	b.unfold()
	b.number(`document.querySelectorAll("input[name=reason]").forEach(x => x.value = " "), 1`)
	b.answered(`(//button[starts-with(., "Hold ")])[1]`, 400)
	see("refusal")
}

// recorded gives the paths of the record of a job that was laid, and of one that was
// not.
func (f *firm) recorded(t *testing.T, b *tab) (laid, none string) {
	t.Helper()
	for i := range 10 {
		path := fmt.Sprintf("/job/SB-%02d/record", i+1)
		b.open(f.base + path)
		if b.has(`//a[.="As PDF"]`) {
			laid = path
		} else {
			none = path
		}
	}
	if laid == "" || none == "" {
		t.Fatalf("of the demo's jobs, %q has a record and %q has none", laid, none)
	}
	return laid, none
}

// otherDay gives the page on which a customer says that a day does not suit.
func (f *firm) otherDay(t *testing.T, b *tab) string {
	t.Helper()
	for _, who := range []string{"osric", "ilse.farrow", "petra", "amos.rudd", "nell", "greta.lowe", "hugh", "ada.bramble", "mabel.thorne", "tobias.wren"} {
		b.open(f.link(t, "new", "--customer", who+"@mail.example"))
		if href := b.attribute(`//a[.="This day does not suit"]`, "href"); href != "" {
			return f.base + href
		}
	}
	t.Fatal("no customer of the demo has a day that may be changed")
	return ""
}

// mailed gives the newest link of a kind in the firm's mails, on the address at which
// it is served.
func (f *firm) mailed(t *testing.T, kind string) string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(f.dir, "mail", "*.eml"))
	if err != nil {
		t.Fatal(err)
	}
	link := regexp.MustCompile(regexp.QuoteMeta(kind) + `[A-Za-z0-9_-]{43}`)
	found, newest := "", time.Time{}
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := mail.ReadMessage(bytes.NewReader(raw))
		if err != nil {
			t.Fatal(err)
		}
		at, err := m.Header.Date()
		if err != nil {
			t.Fatal(err)
		}
		// quoted-printable breaks long lines
		if path := link.Find(bytes.ReplaceAll(raw, []byte("=\r\n"), nil)); path != nil && at.After(newest) {
			found, newest = f.base+string(path), at
		}
	}
	if found == "" {
		t.Fatalf("none of the firm's %d mails holds a link %s", len(names), kind)
	}
	return found
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
	seen, names := 0, map[string]bool{}
	pages(t, f, b, []look{{"390 light", 390, false}, {"1280 dark", 1280, true}}, func(name string, l look) {
		seen++
		names[name] = true
		b.unfold()
		for _, v := range b.violations(checker) {
			for _, n := range v.Nodes {
				t.Errorf("%s, %s: %s (%s)\n  %s\n  %s", name, l.name, v.Help, v.ID, n.HTML, strings.ReplaceAll(n.FailureSummary, "\n", "\n  "))
			}
		}
		b.noSideways(name)
	})
	t.Logf("%d pages", seen)
	for r, wants := range looked() {
		for _, n := range wants {
			if !names[n] {
				t.Errorf("%s, the page %s, was not looked at", r, n)
			}
		}
	}
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
	b := openTab(t)
	looks := []look{{"390-light", 390, false}, {"390-dark", 390, true}, {"1280-light", 1280, false}, {"1280-dark", 1280, true}}
	take := func(name string, l look) { b.picture(filepath.Join(*screens, name+"-"+l.name+".png")) }
	pages(t, f, b, looks, take)
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
