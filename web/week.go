package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// weekPage is the plan in force: days by crews, what has no place, the calls.
type weekPage struct {
	Made      string
	Gain      string // what the plan gains
	Bound     string
	Moves     []moveLine // new dates that wait for the owner's yes
	Crews     []string
	Days      []weekDay
	Changes   []changeLine // since yesterday
	Left      []leftLine
	Calls     []callRow
	Acts      bool // the reader may change things
	Links     bool // and see the pages of jobs
	Subscribe *subscribe
}

type moveLine struct {
	Job, Roof, Told, New string
	Path                 string
	To                   string // New as a date
	Moves                int    // earlier ones
}

type changeLine struct{ Job, Path, Roof, What, Reason string }

type weekDay struct {
	When  string
	Cells []weekCell // one a crew, in the order of Crews
}

type weekCell struct {
	Crew  string
	Items []weekItem
	Free  string // "free", "away" where nothing stands
	Price string // what the plan loses if the crew cannot come
}

type weekItem struct {
	Job, Roof, Hours, Chance string
	Path                     string // of the job's page
	Binds                    string // the limit that binds
	Usual                    string // what stands in place of a chance where no forecast reaches
	Call                     string // the call in force: GO, NO-GO, HOLD
	Tone                     string
	Day, Of                  int  // day Day of Of
	Sent                     bool // called, and no longer in the plan
	Provisional              bool
	Date, Crew               string // of the day, for forms
	Pinned                   bool
}

type leftLine struct {
	Job, Roof, Reason string
	Path              string
	Held              bool // by the firm: it can be put back
}

// callRow is a call with what it is about.
type callRow struct {
	When, Crew, Job, Roof string
	Call                  callLine
}

// weekView makes the page of the plan in force.
func weekView(b ledger.Book, n weekNews, at moment, sub *subscribe, acts bool) weekPage {
	p := weekPage{Subscribe: sub, Calls: callRows(b, at), Moves: moveLines(b, at), Acts: acts}
	for _, c := range b.Crews {
		p.Crews = append(p.Crews, crewName(b, c.ID))
	}
	if b.Week == nil {
		return p
	}
	p.Made = b.Week.Made.In(at.zone).Format("Monday 2 January at 15:04")
	p.Gain, p.Bound = gainWords(*b.Week, b.Firm.Costs.Currency), boundWords(*b.Week)
	for _, d := range weekDates(b, at.today) {
		day := weekDay{When: at.near(d)}
		for _, c := range b.Crews {
			day.Cells = append(day.Cells, weekCellOf(b, n, c, d, at))
		}
		p.Days = append(p.Days, day)
	}
	for _, c := range n.changes {
		p.Changes = append(p.Changes, changeLine{Job: notify.Clean(c.Job), Path: jobPath(c.Job), Roof: roofOf(b, c.Job), What: changeWords(c), Reason: notify.Clean(c.Reason)})
	}
	for _, l := range b.Week.Left {
		j, _ := booking(b, l.Job)
		p.Left = append(p.Left, leftLine{Job: notify.Clean(l.Job), Path: jobPath(l.Job), Roof: roofOf(b, l.Job), Reason: notify.Clean(l.Reason), Held: j.Held != ""})
	}
	return p
}

// moveLines gives the new dates that wait for the owner's answer.
func moveLines(b ledger.Book, at moment) []moveLine {
	var out []moveLine
	for _, v := range b.Visits {
		j, ok := booking(b, v.Job)
		if !ok || j.State != job.Booked || !ledger.MoveAsked(v, at.today) {
			continue
		}
		out = append(out, moveLine{Job: v.Job, Path: jobPath(v.Job), Roof: roofOf(b, v.Job), Told: v.Told.Words(), New: v.First().Words(), To: v.First().String(), Moves: v.Moves})
	}
	return out
}

func changeWords(c plan.WeekChange) string {
	switch {
	case c.From.IsZero():
		return "placed on " + c.To.Words()
	case c.To.IsZero():
		return "taken out, was " + c.From.Words()
	}
	return c.To.Words() + ", was " + c.From.Words()
}

// weekDates gives the days from today on that have work, and the working days
// between them, in order.
func weekDates(b ledger.Book, today job.Date) []job.Date {
	last := today
	has := map[job.Date]bool{}
	for _, v := range b.Week.Visits {
		for _, d := range v.Days {
			has[d] = true
			if d.After(last) {
				last = d
			}
		}
	}
	var ds []job.Date
	const most = 62 // a plan reaches two weeks; a long visit some more
	for d, n := today, 0; !d.After(last) && n < most; d, n = d.AddDays(1), n+1 {
		if has[d] || b.Firm.Work.Working(d) {
			ds = append(ds, d)
		}
	}
	return ds
}

// weekCellOf gives what one crew has on one day.
func weekCellOf(b ledger.Book, n weekNews, c job.Crew, d job.Date, at moment) weekCell {
	cell := weekCell{Crew: crewName(b, c.ID), Items: weekItems(b, n, c.ID, d, at)}
	switch {
	case len(cell.Items) > 0:
	case slices.Contains(c.Absences, d):
		cell.Free = "away"
	case !b.Firm.Work.Working(d):
		cell.Free = "no working day"
	default:
		cell.Free = "free"
	}
	if i := slices.IndexFunc(b.Week.CrewDays, func(x plan.CrewDay) bool { return x.Crew == c.ID && x.Day == d }); i >= 0 && len(cell.Items) > 0 {
		cost := b.Week.CrewDays[i].Cost
		cell.Price = cost.Amount.Words(b.Firm.Costs.Currency)
		if !cost.Exact {
			cell.Price = "about " + cell.Price
		}
	}
	return cell
}

func weekItems(b ledger.Book, n weekNews, crew string, d job.Date, at moment) []weekItem {
	var out []weekItem
	for _, v := range b.Week.Visits {
		i := slices.Index(v.Days, d)
		if v.Crew != crew || i < 0 {
			continue
		}
		told, _ := toldDay(b, v)
		it := weekItem{Job: notify.Clean(v.Job), Path: jobPath(v.Job), Roof: roofOf(b, v.Job), Hours: v.Start.String(), Day: i + 1, Of: len(v.Days), Provisional: told != v.Days[0]}
		switch usual := rules.Basis(v.Basis) == rules.FromClimate; { // the chance is that of the first day
		case i == 0 && usual:
			it.Usual = fmt.Sprintf("no forecast reaches it; usual weather of %s: %s", d.Month, notify.Percent(v.Chance))
		case i == 0 && v.Chance > 0:
			it.Chance = notify.Percent(v.Chance)
		}
		j, _ := booking(b, v.Job)
		it.Date, it.Crew, it.Pinned = d.String(), crew, j.Pinned.Day == d
		zone := siteZone(j.Job, at.zone)
		if day, ok := n.outlook[v.Job]; ok && day.Date == d && day.Known() {
			if !day.SealedBy.IsZero() {
				it.Hours += " to " + day.SealedBy.In(zone).Format("15:04")
			}
			it.Binds = binding(day, zone)
		}
		if k := standing(b.Calls, v.Job, d); k != nil {
			it.Call, it.Tone = strings.ToUpper(string(k.Outcome)), string(k.Outcome)
		}
		out = append(out, it)
	}
	out = append(out, underWayItems(b, crew, d, at, out)...)
	slices.SortStableFunc(out, func(x, y weekItem) int { return strings.Compare(x.Hours, y.Hours) })
	return out
}

// toldDay gives the day that a visit's customer holds now, since dates are told after a
// plan is made, too; and the day for which one who holds none was asked to stand by.
func toldDay(b ledger.Book, v plan.WeekVisit) (told, standBy job.Date) {
	for _, x := range b.Visits {
		if x.Job == v.Job && x.N == v.N {
			return x.Told, x.StandBy
		}
	}
	return v.Told, job.Date{}
}

// underWayItems gives what a crew was sent to on a day and the plan, which looks
// ahead, holds no more.
func underWayItems(b ledger.Book, crew string, d job.Date, at moment, have []weekItem) []weekItem {
	var out []weekItem
	for i := range b.Calls {
		k := &b.Calls[i]
		if k.Crew != crew || k.Date != d || k.Outcome == call.NoGo || standing(b.Calls, k.Job, d) != k ||
			slices.ContainsFunc(have, func(x weekItem) bool { return x.Job == notify.Clean(k.Job) }) {
			continue
		}
		j, ok := booking(b, k.Job)
		if !ok {
			continue
		}
		it := weekItem{Job: notify.Clean(k.Job), Path: jobPath(k.Job), Roof: roofOf(b, k.Job), Call: strings.ToUpper(string(k.Outcome)), Tone: string(k.Outcome), Sent: true}
		it.Hours = notify.SpanWords(k.Start, k.SealedBy, siteZone(j.Job, at.zone), d)
		if k.Known {
			it.Chance = notify.Percent(k.Chance)
		}
		out = append(out, it)
	}
	return out
}

// gainWords says what a plan gains, and what at most another could.
func gainWords(w plan.Week, currency string) string {
	line := "It gains " + w.Objective.Words(currency)
	if w.Bound > w.Objective {
		line += "; no plan could gain more than " + w.Bound.Words(currency)
	}
	return line + "."
}

// callRows gives the calls in force for today and after.
func callRows(b ledger.Book, at moment) []callRow {
	var out []callRow
	for i := range b.Calls {
		k := &b.Calls[i]
		if k.Date.Before(at.today) || standing(b.Calls, k.Job, k.Date) != k {
			continue
		}
		zone := at.zone
		if j, ok := booking(b, k.Job); ok {
			zone = siteZone(j.Job, zone)
		}
		out = append(out, callRow{When: at.near(k.Date), Crew: crewName(b, k.Crew), Job: notify.Clean(k.Job), Roof: roofOf(b, k.Job), Call: callLineOf(*k, zone)})
	}
	return out
}

func roofOf(b ledger.Book, id string) string {
	if j, ok := booking(b, id); ok {
		return notify.Roof(j.Job)
	}
	return notify.Clean(id)
}

// boundWords says how good a plan is proven to be.
func boundWords(w plan.Week) string {
	if w.Proven || w.Gap == 0 {
		return "This plan is proven best by the chances of the day it was made."
	}
	return fmt.Sprintf("This plan is within %.2g %% of the best possible by the chances of the day it was made.", w.Gap*100)
}

// week shows the plan in force.
func (s *site) week(w http.ResponseWriter, r *http.Request, v viewer) {
	acts := s.Desk != nil && !v.Looks
	f, err := s.weekFrame(r.Context(), acts)
	if err != nil {
		s.unavailable(w, "week", err)
		return
	}
	f.Viewer = &v
	s.show(w, http.StatusOK, "week", f)
}

// weekFrame gives the week page without its viewer, from the one made last while
// the book stands still.
func (s *site) weekFrame(ctx context.Context, acts bool) (frame, error) {
	// before the book: what is made from it is at least as new as its number says
	revision, err := s.Books.Revision(ctx, s.firmUID())
	if err != nil {
		return frame{}, err
	}
	now := s.Clock.Now()
	if f, ok := s.weeks.get(acts, revision, now); ok {
		return f, nil
	}
	b, at, err := s.book(ctx, s.firmUID())
	if err != nil {
		return frame{}, err
	}
	n, err := s.newsOf(ctx, s.firmUID(), b.Revision, at)
	if err != nil {
		return frame{}, err
	}
	f := frame{Title: "The week", Firm: notify.Clean(b.Firm.Name), Credit: s.creditFor(b)}
	view := weekView(b, n, at, nil, acts)
	view.Links = s.Jobs != nil
	f.Body = view
	until := now.Add(newsLasts)
	if midnight := job.Instant(at.today.AddDays(1), 0, at.zone); midnight.Before(until) {
		until = midnight
	}
	s.weeks.put(acts, keptWeek{revision: revision, made: now, until: until, frame: f})
	return f, nil
}

// keptWeeks are the week pages made last, of those who may act and of those who
// may only look.
type keptWeeks struct {
	mu sync.Mutex
	by map[bool]keptWeek
}

type keptWeek struct {
	revision    int64
	made, until time.Time
	frame       frame
}

func (k *keptWeeks) get(acts bool, revision int64, now time.Time) (frame, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	w, ok := k.by[acts]
	return w.frame, ok && w.revision == revision && !now.Before(w.made) && now.Before(w.until)
}

func (k *keptWeeks) put(acts bool, w keptWeek) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.by[acts] = w
}
