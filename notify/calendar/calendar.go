// Package calendar renders what one reader may know of the visits as an
// iCalendar feed (RFC 5545): a pure projection, the same events giving the same
// bytes whenever they are asked for.
package calendar

import (
	"bytes"
	"crypto/sha256"
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"laycast/job"
	"laycast/notify"
)

// Status is how sure an event is.
type Status string

// The statuses, spelled as RFC 5545 spells them.
const (
	Tentative Status = "TENTATIVE"
	Confirmed Status = "CONFIRMED"
	Cancelled Status = "CANCELLED"
)

// Event is one visit as one reader sees it. It either has a Start and an End or
// lasts whole days From to To, both included.
type Event struct {
	UID         string
	Sequence    int       // raised when the digest changes
	ChangedAt   time.Time // when it last did; the feed's only time stamp
	Status      Status
	Summary     string // without a word for the status: Render puts it first
	Location    string
	Description []string // lines

	Start, End time.Time
	From, To   job.Date
}

// UID names a visit to one kind of reader for ever: it follows from names alone
// and tells nothing of the people.
func UID(firm, jobID string, n int, a notify.Audience) string {
	// JSON keeps the parts apart whatever they hold
	key, err := json.Marshal([]string{firm, jobID, strconv.Itoa(n), string(a)})
	if err != nil {
		key = []byte(firm) // strings always marshal
	}
	sum := sha256.Sum256(key)
	return strings.ToLower(base32.StdEncoding.EncodeToString(sum[:])[:26]) + "@" + job.Slug(firm) + ".laycast"
}

// Digest stands for what the reader sees: two events with one digest look the
// same. Sequence and ChangedAt, which follow from it, are left out.
func (e Event) Digest() string {
	seen := struct {
		UID, Status, Summary, Location string
		Description                    []string
		Start, End                     int64
		From, To                       string
	}{e.UID, string(e.Status), e.Summary, e.Location, e.Description, unix(e.Start), unix(e.End), e.From.String(), e.To.String()}
	b, err := json.Marshal(seen)
	if err != nil {
		return "" // strings and numbers always marshal
	}
	sum := sha256.Sum256(b)
	return strings.ToLower(base32.StdEncoding.EncodeToString(sum[:])[:26])
}

func unix(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.Unix()
}

// Feed is what one link shows.
type Feed struct {
	Name   string
	Zone   string // IANA name; events print in it
	Events []Event
}

// refresh is the least time between two looks that a client is asked for.
const refresh = "PT1H"

// Render gives the feed's bytes. It refuses an event that is not whole, and two
// with one UID, rather than publish a calendar that clients would drop.
func Render(f Feed) ([]byte, error) {
	loc, err := time.LoadLocation(f.Zone)
	if err != nil || f.Zone == "" || f.Zone == "Local" {
		return nil, fmt.Errorf("the calendar %q has no zone: %q is not one such as America/Halifax", f.Name, f.Zone)
	}
	events := slices.Clone(f.Events)
	slices.SortFunc(events, compareEvents)
	seen := map[string]bool{}
	for _, e := range events {
		if err := e.check(); err != nil {
			return nil, err
		}
		if seen[e.UID] {
			return nil, fmt.Errorf("two events of the calendar %q bear the UID %s", f.Name, e.UID)
		}
		seen[e.UID] = true
	}
	cal := ics.NewCalendar()
	cal.SetProductId("-//laycast//visits//EN")
	cal.SetCalscale("GREGORIAN")
	name := notify.Clean(f.Name)
	cal.SetName(name)
	cal.SetXWRCalName(name)
	cal.SetXWRTimezone(f.Zone)
	cal.SetColor("steelblue") // a CSS3 name: RFC 7986 takes no #rrggbb
	cal.SetRefreshInterval(refresh)
	cal.SetXPublishedTTL(refresh)
	clock := clockFor(loc, events)
	cal.AddVTimezone(clock.component())
	for _, e := range events {
		cal.AddVEvent(e.component(clock))
	}
	var b bytes.Buffer
	if err := cal.SerializeTo(&b, ics.WithNewLine("\r\n")); err != nil {
		return nil, fmt.Errorf("write the calendar %q: %w", f.Name, err)
	}
	return b.Bytes(), nil
}

// compareEvents orders events by their beginning, then by UID.
func compareEvents(a, b Event) int {
	if c := strings.Compare(a.sortKey(), b.sortKey()); c != 0 {
		return c
	}
	return strings.Compare(a.UID, b.UID)
}

func (e Event) sortKey() string {
	if !e.From.IsZero() {
		return e.From.String()
	}
	return e.Start.UTC().Format("2006-01-02T15:04:05")
}

// check refuses what some client would refuse.
func (e Event) check() error {
	allDay := !e.From.IsZero()
	switch {
	case e.UID == "" || len(e.UID) > 255 || e.UID != notify.Clean(e.UID):
		return fmt.Errorf("an event has the unusable UID %q", e.UID)
	case notify.Clean(e.Summary) == "":
		return fmt.Errorf("event %s has no summary", e.UID)
	case e.ChangedAt.IsZero():
		return fmt.Errorf("event %s does not say when it was changed", e.UID)
	case e.Sequence < 0 || e.Sequence > 1<<31-1:
		return fmt.Errorf("event %s has the sequence %d", e.UID, e.Sequence)
	case e.Status != Tentative && e.Status != Confirmed && e.Status != Cancelled:
		return fmt.Errorf("event %s has the unknown status %q", e.UID, e.Status)
	case allDay && (!e.Start.IsZero() || !e.End.IsZero() || e.To.Before(e.From)):
		return fmt.Errorf("event %s lasts whole days from %s to %s, and hours too", e.UID, e.From, e.To)
	case !allDay && (e.Start.IsZero() || !e.End.Truncate(time.Second).After(e.Start.Truncate(time.Second))):
		return fmt.Errorf("event %s does not end after it begins", e.UID)
	}
	return nil
}

// component renders one event. The library escapes text and folds lines; what
// it lets through (control characters, stray CR) is cleaned before.
func (e Event) component(c clock) *ics.VEvent {
	v := ics.NewEvent(e.UID)
	v.SetDtStampTime(e.ChangedAt)
	v.SetLastModifiedAt(e.ChangedAt) // without METHOD the two mean the same (RFC 5545 3.8.7.2)
	v.SetSequence(e.Sequence)
	v.SetStatus(ics.ObjectStatus(e.Status))
	if e.From.IsZero() {
		c.setTimes(v, e.Start, e.End)
	} else {
		v.SetAllDayStartAt(midnight(e.From))
		v.SetAllDayEndAt(midnight(e.To.AddDays(1))) // DTEND is the first day after
	}
	v.SetSummary(statusWord(e.Status) + notify.Clean(e.Summary))
	if s := notify.Clean(e.Location); s != "" {
		v.SetLocation(s)
	}
	lines := cleanLines(e.Description)
	changed := e.ChangedAt.In(c.loc)
	lines = append(lines, "Last changed "+changed.Format("Monday 2 January 2006, 15:04")+". Calendars can lag a day behind; news that cannot wait comes by mail.")
	v.SetDescription(strings.Join(lines, "\n"))
	transp := ics.TransparencyOpaque
	if e.Status != Confirmed {
		// only what is certain makes a reader busy
		transp = ics.TransparencyTransparent
	}
	v.SetTimeTransparency(transp)
	return v
}

// cleanLines gives the lines that say something, fit to print.
func cleanLines(ls []string) []string {
	var out []string
	for _, l := range ls {
		if l = notify.Clean(l); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// statusWord comes first in a summary: not every client shows STATUS.
func statusWord(s Status) string {
	switch s {
	case Tentative:
		return "Provisional: "
	case Cancelled:
		return "CANCELLED: "
	}
	return ""
}

func midnight(d job.Date) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC)
}

// ErrNothing marks a visit of which a reader may see nothing.
var ErrNothing = errors.New("nothing to show this reader")
