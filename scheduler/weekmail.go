package scheduler

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/ledger"
)

// weekMailGrace is how many hours late the week mail may still go.
const weekMailGrace = 24

// weekMail writes the owner the week: who lays what, what has no place, what is
// to be ordered. It is the one mail that may be stopped.
func (w *work) weekMail(ctx context.Context) error {
	day := job.DateOf(w.task.Slot.In(w.zone))
	if w.stopped(notify.KindWeek) {
		w.out.Untold = append(w.out.Untold, notify.Untold{
			Firm: w.book.Firm.UID, Person: w.book.Firm.Email, Date: day, At: w.now, Reason: "the week mail was stopped by its link",
		})
		return nil
	}
	if w.now.Sub(w.task.Slot).Hours() > weekMailGrace {
		w.missed("The week mail")
		return nil
	}
	l := notify.WeekLetter{Monday: monday(day), Now: w.now}
	w.weekPlan(&l)
	l.Held, l.Needs = w.held(), w.orders(day)
	ms, err := w.s.Store.Messages(ctx, w.book.Firm.UID)
	if err != nil {
		return fmt.Errorf("read the messages: %w", err)
	}
	l.Told = toldLately(ms, w.now)
	words, err := w.honesty(ctx)
	if err != nil {
		return err
	}
	if words != "" {
		l.Notes = append(l.Notes, words)
	}
	l.Stop = w.url(access.Owner, "", access.Stop)
	short, ok, err := w.s.Fuller(w.book, day)
	if err != nil {
		return err
	}
	if ok {
		l.Notes = append(l.Notes, short.Words())
	}
	var from []string
	if w.book.Week != nil {
		from = w.book.Week.Sources
	}
	m, err := w.say.Crediting(w.s.CreditOf(from)).WeekMail(l)
	w.post(m, err, w.book.Firm.Email, "", day)
	return nil
}

// stopped reports whether the owner wants no more mails of a kind.
func (w *work) stopped(k notify.Kind) bool {
	return slices.ContainsFunc(w.book.Stopped, func(x ledger.Stopped) bool {
		return x.Kind == k && x.Person == strings.ToLower(w.book.Firm.Email)
	})
}

// weekPlan writes what the plan in force says of the week.
func (w *work) weekPlan(l *notify.WeekLetter) {
	if w.book.Week == nil {
		return
	}
	for _, c := range w.book.Crews {
		k := notify.WeekCrew{Crew: c}
		for _, v := range w.book.Week.Visits {
			b, ok := w.booking(v.Job)
			if v.Crew != c.ID || len(v.Days) == 0 || !ok || v.Days[0].After(l.Monday.AddDays(6)) {
				continue
			}
			k.Visits = append(k.Visits, notify.WeekLine{
				Date: v.Days[0], Days: len(v.Days), Start: v.Start, Job: b, Known: v.Chance > 0 && rules.Basis(v.Basis) != rules.FromClimate, Chance: v.Chance, Told: v.Told,
			})
		}
		l.Crews = append(l.Crews, k)
	}
	for _, x := range w.book.Week.Left {
		if b, ok := w.booking(x.Job); ok && unplannable(b) == "" {
			l.Left = append(l.Left, fmt.Sprintf("%s (%s): %s", b.Title, x.Job, x.Reason))
		}
	}
	l.Notes = append(l.Notes, planWords(w.book.Week.Gap, w.book.Week.Proven))
}

// held says which jobs are kept out of the plan, and what they wait for.
func (w *work) held() []string {
	var out []string
	for _, b := range w.book.Jobs {
		if why := unplannable(b); why != "" && b.State == job.Booked {
			out = append(out, fmt.Sprintf("%s (%s): %s", b.Title, b.ID, strings.TrimPrefix(why, "on hold: ")))
		}
	}
	return out
}

func planWords(gap float64, proven bool) string {
	if proven || gap == 0 {
		return "This plan is proven best by the chances of today."
	}
	return fmt.Sprintf("This plan is within %.2g %% of the best possible by the chances of today.", gap*100)
}

// orderAhead is how many days before its last moment an order is spoken of: two
// week mails. Ours, no source.
const orderAhead = 13

// orders says what must be ordered by when for the visits that stand, the most
// pressing first.
func (w *work) orders(today job.Date) []string {
	type order struct {
		by   job.Date
		line string
	}
	var all []order
	for _, v := range w.book.Visits {
		b, ok := w.booking(v.Job)
		if !ok || b.State != job.Booked {
			continue
		}
		first, what := v.First(), "the visit on "
		if first.IsZero() {
			first, what = b.Earliest, "at the earliest "
		}
		for _, n := range b.Needs {
			by := first.AddDays(-n.LeadDays)
			if n.Ordered || by.After(today.AddDays(orderAhead)) {
				continue
			}
			o := order{by, fmt.Sprintf("%s for %s (%s): order by %s, for %s%s", n.What, b.Title, b.ID, by.Words(), what, first.Words())}
			if by.Before(today) {
				o.line = fmt.Sprintf("%s for %s (%s): late. Ordered today it comes %s; %s%s",
					n.What, b.Title, b.ID, today.AddDays(n.LeadDays).Words(), what, first.Words())
			}
			all = append(all, o)
		}
	}
	slices.SortStableFunc(all, func(a, b order) int { return a.by.Compare(b.by) })
	var out []string
	for _, o := range all {
		out = append(out, o.line)
	}
	return out
}

// lately is how far back the week mail looks at what people were told.
const lately = 28 * 24 * time.Hour // elapsed: a rough window, no date

// toldLately says how the telling went: dates told and moved and the notice that
// customers had, and what did not arrive.
func toldLately(ms []notify.Message, now time.Time) []string {
	told, moved, off, notice, lost := 0, 0, 0, 0, 0
	for _, m := range ms {
		if m.Created.Before(now.Add(-lately)) {
			continue
		}
		switch {
		case m.Audience != notify.ToCustomer:
		case m.Kind == notify.KindDateTold:
			told++
		case m.Kind == notify.KindDateMoved:
			moved++
		case m.Kind == notify.KindCancelled:
			off++
		}
		if m.Audience == notify.ToCustomer && (m.Kind == notify.KindDateTold || m.Kind == notify.KindDateMoved) {
			notice += m.Date.DaysSince(job.DateOf(m.Created.UTC()))
		}
		if m.State == notify.Refused || m.State == notify.Unknown {
			lost++
		}
	}
	var out []string
	if n := told + moved; n > 0 {
		out = append(out, fmt.Sprintf("in the last four weeks %s told a date, %s to another day and %s called off; the notice was %.1f days on average",
			count(told, "customer was", "customers were"), count(moved, "was moved", "were moved"), count(off, "was", "were"), float64(notice)/float64(n)))
	}
	if lost > 0 {
		out = append(out, count(lost, "message", "messages")+" of the last four weeks did not arrive, or may not have; laycast messages --lost lists them")
	}
	return out
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}
