package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"laycast/job"
)

// TroubleLetter tells the owner that something needs a look.
type TroubleLetter struct {
	About   string // stable key of the matter, such as "source open-meteo 2027-05-05": one message for each
	Subject string
	Lines   []string // what happened and what to do, a sentence or two each
	Now     time.Time
	Since   time.Time // when the matter began: its day is in the message's name; zero = Now
}

// Trouble composes a message to the owner. Its text bears the time, so that two
// troubles of the same kind are never the same mail.
func (c *Composer) Trouble(l TroubleLetter) (Message, error) {
	if l.About == "" || l.Now.IsZero() {
		return Message{}, fmt.Errorf("trouble %q has no key or no time", clean(l.Subject))
	}
	if l.Since.IsZero() {
		l.Since = l.Now
	}
	at := l.Now.In(c.zone)
	subject := shorten(clean(l.Subject), 110)
	out := letter{Tone: holdTone, Headline: subject, Lede: []string{"Seen at " + at.Format("15:04 on Monday 2 January 2006") + "."}}
	var lines []string
	for _, s := range l.Lines {
		if s = clean(s); s != "" {
			lines = append(lines, s)
		}
	}
	out.add(block{Title: "What happened", Text: lines}, c.ownerLink("Look at it in laycast", ""))
	return c.finish(draft{
		name:     Name{Kind: KindTrouble, Date: c.today(l.Since), Occasion: clean(l.About)},
		audience: ToOwner, toName: c.firm.Name, to: c.firm.Email,
		subject: subject, reason: "you look after " + clean(c.firm.Name), letter: out, now: l.Now,
		// two days on, the pages and the next trouble say it better
		expires: l.Now.Add(48 * time.Hour),
	})
}

// ownerLink is a link to the firm's pages, where it has an address for them.
func (c *Composer) ownerLink(text, path string) block {
	if c.publicURL == "" {
		return block{}
	}
	return block{Links: []link{{text, c.publicURL + "/" + path}}}
}

// WeekLetter is what the owner's week mail is made from.
type WeekLetter struct {
	Monday job.Date
	Crews  []WeekCrew
	Left   []string // jobs with no place, and why, one line each
	Held   []string // jobs kept out of the plan, and what they wait for, one line each
	Needs  []string // what is to be ordered, and by when, one line each
	Told   []string // how the telling went lately, one line each
	Notes  []string // reliability of past chances, anything else
	Stop   string   // a link by which the owner stops this mail; may be empty
	Now    time.Time
}

// WeekCrew is one crew's week.
type WeekCrew struct {
	Crew   job.Crew
	Visits []WeekLine
}

// WeekLine is one visit of a week.
type WeekLine struct {
	Date   job.Date // its first day
	Days   int      // working days; 0 means 1
	Start  job.TimeOfDay
	Job    job.Booking
	Known  bool // the chance means something
	Chance float64
	Told   job.Date // the date last told to the customer, or none
	Note   string
}

// WeekMail composes the owner's week.
func (c *Composer) WeekMail(l WeekLetter) (Message, error) {
	if l.Monday.IsZero() || l.Now.IsZero() {
		return Message{}, fmt.Errorf("the week mail has no week or no time of writing")
	}
	n := 0
	for _, k := range l.Crews {
		n += len(k.Visits)
	}
	subject := "The week of " + l.Monday.Words() + ": " + visits(n)
	out := letter{Tone: plainTone, Headline: "The week of " + l.Monday.Words(), Lede: []string{Sentence(visits(n))}, Weather: true}
	for _, k := range l.Crews {
		out.add(c.crewWeek(k))
	}
	out.add(
		block{Title: "To order", Items: cleanAll(l.Needs)},
		block{Title: "On hold", Items: cleanAll(l.Held)},
		block{Title: "Left out of the plan", Items: cleanAll(l.Left)},
		block{Title: "What people were told", Items: cleanAll(l.Told)},
		block{Title: "Notes", Items: cleanAll(l.Notes)},
		c.ownerLink("The week in laycast", ""),
		stopBlock(l.Stop),
		block{Small: true, Text: []string{"The chance is that of the roof being sealed on its first day, by the forecast of this morning. The call is made the evening before."}},
	)
	return c.finish(draft{
		name:     Name{Kind: KindWeek, Date: l.Monday, Occasion: "week"},
		audience: ToOwner, toName: c.firm.Name, to: c.firm.Email,
		subject: subject, reason: "you look after " + clean(c.firm.Name), letter: out, stop: l.Stop,
		// elapsed: a week mail a day late is of no use (DESIGN's grace of 24 h)
		now: l.Now, expires: l.Now.Add(24 * time.Hour),
	})
}

// stopBlock is for the one mail that nobody needs to get.
func stopBlock(url string) block {
	if !isWebLink(url) {
		return block{}
	}
	return block{Small: true, Text: []string{"This mail may be stopped; calls and troubles always come."}, Links: []link{{"Stop this mail", url}}}
}

func visits(n int) string {
	switch n {
	case 0:
		return "no visits planned"
	case 1:
		return "1 visit"
	}
	return fmt.Sprintf("%d visits", n)
}

func (c *Composer) crewWeek(k WeekCrew) block {
	b := block{Title: "Crew " + clean(k.Crew.Name)}
	for _, v := range k.Visits {
		s := span{When: v.Date.Words(), What: shorten(roof(v.Job.Job), 80)}
		if v.Start > 0 {
			s.When += ", " + v.Start.String()
		}
		s.Note = weekNote(v)
		b.Spans = append(b.Spans, s)
	}
	if len(b.Spans) == 0 {
		b.Text = []string{"Nothing planned."}
	}
	return b
}

// weekNote says how sure a visit is and what its customer knows.
func weekNote(v WeekLine) string {
	s := "chance not known yet"
	if v.Known {
		s = "sealed: " + chanceWords(v.Chance) + ", " + percent(v.Chance)
	}
	if v.Days > 1 {
		s += fmt.Sprintf("; %d days", v.Days)
	}
	switch {
	case v.Told.IsZero():
		s += "; date not told"
	case v.Told == v.Date:
		s += "; date told"
	default:
		s += "; the customer was told " + v.Told.Words()
	}
	if w := clean(v.Job.Customer.Name); w != "" {
		s += "; " + w
	}
	if w := clean(v.Note); w != "" {
		s += "; " + w
	}
	return s
}

// SignInLetter is a single-use link by which the owner signs in.
type SignInLetter struct {
	Email   string // whom to send it to
	Link    string
	Now     time.Time
	Expires time.Time // until when the link is good
}

// SignIn composes a mail with a sign-in link. The link itself stands in the
// mail only: the message's name holds a digest of it.
func (c *Composer) SignIn(l SignInLetter) (Message, error) {
	if !isWebLink(l.Link) || !l.Expires.After(l.Now) {
		return Message{}, fmt.Errorf("the sign-in link for %s is no web address or already over", clean(l.Email))
	}
	sum := sha256.Sum256([]byte(l.Link))
	until := l.Expires.In(c.zone).Format("15:04")
	out := letter{Tone: plainTone, Headline: "Sign in to laycast", Lede: []string{
		"This link signs you in once, until " + until + ".",
	}}
	out.add(
		block{Links: []link{{"Sign in", l.Link}}},
		block{Text: []string{"If you have not asked for it, do nothing: without this mail nobody gets in."}},
	)
	return c.finish(draft{
		name:     Name{Kind: KindSignIn, Date: c.today(l.Now), Occasion: hex.EncodeToString(sum[:8])},
		audience: ToOwner, toName: c.firm.Name, to: l.Email,
		subject: "Sign in to laycast", reason: "somebody asked for a sign-in link to " + clean(c.firm.Name),
		letter: out, now: l.Now, expires: l.Expires,
	})
}
