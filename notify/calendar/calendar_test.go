package calendar_test

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"
	"pgregory.net/rapid"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/calendar"
)

// Firm, people and roofs are invented.

func date(m time.Month, d int) job.Date { return job.Date{Year: 2027, Month: m, Day: d} }

func visit(state calendar.State, days ...job.Date) calendar.Visit {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = "saltbox", "Saltbox Laminates", "America/Halifax", "office@saltbox.example"
	return calendar.Visit{
		Firm: f, N: 1, State: state, Week: date(time.April, 12), Days: days, Start: 450, End: 17 * 60,
		Crew: job.Crew{ID: "heron", Name: "Heron"},
		Job: job.Booking{Job: job.Job{
			ID: "J-104", Title: "garage roof", Phone: "902 555 0142", Value: 180000,
			Customer: job.Customer{Name: "Maeve O’Dowd", Email: "maeve@post.example"},
			Site:     job.Site{Address: "12 Gannet Row, Herring Cove"},
			Notes:    job.Notes{Access: "gate on the lane; code 4417", RoomBelow: "workshop"},
			Roof:     job.Roof{AreaM2: 24},
		}},
	}
}

func event(t *testing.T, v calendar.Visit, a notify.Audience) calendar.Event {
	t.Helper()
	e, err := v.Event(a)
	if err != nil {
		t.Fatal(err)
	}
	e.Sequence, e.ChangedAt = 3, time.Date(2027, 4, 10, 15, 4, 5, 0, time.UTC)
	return e
}

func render(t rapid.TB, f calendar.Feed) []byte {
	t.Helper()
	b, err := calendar.Render(f)
	if err != nil {
		t.Fatal(err)
	}
	checkOctets(t, b)
	return b
}

// checkOctets holds the bytes against RFC 5545 3.1.
func checkOctets(t rapid.TB, b []byte) {
	t.Helper()
	if !utf8.Valid(b) || !bytes.HasPrefix(b, []byte("BEGIN:VCALENDAR\r\n")) || !bytes.HasSuffix(b, []byte("END:VCALENDAR\r\n")) {
		t.Errorf("no whole UTF-8 calendar: %q", b)
	}
	for _, l := range bytes.Split(bytes.TrimSuffix(b, []byte("\r\n")), []byte("\r\n")) {
		if len(l) > 75 || len(bytes.TrimSpace(l)) == 0 || !utf8.Valid(l) || bytes.ContainsFunc(l, func(r rune) bool { return r < ' ' || r == 127 }) {
			t.Errorf("line of %d octets: %q", len(l), l)
		}
	}
}

// property reads a property of the only event back, unfolded and unescaped.
func property(t rapid.TB, b []byte, p ics.ComponentProperty) string {
	t.Helper()
	c, err := ics.ParseCalendar(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	es := c.Events()
	if len(es) != 1 {
		t.Fatalf("%d events, want 1", len(es))
	}
	v := es[0].GetProperty(p)
	if v == nil {
		return ""
	}
	return v.Value
}

func feed(es ...calendar.Event) calendar.Feed {
	return calendar.Feed{Name: "Saltbox Laminates: your roof", Zone: "America/Halifax", Events: es}
}

func TestReaders(t *testing.T) {
	told := visit(calendar.Told, date(time.April, 15))
	for _, c := range []struct {
		name  string
		v     calendar.Visit
		a     notify.Audience
		lines []string
		not   []string
	}{
		{"customer, week", visit(calendar.Provisional, date(time.April, 15)), notify.ToCustomer,
			[]string{"STATUS:TENTATIVE", "DTSTART;VALUE=DATE:20270412", "DTEND;VALUE=DATE:20270417", "SUMMARY:Provisional: Saltbox Laminates lays your roof", "TRANSP:TRANSPARENT"},
			[]string{"20270415", "Heron", "4417", "1800"}},
		{"customer, told", told, notify.ToCustomer,
			[]string{"STATUS:CONFIRMED", "DTSTART;TZID=America/Halifax:20270415T073000", "DTEND;TZID=America/Halifax:20270415T170000", `SUMMARY:Saltbox Laminates lays your roof\, weather permitting`, "TRANSP:OPAQUE", "SEQUENCE:3", "DTSTAMP:20270410T150405Z", "LAST-MODIFIED:20270410T150405Z"},
			[]string{"Heron", "4417", "ATTENDEE", "VALARM", "METHOD"}},
		{"customer, going", visit(calendar.Going, date(time.April, 15)), notify.ToCustomer,
			[]string{"STATUS:CONFIRMED", "SUMMARY:Saltbox Laminates lays your roof\r\n"}, []string{"weather permitting"}},
		{"customer, off", visit(calendar.Off, date(time.April, 15)), notify.ToCustomer,
			[]string{"STATUS:CANCELLED", "SUMMARY:CANCELLED: Saltbox Laminates lays your roof", "TRANSP:TRANSPARENT", "DTSTART;TZID=America/Halifax:20270415T073000"}, nil},
		{"customer, week off", visit(calendar.Off), notify.ToCustomer, []string{"STATUS:CANCELLED", "DTSTART;VALUE=DATE:20270412"}, nil},
		{"crew, planned", visit(calendar.Provisional, date(time.April, 15), date(time.April, 16)), notify.ToCrew,
			[]string{"STATUS:TENTATIVE", "DTSTART;TZID=America/Halifax:20270415T073000", "DTEND;TZID=America/Halifax:20270416T170000", `code 4417`, "2 working days"},
			[]string{"1800.00"}},
		{"owner, told", told, notify.ToOwner, []string{`SUMMARY:Heron: 24 m² garage roof\, weather permitting`}, []string{"4417"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := strings.ReplaceAll(string(render(t, feed(event(t, c.v, c.a)))), "\r\n ", "")
			for _, l := range c.lines {
				if !strings.Contains(b, l) {
					t.Errorf("%q is not in\n%s", l, b)
				}
			}
			for _, l := range c.not {
				if strings.Contains(b, l) {
					t.Errorf("%q is in\n%s", l, b)
				}
			}
		})
	}
}

func TestNothingToShow(t *testing.T) {
	v := visit(calendar.Provisional, date(time.April, 15))
	v.Week = job.Date{}
	if _, err := v.Event(notify.ToCustomer); !errors.Is(err, calendar.ErrNothing) {
		t.Errorf("a customer sees the plan: %v", err)
	}
	if _, err := visit(calendar.Provisional).Event(notify.ToCrew); !errors.Is(err, calendar.ErrNothing) {
		t.Errorf("a crew sees a visit without days: %v", err)
	}
	v.State = "lost"
	if _, err := v.Event(notify.ToOwner); err == nil || errors.Is(err, calendar.ErrNothing) {
		t.Errorf("an unknown state: %v", err)
	}
}

// TestUIDStays holds what must not change when a visit moves, and what must.
func TestUIDStays(t *testing.T) {
	a := event(t, visit(calendar.Told, date(time.April, 15)), notify.ToCustomer)
	b := event(t, visit(calendar.Told, date(time.April, 19)), notify.ToCustomer)
	if a.UID != b.UID {
		t.Error("a move made another UID")
	}
	if a.Digest() == b.Digest() {
		t.Error("a move did not change the digest")
	}
	a2 := a
	a2.Sequence, a2.ChangedAt = 9, a.ChangedAt.Add(time.Hour)
	if a2.Digest() != a.Digest() {
		t.Error("the digest depends on what follows from it")
	}
	seen := map[string]bool{}
	for _, firm := range []string{"a", "a|b"} {
		for _, j := range []string{"c", "b|c"} {
			for n := range 2 {
				for _, who := range []notify.Audience{notify.ToCustomer, notify.ToCrew, notify.ToOwner} {
					id := calendar.UID(firm, j, n, who)
					if seen[id] {
						t.Errorf("two visits share %s", id)
					}
					seen[id] = true
				}
			}
		}
	}
}

func TestSameEventsSameBytes(t *testing.T) {
	a, b := event(t, visit(calendar.Told, date(time.April, 15)), notify.ToOwner), event(t, visit(calendar.Off, date(time.April, 9)), notify.ToOwner)
	b.UID = calendar.UID("saltbox", "J-7", 2, notify.ToOwner)
	es := []calendar.Event{a, b}
	one := render(t, feed(es...))
	slices.Reverse(es)
	if !bytes.Equal(one, render(t, feed(es...))) {
		t.Error("the order of the events shows in the bytes")
	}
}

// TestNeverEmpty: RFC 5545 3.6 asks for at least one component.
func TestNeverEmpty(t *testing.T) {
	for _, zone := range []string{"America/Halifax", "Africa/Casablanca", "Asia/Kolkata"} {
		f := feed()
		f.Zone = zone
		if b := render(t, f); !bytes.Contains(b, []byte("BEGIN:VTIMEZONE")) || bytes.Contains(b, []byte("VEVENT")) {
			t.Errorf("%s: %s", zone, b)
		}
	}
}

func TestRefuses(t *testing.T) {
	good := event(t, visit(calendar.Told, date(time.April, 15)), notify.ToCrew)
	for name, spoil := range map[string]func(*calendar.Event){
		"no UID":             func(e *calendar.Event) { e.UID = "" },
		"UID with a line":    func(e *calendar.Event) { e.UID = "a\r\nATTENDEE:b" },
		"no summary":         func(e *calendar.Event) { e.Summary = "\r\n" },
		"never changed":      func(e *calendar.Event) { e.ChangedAt = time.Time{} },
		"negative sequence":  func(e *calendar.Event) { e.Sequence = -1 },
		"unknown status":     func(e *calendar.Event) { e.Status = "CANCELED" },
		"no end":             func(e *calendar.Event) { e.End = e.Start },
		"days and hours":     func(e *calendar.Event) { e.From, e.To = date(time.April, 12), date(time.April, 16) },
		"ends before begins": func(e *calendar.Event) { e.End = e.Start.Add(-time.Hour) },
	} {
		e := good
		spoil(&e)
		if _, err := calendar.Render(feed(e)); err == nil {
			t.Errorf("%s was published", name)
		}
	}
	if _, err := calendar.Render(feed(good, good)); err == nil {
		t.Error("one UID twice was published")
	}
	for _, zone := range []string{"", "Local", "Mars/Olympus"} {
		if _, err := calendar.Render(calendar.Feed{Name: "x", Zone: zone, Events: []calendar.Event{good}}); err == nil {
			t.Errorf("zone %q was published", zone)
		}
	}
}

// TestAnyText renders arbitrary text and reads it back with the library's
// parser: nothing may break out of its property.
func TestAnyText(t *testing.T) {
	base := event(t, visit(calendar.Told, date(time.April, 15)), notify.ToCrew)
	text := rapid.OneOf(rapid.String(), rapid.StringMatching(`[ -~äß語🙂\r\n\t\\;,:"]{0,300}`))
	rapid.Check(t, func(r *rapid.T) {
		e := base
		e.Summary = "x" + text.Draw(r, "summary")
		e.Location = text.Draw(r, "location")
		e.Description = []string{text.Draw(r, "description")}
		f := feed(e)
		f.Name = text.Draw(r, "name")
		b := render(r, f)
		if got, want := property(r, b, ics.ComponentPropertySummary), notify.Clean(e.Summary); got != want {
			r.Errorf("summary %q, want %q", got, want)
		}
		if got, want := property(r, b, ics.ComponentPropertyLocation), notify.Clean(e.Location); got != want {
			r.Errorf("location %q, want %q", got, want)
		}
		if got := property(r, b, ics.ComponentPropertyDescription); !strings.HasPrefix(got, notify.Clean(e.Description[0])) {
			r.Errorf("description %q, want %q", got, e.Description[0])
		}
	})
}
