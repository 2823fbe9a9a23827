package notify

import (
	"fmt"
	"strings"
	"time"
)

// CoverUpLetter warns a crew with an open roof.
type CoverUpLetter struct {
	Letter CallLetter // the call under which the roof was opened; Now is the time of writing
	From   time.Time  // the hours in which it may rain
	To     time.Time
	Share  float64 // of members with rain before the roof is sealed; 0: not told
	Blind  string  // why nobody can tell whether it will rain; "" where somebody can
}

// A warning is named by the hour in which the rain begins, UTC.
const (
	rainOccasion = "rain-"
	rainHour     = "1504"
)

// RainOf gives the hour that a warning's occasion names, within half a day of
// `now`; ok is false where it is none.
func RainOf(occasion string, now time.Time) (at time.Time, ok bool) {
	text, ok := strings.CutPrefix(occasion, rainOccasion)
	if !ok {
		return time.Time{}, false
	}
	h, err := time.Parse(rainHour, text)
	if err != nil {
		return time.Time{}, false
	}
	now = now.UTC()
	at = time.Date(now.Year(), now.Month(), now.Day(), h.Hour(), h.Minute(), 0, 0, time.UTC)
	const half = 12 * time.Hour // elapsed: which of two days is nearer
	switch d := at.Sub(now); {
	case d > half:
		at = at.AddDate(0, 0, -1)
	case d < -half:
		at = at.AddDate(0, 0, 1)
	}
	return at, true
}

// CoverUp composes the warning that rain may come before the roof is sealed.
// One warning goes out for each hour in which the rain begins.
func (c *Composer) CoverUp(l CoverUpLetter) (Message, error) {
	k := l.Letter
	if l.Blind != "" && !k.Call.Date.IsZero() && !k.Now.IsZero() {
		return c.cannotSee(l)
	}
	if k.Call.Date.IsZero() || k.Now.IsZero() || l.From.IsZero() {
		return Message{}, fmt.Errorf("the warning for job %s has no date or no hour", k.Call.Job)
	}
	f := c.factsOf(k)
	when := f.wall.at(l.From)
	if !l.To.IsZero() {
		when = "between " + f.wall.at(l.From) + " and " + f.wall.at(l.To)
	}
	out := letter{Tone: noGoTone, Headline: "Rain " + when, Weather: true, Lede: []string{
		"Crew " + f.crew + ": " + f.roof + ".",
		"Look at the radar, and cover up what is open before it comes.",
	}}
	cover := block{Title: "Now", Items: []string{
		"Open no more of the roof. Do not begin to laminate what cannot cure before the rain.",
		"Sheets over everything open or still wet, weighted, falling away from the building.",
		"Then ring the office.",
	}}
	if l.Share > 0 {
		cover.Text = append(cover.Text, "The chance of rain before the roof is sealed: "+percent(l.Share)+", by the newest forecast.")
	}
	if !k.Call.SealedBy.IsZero() {
		cover.Text = append(cover.Text, "The plan was to be sealed by "+f.wall.at(k.Call.SealedBy)+".")
	}
	out.add(cover, c.contact(k), block{Small: true, Text: []string{"A forecast can be wrong either way: the lead hand decides on site."}})
	// rain an hour off is no news any more when that hour is over
	expires := l.From.Add(time.Hour)
	if l.To.After(l.From) {
		expires = l.To
	}
	return c.finish(draft{
		name: Name{
			Kind: KindCoverUp, Job: k.Call.Job, Visit: k.Call.Visit, Date: k.Call.Date,
			Occasion: rainOccasion + l.From.UTC().Format(rainHour),
		},
		audience: ToCrew, toName: "Crew " + f.crew, to: k.Crew.Email,
		subject: "COVER UP: rain " + when + ", " + f.crew + ": " + f.roof,
		reason:  "crew " + f.crew + " has this roof open",
		letter:  out, thread: k.Thread, now: k.Now, expires: expires,
	})
}

// cannotSee composes the word that nobody watches over an open roof, once a day.
func (c *Composer) cannotSee(l CoverUpLetter) (Message, error) {
	k := l.Letter
	f := c.factsOf(k)
	out := letter{Tone: holdTone, Headline: "No watch over your roof", Lede: []string{
		"Crew " + f.crew + ": " + f.roof + ".",
		"laycast cannot see whether rain comes before the roof is sealed: " + clean(l.Blind) + ".",
	}}
	out.add(block{Title: "Now", Items: []string{
		"Watch the sky and the radar yourselves.",
		"Open no more of the roof than you can cover.",
		"Have sheets for everything open or wet within reach.",
	}}, c.contact(k), block{Small: true, Text: []string{"This is written once a day. The lead hand decides on site."}})
	return c.finish(draft{
		name:     Name{Kind: KindCoverUp, Job: k.Call.Job, Visit: k.Call.Visit, Date: k.Call.Date, Occasion: "cannot-see"},
		audience: ToCrew, toName: "Crew " + f.crew, to: k.Crew.Email,
		subject: "NO WATCH: laycast cannot see the weather, " + f.crew + ": " + f.roof,
		reason:  "crew " + f.crew + " has this roof open",
		letter:  out, thread: k.Thread, now: k.Now, expires: k.Now.Add(3 * time.Hour),
	})
}
