package replay

import (
	"context"
	"slices"

	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// Fate is what became of one crew's working day.
type Fate string

// The fates.
const (
	Held        Fate = "sent, held"
	NotHeld     Fate = "sent, did not hold"
	NoGoEvening Fate = "no-go in the evening"
	NoGoMorning Fate = "on hold, or no-go in the morning"
	Untold      Fate = "planned, customer not told"
	Idle        Fate = "nothing planned"
)

// Fates gives all, in the order of the table.
func Fates() []Fate { return []Fate{Held, NotHeld, NoGoEvening, NoGoMorning, Untold, Idle} }

// Spent counts crew-days of one fate.
type Spent struct {
	Days int
	// Could of them would have held: some start that day would have sealed the
	// roof that was planned, or where none was, one that was in the book.
	Could int
	// Likely of those were seen the evening before: with chances from which the
	// firm calls go.
	Likely int
}

// spending follows the crews' days from the evening's call to the close.
type spending struct {
	of   map[Fate]Spent
	open map[job.Date]map[string]crewDay // called and not closed, by crew
}

type crewDay struct {
	fate          Fate
	could, likely bool
}

func newSpending() *spending {
	return &spending{of: map[Fate]Spent{}, open: map[job.Date]map[string]crewDay{}}
}

// called notes how the evening's call leaves the next day.
func (sp *spending) called(d *daemon, x ledger.Decision, tomorrow job.Date) {
	if !d.s.Firm.Work.Working(tomorrow) {
		return
	}
	days := map[string]crewDay{}
	planned := map[string]bool{}
	for _, v := range d.m.visits {
		if !v.On(tomorrow) || v.State != job.Planned && v.State != job.Started {
			continue
		}
		planned[v.Job] = true
		day := d.chanceOf(*d.m.booking(v.Job), tomorrow, x)
		day.fate = Untold
		if i := slices.IndexFunc(x.Calls, func(c call.Call) bool { return c.Job == v.Job && c.Date == tomorrow }); i >= 0 {
			day.fate = NoGoMorning
			if x.Calls[i].Outcome == call.NoGo {
				day.fate = NoGoEvening
			}
		}
		if had, ok := days[v.Crew]; ok { // two half days: the better one counts
			day.could, day.likely = day.could || had.could, day.likely || had.likely
			if had.fate == NoGoMorning {
				day.fate = had.fate
			}
		}
		days[v.Crew] = day
	}
	if len(days) < len(d.s.Crews) {
		idle := crewDay{fate: Idle}
		for _, b := range d.m.jobs {
			if planned[b.ID] || b.State != job.Booked || b.Barred(tomorrow) || allLaid(b) {
				continue
			}
			day := d.chanceOf(b, tomorrow, x)
			idle.could, idle.likely = idle.could || day.could, idle.likely || day.could && day.likely
		}
		for _, c := range d.s.Crews {
			if _, ok := days[c.ID]; !ok {
				days[c.ID] = idle
			}
		}
	}
	sp.open[tomorrow] = days
}

// chanceOf says whether a day would hold a job, and whether that was seen the
// evening before.
func (d *daemon) chanceOf(b job.Booking, on job.Date, x ledger.Decision) crewDay {
	day := crewDay{could: d.truth.best(b, on).sealed}
	is, err := d.sched.Issues(context.Background(), d.m.jobs, x.Now, d.s.Zone)
	if err != nil {
		return day
	}
	judged, err := d.sched.Judge(d.s.Firm, b, hands, on, is[scheduler.CellOf(b.Site)], x.Now)
	if err != nil || !judged.Basis.Foreseen() {
		return day
	}
	s, ok := judged.BestStart()
	day.likely = ok && s.Within(d.s.Firm.Bounds)
	return day
}

// closed counts a day that is over.
func (sp *spending) closed(d *daemon, today job.Date) {
	for crew, day := range sp.open[today] {
		for _, l := range d.diary.lays {
			if l.on != today || l.crew != crew || day.fate == Held {
				continue
			}
			day.fate, day.could = NotHeld, day.could || l.sealed
			if l.sealed {
				day.fate = Held
			}
		}
		n := sp.of[day.fate]
		n.Days++
		if day.could {
			n.Could++
		}
		if day.could && day.likely {
			n.Likely++
		}
		sp.of[day.fate] = n
	}
	delete(sp.open, today)
}
