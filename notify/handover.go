package notify

import (
	"fmt"
	"slices"
	"time"

	"laycast/job"
)

// HandOverLetter tells a customer how a roof was laid. Values that are not known
// are left empty.
type HandOverLetter struct {
	Job     job.Booking
	Visit   int
	Date    job.Date
	Outcome string    // "laid", "laid and topcoated", "topcoated"
	AreaM2  float64   // of the day
	Began   time.Time // as reported, and so are the next two
	Sealed  time.Time
	Coated  time.Time
	Deck    []float64 // °C, its temperature as measured
	Margins []float64 // K, dew margins as measured
	Batches int
	Hash    string // of the closed record's last row
	Now     time.Time
}

// HandOver composes the customer's hand-over mail from a closed record.
func (c *Composer) HandOver(l HandOverLetter) (Message, error) {
	if l.Date.IsZero() || l.Now.IsZero() || l.Hash == "" {
		return Message{}, fmt.Errorf("the record of job %s is not closed yet; it is closed 36 hours after the last cure", l.Job.ID)
	}
	w := wall{c.siteZone(l.Job.Site), l.Date}
	out := letter{Headline: "Your roof: how it was laid", Tone: goTone, Lede: []string{
		greeting(l.Job),
		fmt.Sprintf("On %s your roof (%s) was %s: %.1f m² that day.", fullDate(l.Date), roof(l.Job.Job), clean(l.Outcome), l.AreaM2),
	}}
	facts := block{Title: "What we noted"}
	at := func(label string, t time.Time) {
		if !t.IsZero() {
			facts.addFact(label, w.at(t))
		}
	}
	at("Work began", l.Began)
	at("Sealed", l.Sealed)
	at("Topcoat done", l.Coated)
	if len(l.Deck) > 0 {
		facts.addFact("Deck as measured", fmt.Sprintf("%.1f to %.1f °C", slices.Min(l.Deck), slices.Max(l.Deck)))
	}
	if len(l.Margins) > 0 {
		facts.addFact("Deck above the dew point, at least", fmt.Sprintf("%.1f K", slices.Min(l.Margins)))
	}
	if l.Batches > 0 {
		facts.addFact("Batches of resin and topcoat noted", fmt.Sprint(l.Batches))
	}
	out.add(facts,
		block{Title: "Please", Text: []string{
			"Keep off the roof until we say that it may be walked on, and do not put anything on it.",
			"Resin smells for some days; air the rooms below.",
		}},
		block{Title: "The record", Text: []string{
			"We keep the full record of the day: times, weather, readings, batches and photos. Answer this mail if you want it as PDF.",
			"It is closed and cannot be changed without showing. Its mark is " + l.Hash + ": keep this mail, and the record can be held against it.",
		}},
		c.customerEnd("", nil))
	return c.finish(draft{
		name:     Name{Kind: KindHandOver, Job: l.Job.ID, Visit: l.Visit, Date: l.Date, Occasion: "record"},
		audience: ToCustomer, toName: l.Job.Customer.Name, to: l.Job.Customer.Email,
		subject: "Your roof: how it was laid on " + l.Date.Words(), reason: "we laid your roof on " + l.Date.Words(),
		// no hurry: a week is long enough to bring a mail
		letter: out, now: l.Now, expires: c.startOf(c.today(l.Now).AddDays(8)),
	})
}
