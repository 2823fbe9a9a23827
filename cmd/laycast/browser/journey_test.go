package browser

import (
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// signIn signs the owner in by the command's link.
func (b *tab) signIn(f *firm) {
	b.t.Helper()
	b.open(f.link(b.t, "sign-in"))
	b.follow(`//button[.="Sign in"]`)
	b.wants("The week", "Saltbox Laminates")
}

// ways are the ways in which a page is used.
var ways = map[string]func(b *tab){
	"with scripts":    func(*tab) {},
	"without scripts": func(b *tab) { b.scriptsOff() },
	"by keyboard":     func(b *tab) { b.keyboard = true },
	"on a phone":      func(b *tab) { b.screen(390, false) },
}

// TestOwnersMonday: the owner signs in, reads the week, asks why a job stands
// where it does, pins it, takes the pin out, puts a job on hold and back, changes
// an order with a mistake first, by keyboard sets the time of the evening call, and
// finds all that in the log.
func TestOwnersMonday(t *testing.T) {
	f := openFirm(t)
	for name, use := range ways {
		t.Run(name, func(t *testing.T) {
			b := openTab(t)
			use(b)
			b.signIn(f)
			b.wants("Heron", "Plover", "chance", "No place on the plan")
			b.answerMove()
			planned := b.firstPlanned()
			b.press(planned + `//summary`)
			b.follow(planned + `//a[contains(., "Why this day")]`)
			b.wants("The other days")
			b.follow(`//main//a[contains(@href, "/job/")]`)
			b.wants("The order", "Load list")
			b.follow(`//nav//a[contains(@href, "/week")]`)
			b.press(planned + `//summary`)
			b.follow(planned + `//button[@value="pin"]`)
			b.wants("pinned by you")
			pinned := `(//article[contains(., "pinned by you")])[1]`
			b.press(pinned + `//summary`)
			b.follow(pinned + `//button[@value="unpin"]`)
			if text := b.text(); strings.Contains(text, "pinned by you") {
				t.Errorf("the pin is still there:\n%s", text)
			}
			b.holdAndRelease()
			b.changeOrder(name)
			if b.keyboard {
				b.setTime()
			}
			b.follow(`//nav//a[contains(@href, "/log")]`)
			b.wants("Who changed what", "office@saltbox.example", "deposit is missing")
			b.follow(`//button[.="Sign out"]`)
			b.open(f.base + "/week")
			b.wants("Your mail address")
		})
	}
}

// setTime sets the evening call, finds it on record and sets it back.
func (b *tab) setTime() {
	b.t.Helper()
	for _, at := range []string{"18:10", "18:00"} {
		b.follow(`//nav//a[contains(@href, "/settings")]`)
		b.write(`//input[@name="times.call"]`, at) // what Tab reaches is selected, so it is replaced
		b.follow(`//button[.="Save"]`)
		b.wants("Saved.")
		if got := b.attribute(`//input[@name="times.call"]`, "value"); got != at {
			b.t.Errorf("the evening call is at %q, want %s", got, at)
		}
	}
	b.follow(`//nav//a[contains(@href, "/log")]`)
	b.wants("times.call 18:00 to 18:10", "times.call 18:10 to 18:00")
}

// firstPlanned gives the first visit on the week page that may be changed, by its
// job, for the plan moves with what is done to it.
func (b *tab) firstPlanned() string {
	b.t.Helper()
	id := b.attribute(`(//article[.//summary]//input[@name="job"])[1]`, "value")
	if id == "" {
		b.t.Fatalf("no visit on the page may be changed:\n%s", b.text())
	}
	return `(//article[.//summary][contains(., "(` + id + `)")])[1]`
}

// answerMove says yes to a new date that waits, where there is one.
func (b *tab) answerMove() {
	b.t.Helper()
	yes := `(//button[.="Yes, tell it"])[1]`
	if b.has(yes) {
		job := b.attribute(`(//form[contains(@action, "/week/move")]//input[@name="job"])[1]`, "value")
		b.follow(yes)
		if b.has(`//form[contains(@action, "/week/move")]//input[@value="` + job + `"]`) {
			b.t.Errorf("the new date of %s still waits:\n%s", job, b.text())
		}
	}
}

// holdAndRelease puts a planned job on hold for a reason, and back into the plan.
func (b *tab) holdAndRelease() {
	b.t.Helper()
	planned := b.firstPlanned()
	id := b.attribute(planned+`//input[@name="job"]`, "value")
	b.press(planned + `//summary`)
	b.write(planned+`//input[@name="reason"]`, "deposit is missing")
	b.follow(planned + `//button[contains(., "Hold ")]`)
	b.follow(`//nav//a[contains(@href, "/jobs")]`)
	b.follow(`//main//a[contains(@href, "/job/` + id + `")]`)
	b.wants("deposit is missing")
	b.press(`//main/details/summary[.="Change"]`)
	b.follow(`//button[.="Put it back into the plan"]`)
	if b.press(`//main/details/summary[.="Change"]`); b.has(`//button[.="Put it back into the plan"]`) {
		b.t.Errorf("job %s is still on hold:\n%s", id, b.text())
	}
}

// changeOrder changes an order with a mistake, which is told beside its field, and
// leaves it as it was.
func (b *tab) changeOrder(name string) {
	b.t.Helper()
	b.follow(`//a[contains(., "Change the order")]`)
	area := `//input[contains(@name, "area")]`
	b.write(area, "x")
	b.submitWrong(`//form//button[starts-with(., "Save")]`)
	b.wants("Nothing was saved")
	if !b.has(`//*[@aria-invalid="true" and @aria-describedby]`) {
		b.t.Errorf("%s: no field says what is wrong with it", name)
	}
	b.follow(`//a[.="Leave it as it is"]`)
	b.wants("The order")
}

// submitWrong presses a button whose answer is a refusal.
func (b *tab) submitWrong(xpath string) {
	b.t.Helper()
	b.answered(xpath, 422)
}

// TestCrewsEvening: the crew opens its link on a phone, reads its day, says that it
// has seen the call and begun, and asks what a reading means.
func TestCrewsEvening(t *testing.T) {
	f := openFirm(t)
	eachWay(t, f.link(t, "new", "--crew", "plover"), func(t *testing.T, b *tab, name string) {
		b.wants("Plover", "Workshop, Larch Hill", "GO", "Start on site", "Sealed by", "Stages", "To come", "A forecast is no permission")
		b.noSideways(name)
		if href := b.attribute(`//a[.="Subscribe"]`, "href"); !strings.HasPrefix(href, "webcal://") {
			t.Errorf("the calendar's address is %q", href)
		}
		b.report(name)
		// what is another's stays closed
		b.open(f.base + "/week")
		b.wants("Your mail address")
	})
}

// eachWay opens a page on a phone in each way.
func eachWay(t *testing.T, link string, see func(t *testing.T, b *tab, name string)) {
	for name, use := range ways {
		t.Run(name, func(t *testing.T) {
			b := openTab(t)
			b.screen(390, false)
			use(b)
			b.open(link)
			see(t, b, name)
		})
	}
}

// report says seen (once) and started, and notes a reading, which is answered.
func (b *tab) report(name string) {
	b.t.Helper()
	if seen := `//button[.="I have seen this"]`; b.has(seen) {
		b.follow(seen)
	}
	b.wants("Seen at")
	// said by an earlier crew of this test, it stands, and is not noted once more
	b.follow(`//button[.="Started"]`)
	if b.attribute(`//button[.="Started"]`, "aria-pressed") != "true" {
		b.t.Errorf("%s: the page does not say that work has started:\n%s", name, b.text())
	}
	b.press(`(//summary[contains(., "reading")])[1]`)
	for field, value := range map[string]string{"air": "18", "rh": "60", "surface": "24"} {
		b.write(`(//form[contains(@action, "/reading")]//input[@name="`+field+`"])[1]`, value)
	}
	b.follow(`(//button[.="Note it and tell me"])[1]`)
	b.wants("dew point")
	b.noSideways(name + ", with a reading")
}

// TestCustomersVisit: the customer opens the link, sees date and status, and whom
// to ask; another one says that a day does not suit.
func TestCustomersVisit(t *testing.T) {
	f := openFirm(t)
	eachWay(t, f.link(t, "new", "--customer", "tobias.wren@mail.example"), func(t *testing.T, b *tab, name string) {
		b.wants("Saltbox Laminates", "Last changed", "In your calendar")
		if !regexp.MustCompile(`(Mon|Tues|Wednes|Thurs|Fri)day \d+ (June|July)`).MatchString(b.text()) {
			t.Errorf("no date stands on the page:\n%s", b.text())
		}
		for _, secret := range []string{"Mabel", "SB-01", "chance", "CAD"} {
			if strings.Contains(b.text(), secret) {
				t.Errorf("the customer's page shows %q:\n%s", secret, b.text())
			}
		}
		b.noSideways(name)
	})
	b := openTab(t)
	b.keyboard = true
	b.screen(390, false)
	b.scriptsOff()
	// whose day is told and not so near that only the telephone helps, the story decides
	other := `//a[.="This day does not suit"]`
	for _, who := range []string{"osric@mail.example", "petra@mail.example", "ilse.farrow@mail.example", "hugh@mail.example"} {
		if b.open(f.link(t, "new", "--customer", who)); b.has(other) {
			break
		}
	}
	b.follow(other)
	b.noSideways("another day")
	b.follow(`(//button[contains(., "does not suit me")])[1]`)
	b.wants("Noted", "does not suit you")
}

// noSideways fails where a page is wider than the screen.
func (b *tab) noSideways(name string) {
	b.t.Helper()
	if n := b.number(`document.documentElement.scrollWidth - document.documentElement.clientWidth`); n > 0 {
		var who string
		b.do("look for what is too wide", chromedp.Evaluate(`[...document.querySelectorAll("main *, header *")].filter(e => !e.closest(".scroll table") && e.getBoundingClientRect().right > document.documentElement.clientWidth).map(e => e.outerHTML.slice(0, 120)).slice(0, 4).join("\n")`, &who))
		b.t.Errorf("%s: the page is %v px wider than the screen:\n%s", name, n, who)
	}
}
