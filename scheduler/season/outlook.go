package season

import (
	"fmt"
	"math"
	"slices"
	"time"

	"laycast/job"
)

// Caught is the share of the sealable days that a crew gets to use, going by
// forecasts: sealed by the record, of those sealable with perfect knowledge.
// Measured over nine station-years, 20 m², by dressed members (docs/limits-tables.md):
// 0.52 where the source's members are as narrow as raw ones, 0.57 where they are as
// wide as its errors; this lies between. It was 0.7 while raw members were called by,
// who sent crews to more days, and more of them in vain.
const Caught = 0.55

// returnDay is the part of a working day that a topcoat of its own takes.
// Common practice, no source.
const returnDay = 0.5

// Share gives the share of the month's working days on which a roof can be
// sealed; 0 where none is known.
func (m Month) Share() float64 {
	if m.Work <= 0 {
		return 0
	}
	return float64(m.WorkSealable) / float64(m.Work)
}

// Window gives the usual times on site: on half of the sealable days the first
// start that still seals the roof was at `from` or before, and on half the last
// one was at `to` or after. ok is false where no day was sealable.
func (m Month) Window() (from, to job.TimeOfDay, ok bool) {
	if len(m.First) == 0 {
		return 0, 0, false
	}
	return middle(m.First), middle(m.Last), true
}

// middle gives the median, the earlier of two.
func middle(ts []job.TimeOfDay) job.TimeOfDay {
	s := slices.Sorted(slices.Values(ts))
	return s[(len(s)-1)/2]
}

// DaysFor gives the laying days that a job of areaM2 takes in the month, the
// part of a day for a topcoat visit of its own among them; 0 where no day is
// sealable.
func (m Month) DaysFor(areaM2 float64) float64 {
	if m.Sealable == 0 || m.BayM2 <= 0 {
		return 0
	}
	bays := math.Ceil(areaM2/(m.BayM2/float64(m.Days)) - 1e-6)
	return bays + returnDay*(1-float64(m.Full)/float64(m.Sealable))
}

// Jobs gives how many jobs of areaM2 one crew can expect to finish in such a
// month, going by forecasts, on the firm's working days; years is how many
// years the month was summed over.
func (m Month) Jobs(areaM2 float64, years int) float64 {
	each := m.DaysFor(areaM2)
	if each == 0 || years < 1 {
		return 0
	}
	return Caught * float64(m.WorkSealable) / float64(years) / each
}

// Outlook is what a firm keeps of a record: for each month the share of working
// days on which a roof can be sealed.
type Outlook struct {
	Station string
	Share   [12]float64 // 0 to 1
	Full    [12]float64 // of those, the share topcoated the same day
}

// Of makes the outlook of twelve months.
func Of(station string, months [12]Month) Outlook {
	o := Outlook{Station: station}
	for i, m := range months {
		o.Share[i] = m.Share()
		if m.Sealable > 0 {
			o.Full[i] = float64(m.Full) / float64(m.Sealable)
		}
	}
	return o
}

// Need is what is left of one job.
type Need struct {
	Job      string
	Bays     float64  // laying days
	Coat     bool     // only the topcoat is left
	Deadline job.Date // none: it waits for ever, and does not count
}

// Short says by when a book holds more work than the season gives days.
type Short struct {
	By    job.Date // the deadline up to which it is most short
	Jobs  int      // that are due by then
	Need  float64  // crew-days that they take
	Have  float64  // crew-days that the season gives until then
	Crews int
	From  string // the station whose record says so
}

// Words says it to the owner.
func (s Short) Words() string {
	crews := "one crew"
	if s.Crews != 1 {
		crews = fmt.Sprintf("%d crews", s.Crews)
	}
	return fmt.Sprintf("The book is fuller than the season: the %d jobs due by %s take about %.0f crew-days, and in usual weather %s can count on about %.0f until then (record of %s). Take on less, agree on later dates, or find another crew.",
		s.Jobs, s.By.Words(), math.Ceil(s.Need), crews, math.Floor(s.Have), s.From)
}

// Fuller looks for the deadline up to which the book is most short of days,
// counted from `from`. Jobs whose deadline has passed do not count: the plan
// names them. ok is false where the season has room for all of it.
func (o Outlook) Fuller(needs []Need, h job.Hours, crews int, from job.Date) (worst Short, ok bool) {
	needs = slices.DeleteFunc(slices.Clone(needs), func(n Need) bool { return n.Deadline.IsZero() || n.Deadline.Before(from) })
	slices.SortStableFunc(needs, func(a, b Need) int {
		switch {
		case a.Deadline.Before(b.Deadline):
			return -1
		case b.Deadline.Before(a.Deadline):
			return 1
		}
		return 0
	})
	need, have, day := 0.0, 0.0, from
	for i, n := range needs {
		have += o.Left(h, day, n.Deadline) * float64(crews)
		day = n.Deadline.AddDays(1)
		need += o.days(n)
		last := i+1 == len(needs) || needs[i+1].Deadline != n.Deadline
		if last && need > have && (!ok || need-have > worst.Need-worst.Have) {
			worst, ok = Short{By: n.Deadline, Jobs: i + 1, Need: need, Have: have, Crews: crews, From: o.Station}, true
		}
	}
	return worst, ok
}

// Left gives the laying days that usual weather leaves from `from` to `to`, for
// one crew that is free on all of them.
func (o Outlook) Left(h job.Hours, from, to job.Date) float64 {
	sum := 0.0
	o.each(h, from, to, func(p float64) { sum += p })
	return sum
}

// Odds gives the chance that at least n laying days fall between two dates, for
// one crew that is free on all of them. Days are taken as independent, which
// they are not: a guess on the sure side.
func (o Outlook) Odds(n int, h job.Hours, from, to job.Date) float64 {
	if n < 1 {
		return 1
	}
	had := make([]float64, n+1) // chance of so many laying days so far; the last: so many or more
	had[0] = 1
	o.each(h, from, to, func(p float64) {
		had[n] += had[n-1] * p
		for k := n - 1; k > 0; k-- {
			had[k] = had[k]*(1-p) + had[k-1]*p
		}
		had[0] *= 1 - p
	})
	return had[n]
}

// farthest bounds how many days ahead a season is looked through: ten years, past
// any deadline that is meant.
const farthest = 3660

// each gives the chance of a laying day on each working day.
func (o Outlook) each(h job.Hours, from, to job.Date, do func(p float64)) {
	for d, i := from, 0; !d.After(to) && i < farthest; d, i = d.AddDays(1), i+1 {
		if h.Working(d) {
			do(o.Share[d.Month-1] * Caught)
		}
	}
}

// days gives the crew-days that are left of a job.
func (o Outlook) days(n Need) float64 {
	if n.Coat {
		return returnDay
	}
	return n.Bays + returnDay*(1-o.Full[n.Deadline.Month-1])
}

// monthName gives three letters of a month.
func monthName(i int) string { return time.Month(i + 1).String()[:3] }
