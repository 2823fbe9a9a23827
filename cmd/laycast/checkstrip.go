package main

import (
	"fmt"
	"strings"
	"time"

	"laycast/job"
)

// strip draws the days down and the times on site across, a mark for each half
// hour of the working day: # go from then, - judged and not enough, blank for a
// time that cannot be begun at or is not known.
func (f *finding) strip() string {
	from, to := f.firm.Work.From, f.firm.Work.To
	if len(f.days) < 2 || to <= from {
		return "" // one day is told in words
	}
	const half = 30 // minutes
	var b strings.Builder
	b.WriteString("\n              ")
	for t := from; t < to; t += half {
		if t%60 == 0 {
			fmt.Fprintf(&b, "%02d", int(t)/60)
		} else if t == from {
			b.WriteByte(' ')
		}
	}
	b.WriteByte('\n')
	for _, d := range f.days {
		var marks strings.Builder
		for t := from; t < to; t += half {
			marks.WriteByte(d.mark(job.Instant(d.Date, t, f.zone)))
		}
		b.WriteString(strings.TrimRight(fmt.Sprintf("  %-12s%s", d.Date.Short(), marks.String()), " ") + "\n")
	}
	b.WriteString("  # go if on site then, - judged and not enough, blank: too late to begin, or not known\n")
	return b.String()
}

// mark gives the sign of one time on site.
func (d foundDay) mark(at time.Time) byte {
	for _, s := range d.Starts {
		// a day that the sun begins has its own half hours
		if s.At.Before(at) || s.At.Sub(at) >= 30*time.Minute {
			continue
		}
		for _, w := range d.Windows {
			if !s.At.Before(w.From) && !s.At.After(w.To) {
				return '#'
			}
		}
		return '-'
	}
	return ' '
}
