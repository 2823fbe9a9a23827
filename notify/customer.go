package notify

import (
	"fmt"
	"strconv"
	"time"

	"laycast/job"
	"laycast/rules"
)

// VisitLetter is what a customer's mail about a week or a date is made from.
type VisitLetter struct {
	Job   job.Booking
	Visit job.Visit // N and Moves; Start, where it is set, is printed
	Crew  job.Crew
	Now   time.Time

	Week    job.Date      // Monday of the week told (WeekTold)
	Date    job.Date      // the date told (DateTold, DateMoved)
	Was     job.Date      // the date or, if there was none, the Monday told before (DateMoved, DateCancelled)
	WasWeek bool          // Was is the Monday of a week
	Days    int           // working days of the visit; 0 means 1
	OpenFor time.Duration // how long the roof stands open in a day; 0: not said
	Why     string        // why it moved or was called off, in plain words
	// NewFollows says that another day is looked for in place of the one called
	// off (DateCancelled).
	NewFollows bool
	// Occasion tells two letters about the same date apart. "" gives one made
	// from the visit's number of moves: told, moved away and moved back are
	// three different messages.
	Occasion  string
	Thread    []string // Message-IDs of the mails before it to the same person, oldest first
	Subscribe string   // a link to the customer's calendar; may be empty

	Invitation *Invitation // for the customer's own calendar, where one was asked for
}

// Quiet hours hold back news of dates, which can wait until the morning. Common
// practice, no source.
const (
	quietFrom job.TimeOfDay = 21 * 60
	quietTo   job.TimeOfDay = 6 * 60
)

// afterQuiet gives the first time at or after t that is outside quiet hours.
func (c *Composer) afterQuiet(t time.Time) time.Time {
	d := c.today(t)
	switch {
	case t.Before(job.Instant(d, quietTo, c.zone)):
		return job.Instant(d, quietTo, c.zone)
	case !t.Before(job.Instant(d, quietFrom, c.zone)):
		return job.Instant(d.AddDays(1), quietTo, c.zone)
	}
	return t
}

// WeekTold tells a customer the week in which the roof is laid.
func (c *Composer) WeekTold(l VisitLetter) (Message, error) {
	if l.Week.IsZero() {
		return Message{}, fmt.Errorf("no week to tell for job %s", l.Job.ID)
	}
	week := "the week of " + l.Week.Words()
	out := letter{Headline: "Your roof: " + week, Tone: plainTone, Lede: []string{
		greeting(l.Job),
		fmt.Sprintf("We plan %s in %s. The weather decides the day; we tell you the date some days before.", purpose(l.Job, roof(l.Job.Job)), fullWeek(l.Week)),
		"There is nothing to do yet. If a day of that week does not suit you, please answer this mail.",
	}}
	out.add(about(l.Job), c.customerEnd(l.Subscribe, nil))
	return c.customerMail(l, KindWeekTold, l.Week, "Your roof: "+week, out, l.Now, c.startOf(l.Week.AddDays(5)))
}

// DateTold tells a customer the date.
func (c *Composer) DateTold(l VisitLetter) (Message, error) {
	if l.Date.IsZero() {
		return Message{}, fmt.Errorf("no date to tell for job %s", l.Job.ID)
	}
	out := letter{Headline: "We come on " + l.Date.Words(), Tone: plainTone, Lede: []string{
		greeting(l.Job),
		"We come on " + fullDate(l.Date) + c.startWords(l.Visit) + ", weather permitting, " + purpose(l.Job, roof(l.Job.Job)) + ".",
		"The evening before, you hear from us whether we come. If the day does not suit you, please answer this mail.",
	}}
	out.add(c.visitBlock(l), clearing(l.Job), about(l.Job), c.customerEnd(l.Subscribe, l.Invitation))
	return c.customerMail(l, KindDateTold, l.Date, "Your roof: we come on "+l.Date.Words()+", weather permitting", out,
		c.afterQuiet(l.Now), job.Instant(l.Date, c.firm.Work.From, c.zone))
}

// DateMoved tells a customer that the date is another one, and why.
func (c *Composer) DateMoved(l VisitLetter) (Message, error) {
	if l.Date.IsZero() {
		return Message{}, fmt.Errorf("no new date to tell for job %s", l.Job.ID)
	}
	out := letter{Headline: "A new date: " + l.Date.Words(), Tone: plainTone, Lede: []string{
		greeting(l.Job),
		"We now come on " + fullDate(l.Date) + c.startWords(l.Visit) + ", weather permitting, " + purpose(l.Job, roof(l.Job.Job)) + c.insteadOf(l) + ".",
	}}
	reason := Sentence(l.Why)
	if reason == "" {
		reason = "The weather forecast for the day told before is no longer good enough to open your roof."
	}
	why := block{Title: "Why it moved", Text: []string{reason, "We are sorry for the trouble. The evening before the new date, you hear from us whether we come. If the new day does not suit you, please answer this mail."}}
	out.add(why, c.visitBlock(l), clearing(l.Job), c.customerEnd(l.Subscribe, l.Invitation))
	return c.customerMail(l, KindDateMoved, l.Date, "Your roof: a new date, "+l.Date.Words(), out,
		c.afterQuiet(l.Now), job.Instant(l.Date, c.firm.Work.From, c.zone))
}

// DateCancelled tells a customer that nobody comes on the date told before.
func (c *Composer) DateCancelled(l VisitLetter) (Message, error) {
	if l.Was.IsZero() {
		return Message{}, fmt.Errorf("no told date to take back for job %s", l.Job.ID)
	}
	was := l.wasWords()
	out := letter{Headline: "Called off: " + was, Tone: plainTone, Lede: []string{
		greeting(l.Job),
		"We do not come " + onOrIn(l) + fullWas(l) + " for your roof (" + roof(l.Job.Job) + ").",
	}}
	why := block{}
	if s := Sentence(l.Why); s != "" {
		why = block{Title: "Why", Text: []string{s}}
	}
	next := block{Title: "What happens next", Text: []string{"There is no new date at present, and you need to keep nothing clear for us. If you have questions, please answer this mail."}}
	if l.NewFollows {
		next.Text = []string{"We are looking for another day and write to you as soon as we have one. Until then you need to keep nothing clear for us."}
	}
	out.add(why, next, c.customerEnd(l.Subscribe, l.Invitation))
	// it is of use until the day is over, or for two days when told late
	expires := c.startOf(l.Was.AddDays(1))
	if l.WasWeek {
		expires = c.startOf(l.Was.AddDays(5))
	}
	if late := l.Now.Add(48 * time.Hour); late.After(expires) {
		expires = late
	}
	return c.customerMail(l, KindCancelled, l.Was, "Your roof: called off, "+was, out, l.Now, expires)
}

// customerMail finishes a letter about a week or a date. From the second change
// on it says how many there were, so that no two letters read alike.
func (c *Composer) customerMail(l VisitLetter, kind Kind, about job.Date, subject string, body letter, notBefore, expires time.Time) (Message, error) {
	occasion := l.Occasion
	if occasion == "" {
		occasion = "move-" + strconv.Itoa(l.Visit.Moves)
	}
	if n := l.Visit.Moves; n > 1 || n == 1 && kind != KindDateMoved && kind != KindCancelled {
		body.Lede = append(body.Lede, fmt.Sprintf("The date has changed %s so far.", times(n)))
	}
	body.Invitation = l.Invitation
	// a quiet night must not hold a message back until it is of no use
	if !notBefore.Before(expires) {
		notBefore = l.Now
	}
	return c.finish(draft{
		name:     Name{Kind: kind, Job: l.Job.ID, Visit: l.Visit.N, Date: about, Occasion: occasion},
		audience: ToCustomer, toName: l.Job.Customer.Name, to: l.Job.Customer.Email,
		subject: subject, reason: c.customerReason(), letter: body, thread: l.Thread,
		now: l.Now, notBefore: notBefore, expires: expires,
	})
}

func (c *Composer) customerReason() string {
	return "you have asked " + clean(c.firm.Name) + " to lay a roof for you"
}

func (l VisitLetter) wasWords() string {
	if l.WasWeek {
		return "the week of " + l.Was.Words()
	}
	return l.Was.Words()
}

func fullWas(l VisitLetter) string {
	if l.WasWeek {
		return fullWeek(l.Was)
	}
	return fullDate(l.Was)
}

func fullWeek(monday job.Date) string { return "the week of " + fullDate(monday) }

func onOrIn(l VisitLetter) string {
	if l.WasWeek {
		return "in "
	}
	return "on "
}

// purpose says what a visit is for, from how far the roof has come.
func purpose(b job.Booking, roof string) string {
	const square = 0.005 // areas are kept to the centimetre squared
	switch {
	case b.LaidM2 >= b.Roof.AreaM2-square:
		return "to put the topcoat on your roof (" + roof + ")"
	case b.LaidM2 > 0:
		return "to lay the rest of your roof (" + roof + ")"
	}
	return "to lay your roof (" + roof + ")"
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return strconv.Itoa(n) + " times"
}

// insteadOf says which date the new one replaces.
func (c *Composer) insteadOf(l VisitLetter) string {
	if l.Was.IsZero() {
		return ""
	}
	return ", not " + onOrIn(l) + fullWas(l)
}

// startWords gives ", at 07:30" where a visit has a start.
func (c *Composer) startWords(v job.Visit) string {
	if v.Start <= 0 {
		return ""
	}
	return ", at " + v.Start.String()
}

func greeting(j job.Booking) string {
	if n := clean(j.Customer.Name); n != "" {
		return "Dear " + n + ","
	}
	return "Good day,"
}

// visitBlock says who comes and for how long the roof is open.
func (c *Composer) visitBlock(l VisitLetter) block {
	b := block{Title: "The visit"}
	b.addFact("Who comes", people(l.Crew))
	if l.Days > 1 {
		b.addFact("How long", strconv.Itoa(l.Days)+" working days")
	}
	if l.OpenFor >= 30*time.Minute && rules.Opens(l.Job) {
		s := "for about " + hours(l.OpenFor)
		if l.Days > 1 {
			s += " on each day, one part after the other"
		}
		b.addFact("Roof open", s+"; it is closed and tight before we leave")
	}
	b.addFact("Where", clean(l.Job.Site.Address))
	return b
}

// people names a crew to a customer.
func people(c job.Crew) string {
	name := clean(c.Name)
	if name == "" {
		return ""
	}
	if c.Size > 1 {
		return "crew " + name + ", " + strconv.Itoa(c.Size) + " people with a van"
	}
	return "crew " + name
}

// hours gives "1 hour", "6 hours", to the nearest whole.
func hours(d time.Duration) string {
	n := max(1, int(d.Round(time.Hour)/time.Hour))
	if n == 1 {
		return "1 hour"
	}
	return strconv.Itoa(n) + " hours"
}

// clearing says what to clear. Common practice, no source.
func clearing(j job.Booking) block {
	b := block{Title: "What to clear, please"}
	b.Items = []string{
		"The roof itself, and a strip of about two steps along the walls below it.",
		"A place for the van near the house, and the gate open.",
	}
	if rules.Opens(j) {
		b.Items = append(b.Items, "The room under the roof: take away or cover what must not get dusty.")
	}
	b.Items = append(b.Items,
		"Windows and roof lights nearby stay shut: the material smells until it has hardened.",
		"Children and animals stay away from the work, and nobody smokes near it.")
	return b
}

// about says why the weather has a say.
func about(j job.Booking) block {
	s := "A glass-fibre roof hardens in place. It needs some hours without rain, not too cold, not too damp and not too windy."
	if rules.Opens(j) {
		s += " We open your roof only on a day on which we can close it again."
	}
	return block{Title: "Why the weather decides", Text: []string{s}}
}

// customerEnd signs a letter and says how one's own calendar follows the date.
func (c *Composer) customerEnd(subscribe string, i *Invitation) block {
	b := block{Text: []string{"With kind regards, " + clean(c.firm.Name)}}
	switch {
	case i != nil && i.Method == "CANCEL":
		b.Text = append(b.Text, "With this mail your calendar takes the visit out again.")
	case i != nil:
		b.Text = append(b.Text, "The date comes with this mail for your calendar. What you answer to it there reaches us, but please write to us if the day does not suit you.")
	case isWebLink(subscribe):
		b.Text = append(b.Text, "Your calendar can follow the date by itself. It may lag a day behind, so news that cannot wait always comes by mail:")
		b.Links = []link{{"Subscribe to the date", subscribe}}
	}
	return b
}
