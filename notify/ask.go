package notify

import (
	"fmt"
	"time"
)

// KindAsk is the mail that asks the owner about new dates.
const KindAsk Kind = "ask"

// AskLetter is what the owner's mail about new dates is made from.
type AskLetter struct {
	Lines []string // one a date, then what happens without an answer
	Link  string   // where to say yes; may be empty
	Now   time.Time
}

// Ask asks the owner for a yes to new dates before customers hear of them.
func (c *Composer) Ask(l AskLetter) (Message, error) {
	if len(l.Lines) == 0 || l.Now.IsZero() {
		return Message{}, fmt.Errorf("there is no new date to ask about")
	}
	out := letter{Tone: holdTone, Headline: "New dates wait for your yes", Lede: []string{"The plan has moved dates that customers were told."}}
	b := block{Title: "The dates"}
	for _, s := range l.Lines {
		if s = clean(s); s != "" {
			b.Items = append(b.Items, s)
		}
	}
	out.add(b)
	if isWebLink(l.Link) {
		out.add(block{Title: "Your yes", Text: []string{"The link opens a page with one button."}, Links: []link{{"Say yes to these dates", l.Link}}})
	}
	return c.finish(draft{
		name:     Name{Kind: KindAsk, Date: c.today(l.Now), Occasion: l.Now.UTC().Format("20060102T150405Z")},
		audience: ToOwner, toName: c.firm.Name, to: c.firm.Email,
		subject: "New dates wait for your yes, " + l.Now.In(c.zone).Format("Monday 2 January 15:04"),
		reason:  "you look after " + clean(c.firm.Name), letter: out, now: l.Now, expires: l.Now.Add(48 * time.Hour),
	})
}
