package notify

import (
	"time"

	"laycast/rules"
	"laycast/scheduler/call"
)

// CustomerCall tells the customer due on a day whether the crew comes: on the
// evening before, at the second look, and after a later change. The customer
// always hears something.
func (c *Composer) CustomerCall(l CallLetter) (Message, error) {
	if err := l.check(); err != nil {
		return Message{}, err
	}
	f := c.factsOf(l)
	date := fullDate(l.Call.Date)
	out := letter{Tone: plainTone, Lede: []string{greeting(l.Job)}, Weather: true, Invitation: l.Invitation}
	var subject string
	expires := c.callExpiry(l, f)
	switch l.Call.Outcome {
	case call.Go:
		out.Headline = "We come " + f.when + " at " + f.wall.at(f.start)
		subject = "Your roof: we come " + f.when + " at " + f.wall.at(f.start)
		out.Lede = append(out.Lede, "We come at "+f.wall.at(f.start)+" on "+date+" "+purpose(l.Job, f.roof)+".")
		out.add(c.comingBlock(l, f), clearing(l.Job))
	case call.NoGo:
		out.Headline = "Not " + f.when + ", a new date follows"
		subject = "Your roof: not " + f.when + ", a new date follows"
		out.Lede = append(out.Lede, "We do not come "+f.when+", "+date+". A new date follows.")
		sorry := "We are sorry for the trouble."
		if rules.Opens(l.Job) {
			sorry += " We open your roof only on a day on which we can close it again."
		}
		out.add(block{Title: "Why", Text: []string{customerWhy(l), sorry}}, block{Title: "What happens next", Text: []string{
			"We are looking for the next good day and write to you as soon as we have it. Until then you need to keep nothing clear for us.",
		}})
	case call.Hold:
		by := "in the morning"
		if t, ok := c.decideBy(l); ok {
			// half an hour for the mail to be written and read
			by = "by " + f.wall.at(t.Add(30*time.Minute))
			if t.After(l.Now) {
				expires = t
			}
		}
		out.Headline = "You hear " + by + " either way"
		if l.StandBy {
			out.Headline = "Perhaps " + f.when
			subject = "Your roof: perhaps " + f.when + ", you hear " + by + " either way"
			out.Lede = append(out.Lede, "Perhaps we can come "+f.when+", "+date+", at "+f.wall.at(f.start)+" "+purpose(l.Job, f.roof)+". This is no promise yet. You hear from us "+by+" either way.",
				"If "+f.when+" does not suit you, please answer this mail or ring us tonight.")
		} else {
			subject = "Your roof: " + f.when + " is not certain, you hear " + by + " either way"
			out.Lede = append(out.Lede, "Whether we come "+f.when+", "+date+", is not certain yet. You hear from us "+by+" either way. Until then please keep things ready for us.")
		}
		out.add(block{Title: "Why", Text: []string{holdWhy(l)}}, c.comingBlock(l, f), clearing(l.Job))
	}
	out.add(c.customerEnd(l.Subscribe, l.Invitation))
	kind := KindSecondLook
	if l.Call.Occasion == call.Evening {
		kind = KindCall
	}
	return c.finish(draft{
		// The occasion says whom it is for: a firm's own roof may bear the crew's
		// address as the customer's, and the two mails must not share a name.
		name: Name{
			Kind: kind, Job: l.Call.Job, Visit: l.Call.Visit, Date: l.Call.Date, Occasion: string(l.Call.Occasion) + "/customer",
		},
		audience: ToCustomer, toName: l.Job.Customer.Name, to: l.Job.Customer.Email,
		subject: subject, reason: c.customerReason(), letter: out, thread: l.Thread, now: l.Now, expires: expires,
	})
}

// comingBlock says who comes and when the roof is open.
func (c *Composer) comingBlock(l CallLetter, f letterFacts) block {
	b := block{Title: "The visit"}
	b.addFact("Who comes", people(l.Crew))
	if from, ok := opened(l.Call.Stages); ok && l.Call.SealedBy.After(from) {
		b.addFact("Roof open", "from about "+f.wall.at(from)+" to about "+f.wall.at(l.Call.SealedBy)+"; it is closed and tight before we leave")
	}
	b.addFact("Where", clean(l.Job.Site.Address))
	if l.Call.Outcome == call.Go {
		b.Text = []string{"The crew looks at the sky once more before it opens anything. If it cannot begin, it tells you on the spot."}
	}
	return b
}

// opened gives the hour at which the strip begins.
func opened(stages []rules.Span) (time.Time, bool) {
	for _, s := range stages {
		if s.Stage == rules.Strip && !s.From.IsZero() {
			return s.From, true
		}
	}
	return time.Time{}, false
}

// customerWhy says in plain words why not: as told, else the limit that stopped
// most members.
func customerWhy(l CallLetter) string {
	if s := Sentence(l.Why); s != "" {
		return s
	}
	if !l.Call.Known {
		return Sentence(kindWords(rules.LimitUnknown))
	}
	var worst rules.Failing
	for _, f := range l.Call.Failing {
		if f.Members > worst.Members {
			worst = f
		}
	}
	return Sentence(kindWords(worst.Limit))
}

func holdWhy(l CallLetter) string {
	if s := Sentence(l.Why); s != "" {
		return s
	}
	if !l.Call.Known {
		return "We have no weather forecast yet that we could rely on. Early in the morning we look again."
	}
	return "The weather may be just good enough, or just not. Early in the morning we look again and know more."
}
