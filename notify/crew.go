package notify

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/rules/mix"
	"laycast/scheduler/call"
)

// CallLetter is what a message about one call is made from. The last fields may
// be left empty.
type CallLetter struct {
	Call      call.Call
	Before    *call.Call // the call it follows; nil for an evening call or a day never called
	Job       job.Booking
	Crew      job.Crew
	Bay, Bays int // which bay of how many, from 1; 0 of 0 where the roof is not cut up
	Now       time.Time

	Thread    []string  // Message-IDs of the mails before it to the same person, oldest first
	DecideBy  time.Time // when a hold is decided; zero: read from the firm's second look
	StandBy   bool      // for a customer: they were told no day, and are asked to stand by for this one
	Why       string    // for a customer: why not, in plain words; "" takes it from the call
	PlanB     []string  // the crew's weatherproof work, one line each
	SeenURL   string    // a link by which the crew says it has read the mail
	Page      string    // a link to the crew's own page
	Subscribe string    // a link to the reader's calendar
	Picture   *Picture  // the day as a picture

	Invitation *Invitation // for a customer's own calendar, where one was asked for

	Load  []load.Item // what the roof takes
	Kit   []load.Item // tools and gear
	Notes []string    // what the load list does not know
	Mix   []mix.Line  // of the hours in which something is mixed
}

// letterFacts are what several letters need of one call, worked out once.
type letterFacts struct {
	wall  wall
	when  string // "tomorrow", "today", "on Friday 16 April"
	roof  string
	crew  string
	start time.Time
	coat  bool // the day's work is a topcoat over what was sealed before
	opens bool // the work leaves the building open
}

func (c *Composer) factsOf(l CallLetter) letterFacts {
	f := letterFacts{
		wall: wall{c.siteZone(l.Job.Site), l.Call.Date},
		when: relative(l.Call.Date, c.today(l.Now)),
		roof: shorten(roof(l.Job.Job), 60),
		crew: shorten(clean(l.Crew.Name), 30),
		coat: len(l.Call.Stages) > 0 && l.Call.Stages[0].Stage == rules.Topcoat,
	}
	f.opens = !f.coat && (l.Job.Roof.Work == job.Replace || l.Job.Roof.Work == "")
	if f.crew == "" {
		f.crew = shorten(clean(l.Crew.ID), 30)
	}
	if l.Bays > 1 {
		f.roof += fmt.Sprintf(", bay %d of %d", l.Bay, l.Bays)
	}
	f.start = l.Call.Start
	if f.start.IsZero() {
		f.start = job.Instant(l.Call.Date, c.firm.Work.From, c.zone)
	}
	return f
}

// check refuses letters that would be false or say nothing.
func (l CallLetter) check() error {
	switch {
	case l.Call.Outcome == call.Go && !l.Call.Known:
		return fmt.Errorf("the go for job %s on %s has no known chance; missing data is never a go", l.Call.Job, l.Call.Date)
	case l.Call.Outcome != call.Go && l.Call.Outcome != call.NoGo && l.Call.Outcome != call.Hold:
		return fmt.Errorf("the call for job %s on %s has the unknown outcome %q", l.Call.Job, l.Call.Date, l.Call.Outcome)
	case l.Call.Date.IsZero() || l.Now.IsZero():
		return fmt.Errorf("the call for job %s has no date or no time of writing", l.Call.Job)
	}
	return nil
}

// decideBy gives when a hold is decided: as told, or the first fixed time of
// the firm's second look on the day. ok is false when neither is known.
func (c *Composer) decideBy(l CallLetter) (time.Time, bool) {
	if !l.DecideBy.IsZero() {
		return l.DecideBy, true
	}
	f := strings.Fields(c.firm.Times.SecondLook)
	if len(f) < 2 {
		return time.Time{}, false
	}
	m, errM := strconv.Atoi(f[0])
	h, errH := strconv.Atoi(f[1])
	if errM != nil || errH != nil || m < 0 || m > 59 || h < 0 || h > 23 {
		return time.Time{}, false
	}
	return job.Instant(l.Call.Date, job.TimeOfDay(h*60+m), c.zone), true
}

// callExpiry says until when word about a call is of use: a go or a hold until
// the crew is due, anything later or negative until the working day ends.
func (c *Composer) callExpiry(l CallLetter, f letterFacts) time.Time {
	if l.Call.Outcome != call.NoGo && f.start.After(l.Now) {
		return f.start
	}
	end := job.Instant(l.Call.Date, c.firm.Work.To, c.zone)
	if !end.After(l.Now) {
		return c.startOf(l.Call.Date.AddDays(1))
	}
	return end
}

// CrewCall composes the evening's call for the crew. It refuses a go without a
// known chance, and gives ErrAddress when the crew has no usable address.
func (c *Composer) CrewCall(l CallLetter) (Message, error) {
	if err := l.check(); err != nil {
		return Message{}, err
	}
	f := c.factsOf(l)
	var subject string
	var body letter
	switch l.Call.Outcome {
	case call.Go:
		subject = fmt.Sprintf("GO %s, %s: %s, be on site %s", f.when, f.crew, f.work(), f.wall.at(f.start))
		body = c.goLetter(l, f, "Go "+f.when)
	case call.NoGo:
		subject = fmt.Sprintf("NO-GO %s, %s: %s", f.when, f.crew, f.roof)
		body = c.noGoLetter(l, f, "No-go "+f.when)
	case call.Hold:
		subject = fmt.Sprintf("HOLD, %s: %s", f.crew, f.roof)
		if by, ok := c.decideBy(l); ok {
			subject += ", decided by " + f.wall.at(by)
		}
		body = c.holdLetter(l, f)
	}
	return c.crewMessage(l, f, KindCall, subject, body)
}

// SecondLook composes the morning's word, or that of a later change, for the
// crew: only what changed since Before, and everything where the day becomes a
// go that was not one.
func (c *Composer) SecondLook(l CallLetter) (Message, error) {
	if err := l.check(); err != nil {
		return Message{}, err
	}
	f := c.factsOf(l)
	var subject string
	var body letter
	switch {
	case l.Call.Outcome == call.Go && l.Before != nil && l.Before.Outcome == call.Go:
		subject = fmt.Sprintf("Still GO %s, %s: %s, be on site %s", f.when, f.crew, f.work(), f.wall.at(f.start))
		body = c.stillLetter(l, f)
	case l.Call.Outcome == call.Go:
		subject = fmt.Sprintf("Now GO %s, %s: %s, be on site %s", f.when, f.crew, f.work(), f.wall.at(f.start))
		body = c.goLetter(l, f, "Now go "+f.when)
	case l.Call.Outcome == call.NoGo:
		subject = fmt.Sprintf("NO-GO %s, do not load, %s: %s", f.when, f.crew, f.roof)
		body = c.noGoLetter(l, f, "No-go "+f.when+", do not load")
	default:
		subject = fmt.Sprintf("HOLD %s, %s: %s", f.when, f.crew, f.roof)
		body = c.holdLetter(l, f)
	}
	return c.crewMessage(l, f, KindSecondLook, subject, body)
}

func (c *Composer) crewMessage(l CallLetter, f letterFacts, kind Kind, subject string, body letter) (Message, error) {
	body.Picture = l.Picture
	body.Weather = true
	expires := c.callExpiry(l, f)
	if l.Call.Outcome == call.Hold {
		if by, ok := c.decideBy(l); ok && by.After(l.Now) {
			expires = by
		}
	}
	return c.finish(draft{
		name: Name{
			Kind: kind, Job: l.Call.Job, Visit: l.Call.Visit, Date: l.Call.Date, Occasion: string(l.Call.Occasion),
		},
		audience: ToCrew, toName: "Crew " + f.crew, to: l.Crew.Email,
		subject: subject, reason: "crew " + f.crew + " is booked on this roof for " + l.Call.Date.Words(),
		letter: body, thread: l.Thread, now: l.Now, expires: expires,
	})
}

// work names the roof and, where it is not the whole of it, what is done there.
func (f letterFacts) work() string {
	if f.coat {
		return f.roof + ", topcoat"
	}
	return f.roof
}

// lede says whom, what and when in one sentence.
func (f letterFacts) lede(l CallLetter, start bool) string {
	s := fmt.Sprintf("%s, crew %s: %s.", l.Call.Date.Words(), f.crew, f.work())
	if start {
		s += " Be on site at " + f.wall.at(f.start) + "."
	}
	return s
}
