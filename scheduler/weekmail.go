package scheduler

import (
	"fmt"

	"laycast/job"
	"laycast/notify"
)

// weekMailGrace is how many hours late the week mail may still go.
const weekMailGrace = 24

// weekMail writes the owner the week: who lays what, what has no place, what is
// to be ordered.
func (w *work) weekMail() error {
	w.out.Revision = 0
	if w.now.Sub(w.task.Slot).Hours() > weekMailGrace {
		w.missed("The week mail")
		return nil
	}
	day := job.DateOf(w.task.Slot.In(w.zone))
	l := notify.WeekLetter{Monday: monday(day), Now: w.now}
	if w.book.Week != nil {
		for _, c := range w.book.Crews {
			k := notify.WeekCrew{Crew: c}
			for _, v := range w.book.Week.Visits {
				b, ok := w.booking(v.Job)
				if v.Crew != c.ID || len(v.Days) == 0 || !ok || v.Days[0].After(l.Monday.AddDays(6)) {
					continue
				}
				k.Visits = append(k.Visits, notify.WeekLine{
					Date: v.Days[0], Days: len(v.Days), Start: v.Start, Job: b, Known: v.Chance > 0, Chance: v.Chance, Told: v.Told,
				})
			}
			l.Crews = append(l.Crews, k)
		}
		for _, x := range w.book.Week.Left {
			if b, ok := w.booking(x.Job); ok {
				l.Left = append(l.Left, fmt.Sprintf("%s (%s): %s", b.Title, x.Job, x.Reason))
			}
		}
		l.Notes = append(l.Notes, planWords(w.book.Week.Gap, w.book.Week.Proven))
	}
	l.Needs = w.orders(day)
	m, err := w.say.WeekMail(l)
	w.post(m, err, w.book.Firm.Email, "", day)
	return nil
}

func planWords(gap float64, proven bool) string {
	if proven || gap == 0 {
		return "This plan is proven best by the chances of today."
	}
	return fmt.Sprintf("This plan is within %.2g %% of the best possible by the chances of today.", gap*100)
}

// orders says what must be ordered by when for the visits that stand.
func (w *work) orders(today job.Date) []string {
	var out []string
	for _, v := range w.book.Visits {
		b, ok := w.booking(v.Job)
		if !ok || b.State != job.Booked {
			continue
		}
		first := v.First()
		if first.IsZero() {
			first = b.Earliest
		}
		for _, n := range b.Needs {
			by := first.AddDays(-n.LeadDays)
			if n.Ordered || by.After(today.AddDays(13)) {
				continue
			}
			out = append(out, fmt.Sprintf("%s for %s (%s): order by %s", n.What, b.Title, b.ID, by.Words()))
		}
	}
	return out
}
