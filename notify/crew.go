package notify

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"laycast/job"
	"laycast/rules"
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
	Why       string    // for a customer: why not, in plain words; "" takes it from the call
	PlanB     []string  // the crew's weatherproof work, one line each
	SeenURL   string    // a link by which the crew says it has read the mail
	Subscribe string    // a link to the reader's calendar
	Picture   *Picture  // the day as a picture

	Invitation *Invitation // for a customer's own calendar, where one was asked for
}

// letterFacts are what several letters need of one call, worked out once.
type letterFacts struct {
	wall  wall
	when  string // "tomorrow", "today", "on Friday 16 April"
	roof  string
	crew  string
	start time.Time
}

func (c *Composer) factsOf(l CallLetter) letterFacts {
	f := letterFacts{
		wall: wall{c.siteZone(l.Job.Site), l.Call.Date},
		when: relative(l.Call.Date, c.today(l.Now)),
		roof: shorten(roof(l.Job.Job), 60),
		crew: shorten(clean(l.Crew.Name), 30),
	}
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
		subject = fmt.Sprintf("GO %s, %s: %s, be on site %s", f.when, f.crew, f.roof, f.wall.at(f.start))
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
		subject = fmt.Sprintf("Still GO %s, %s: %s, be on site %s", f.when, f.crew, f.roof, f.wall.at(f.start))
		body = c.stillLetter(l, f)
	case l.Call.Outcome == call.Go:
		subject = fmt.Sprintf("Now GO %s, %s: %s, be on site %s", f.when, f.crew, f.roof, f.wall.at(f.start))
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

// lede says whom, what and when in one sentence.
func (f letterFacts) lede(l CallLetter, start bool) string {
	s := fmt.Sprintf("%s, crew %s: %s.", l.Call.Date.Words(), f.crew, f.roof)
	if start {
		s += " Be on site at " + f.wall.at(f.start) + "."
	}
	return s
}

func (c *Composer) goLetter(l CallLetter, f letterFacts, headline string) letter {
	out := letter{Tone: goTone, Headline: headline, Lede: []string{f.lede(l, true)}}
	out.add(c.outlook(l, f), day(l.Call.Stages, f.wall), site(l.Job), before(l.Job, f, l.Call), giveUp(l, f), c.contact(l), cautions())
	return out
}

// outlook is the chance and the hours that matter.
func (c *Composer) outlook(l CallLetter, f letterFacts) block {
	b := block{Title: "The outlook"}
	if !l.Call.Known {
		b.addFact("Chance", "not known; the forecast lacks hours or is too old")
	} else {
		b.addFact("Chance that it is sealed", fmt.Sprintf("%s, %s", chanceWords(l.Call.Chance), percent(l.Call.Chance)))
		b.addFact("Topcoat the same day", percent(l.Call.Full))
		b.addFact("Rain while it is open", percent(l.Call.RainOpen))
	}
	if !l.Call.SealedBy.IsZero() {
		s := f.wall.at(l.Call.SealedBy) + " in the middle forecast"
		if !l.Call.SealedByLate.IsZero() {
			s += "; nine in ten by " + f.wall.at(l.Call.SealedByLate)
		}
		b.addFact("Sealed by", s)
	}
	if !l.Call.NoReturn.IsZero() {
		b.addFact("Point of no return", f.wall.at(l.Call.NoReturn)+"; not opened by then, leave it shut")
	}
	b.addFact("Made from", c.madeFrom(l.Call, f.wall))
	if f.wall.loc.String() != c.zone.String() {
		b.addFact("Times", "on the clock at the site, "+f.wall.loc.String())
	}
	if l.Call.Late {
		b.addFact("Late", "this call was made late, at "+f.wall.at(l.Call.Made))
	}
	return b
}

// madeFrom says which forecast a call rests on and how old it is.
func (c *Composer) madeFrom(k call.Call, w wall) string {
	var s []string
	if k.Members > 0 {
		s = append(s, fmt.Sprintf("%d forecasts", k.Members))
	}
	if k.Source != "" {
		s = append(s, "by "+clean(k.Source))
	}
	if !k.Fetched.IsZero() {
		s = append(s, "seen at "+w.at(k.Fetched))
	}
	return strings.Join(s, " ")
}

// day lists the stages with their hours and what is tightest in each.
func day(spans []rules.Span, w wall) block {
	b := block{Title: "The day in the middle forecast"}
	for _, s := range spans {
		b.Spans = append(b.Spans, span{w.span(s.From, s.To), stageWords(s.Stage), tightest(s.Tightest, w)})
	}
	return b
}

// site says where it is and what a crew wants to know before it arrives.
func site(j job.Booking) block {
	b := block{Title: "The site"}
	b.addFact("Address", clean(j.Site.Address))
	b.addFact("Access, gate", clean(j.Notes.Access))
	b.addFact("Parking", clean(j.Notes.Parking))
	b.addFact("Power, water", clean(j.Notes.PowerWater))
	b.addFact("Neighbours", clean(j.Notes.Neighbours))
	b.addFact("Room below", clean(j.Notes.RoomBelow))
	who := clean(j.Customer.Name)
	if p := clean(j.Phone); p != "" {
		who = strings.TrimPrefix(who+", "+p, ", ")
	}
	b.addFact("Customer", who)
	return b
}

// before says what must be done before the work begins.
func before(j job.Booking, f letterFacts, k call.Call) block {
	begin, cover := "start", "all fresh work"
	if j.Roof.Work == job.Replace || j.Roof.Work == "" {
		begin, cover = "strip", "the whole open roof"
	}
	b := block{Title: "Before you " + begin}
	b.Items = append(b.Items,
		"Cover sheets on the van, enough for "+cover+", with weights or battens.",
		"Read and write down: air temperature, humidity, deck surface temperature, moisture of the deck.",
		"Look at the sky and the radar. If it is worse than this mail says, the mail is wrong.")
	if j.Roof.Deck == job.OldBoard || j.Roof.Deck == job.Concrete {
		b.Items = append(b.Items, "The deck is old: laminate only on a meter reading that the data sheet allows.")
	}
	if !k.NoReturn.IsZero() {
		b.Items = append(b.Items, "Not opened by "+f.wall.at(k.NoReturn)+": do not open it today.")
	}
	return b
}

// giveUp says when to stop and whom to ring.
func giveUp(l CallLetter, f letterFacts) block {
	b := block{Title: "When to give up", Items: []string{
		"Readings outside the limits of the data sheet or of our laying limits: do not begin that stage.",
		"Rain while it is open: cover up at once, then ring.",
	}}
	if !l.Call.SealedByLate.IsZero() {
		b.Items = append(b.Items, "If it will not be sealed by "+f.wall.at(l.Call.SealedByLate)+", open no more of it and cover what is open.")
	}
	return b
}

func (c *Composer) contact(l CallLetter) block {
	b := block{Title: "Questions"}
	b.addFact("Office", clean(c.firm.Name)+", "+c.reply.Address)
	if isWebLink(l.SeenURL) {
		b.Links = append(b.Links, link{"Say that you have seen this", l.SeenURL})
	}
	if isWebLink(l.Subscribe) {
		b.Links = append(b.Links, link{"Your calendar", l.Subscribe})
	}
	return b
}

// cautions stand under every go. Sources: styrene's flash point 31 °C, NIOSH
// Pocket Guide; peroxide and eyes, ICSC 1028; peroxide and accelerator, several
// safety pages (secondary).
func cautions() block {
	return block{Title: "Cautions", Small: true, Items: []string{
		"A forecast is no permission: the lead hand decides on site.",
		"The resin maker's data sheet, local codes and licensed practice govern.",
		"No ignition near a hot deck: styrene's flash point is 31" + nbsp + "°C (NIOSH Pocket Guide), and a roof in the sun gets hotter.",
		"Peroxide catalyst: goggles and gloves; never mix it neat with accelerator.",
		"Edge protection stands before anybody is on the roof.",
	}}
}
