// Package sheet puts an as-laid record into words and onto paper: the same parts
// serve the page, the command line and the PDF. What was measured and what a model
// says are told apart everywhere.
package sheet

import (
	"fmt"
	"strings"
	"time"

	"laycast/job"
	"laycast/job/aslaid"
	"laycast/notify"
)

// Head names what a record itself does not: it bears no customer, so that what
// names people stays where it can be erased.
type Head struct {
	Title    string // of the job
	Customer string
	Address  string
	Zone     *time.Location // whose clock the times are on
	Credit   string         // of the weather
}

// Sheet is a record in words.
type Sheet struct {
	Title string
	Lede  []string
	Facts [][2]string
	Parts []Part
	Foot  []string
}

// Part is one table of a sheet.
type Part struct {
	Title string
	Note  string // what kind of figures these are
	Head  []string
	Rows  [][]string
}

// Of puts a record into words. One that is not closed yet says so.
func Of(r aslaid.Record, h Head) Sheet {
	clean := notify.Clean
	s := Sheet{Title: "As-laid record: " + clean(h.Title)}
	s.Lede = []string{fmt.Sprintf("%s, %s: %s.", r.Date.Words(), r.Date, clean(r.Day.Outcome))}
	if r.Hash == "" {
		s.Lede = append(s.Lede, "NOT CLOSED YET: it is closed 36 hours after the last cure, and may change until then.")
	}
	s.fact("Customer", h.Customer)
	s.fact("Site", h.Address)
	s.fact("Job", fmt.Sprintf("%s, visit %d", r.Job, r.Day.Visit))
	s.fact("Firm and crew", fmt.Sprintf("%s, crew %s, %d hands", r.Day.Firm, r.Day.Crew, r.Day.Hands))
	s.fact("Roof", fmt.Sprintf("%g m², %s", r.Day.RoofM2, strings.TrimSuffix(r.Day.Work+", on "+strings.ReplaceAll(r.Day.Deck, "-", " "), ", on ")))
	s.fact("Area of the day", fmt.Sprintf("%.1f m²", r.Day.AreaM2))
	s.fact("Limits", r.Day.Profile)
	s.fact("Outcome", r.Day.Outcome+", says "+r.Day.SaidBy)
	s.Parts = append(s.Parts, calls(r, h.Zone), reports(r, h.Zone), batches(r, h.Zone), readings(r, h.Zone), hours(r, h), photos(r, h.Zone))
	if r.Hash != "" {
		s.Foot = append(s.Foot, fmt.Sprintf("Closed %s. Rows %d to %d of the firm's chain of records; hash of the last row: %s.",
			stamp(r.Day.Closed, h.Zone), r.First, r.Last, r.Hash))
	}
	if h.Credit != "" {
		s.Foot = append(s.Foot, clean(h.Credit))
	}
	s.Foot = append(s.Foot, "The resin maker's data sheet, local codes and licensed practice govern. This sheet says what was noted and what a weather model had; it is no certificate.")
	return s
}

func (s *Sheet) fact(label, value string) {
	if value = notify.Clean(value); value != "" {
		s.Facts = append(s.Facts, [2]string{label, value})
	}
}

func calls(r aslaid.Record, zone *time.Location) Part {
	p := Part{Title: "Calls", Note: "what was decided before the day, from the forecast", Head: []string{"made", "what", "chance", "rain while open", "by"}}
	for _, c := range r.Calls {
		p.add(stamp(c.Made, zone), c.Outcome+" ("+strings.ReplaceAll(c.Occasion, "-", " ")+")", share(c.Chance), share(c.RainOpen), c.By)
	}
	return p
}

func reports(r aslaid.Record, zone *time.Location) Part {
	p := Part{Title: "Times of work", Note: "as reported", Head: []string{"when", "what", "by", "noted"}}
	for _, x := range r.Reports {
		what := string(x.What)
		if x.What == job.Halted {
			what += ": " + strings.Trim(string(x.Cause)+", "+x.Because, ", ")
		}
		p.add(stamp(x.At, zone), what, x.By, stamp(x.Noted, zone))
	}
	return p
}

func batches(r aslaid.Record, zone *time.Location) Part {
	p := Part{Title: "Batches", Note: "as noted by the crew", Head: []string{"mixed", "what", "kg", "catalyst", "lots", "m²"}}
	for _, b := range r.Batches {
		what, area := "resin", "-"
		if b.Topcoat {
			what = "topcoat"
		}
		if b.AreaM2 > 0 {
			area = fmt.Sprintf("%.1f", b.AreaM2)
		}
		lots := strings.Trim(b.ResinLot+" / "+b.Lot, " /")
		p.add(stamp(b.At, zone), strings.TrimSuffix(what+": "+b.Note, ": "), fmt.Sprintf("%.2f", b.ResinKg), fmt.Sprintf("%.3g %%", b.DosePct), lots, area)
	}
	if u := r.Use; len(r.Batches) > 0 {
		p.add("in all", "resin", fmt.Sprintf("%.2f", u.ResinKg), "", fmt.Sprintf("%.2f kg/m², planned %.4g", u.ResinPerM2, u.ResinPlan), "")
		p.add("in all", "topcoat", fmt.Sprintf("%.2f", u.TopcoatKg), "", fmt.Sprintf("%.2f kg/m², planned %.4g", u.TopcoatPer, u.TopcoatPlan), "")
	}
	return p
}

func readings(r aslaid.Record, zone *time.Location) Part {
	p := Part{Title: "Readings", Note: "MEASURED on site; in brackets: measured less modelled", Head: []string{"when", "air °C", "RH %", "deck °C", "dew margin K", "moisture %", "note"}}
	for _, x := range r.Readings {
		p.add(stamp(x.At, zone), off(x.AirC, x.OffAirK), number(x.RHPct), off(x.SurfaceC, x.OffDeckK), number(x.MarginK), number(x.MoisturePct), x.Note)
	}
	return p
}

func hours(r aslaid.Record, h Head) Part {
	p := Part{Title: "Weather, hour by hour", Note: "MODEL OUTPUT: past rows of a weather model at the site, and the deck worked out from them; nothing here was measured on the roof",
		Head: []string{"hour", "air °C", "dew point °C", "RH %", "deck °C", "dew margin K", "rain mm", "wind m/s", "gust m/s"}}
	for _, x := range r.Hours {
		p.add(x.At.In(h.Zone).Format("15:04"), number(x.AirC), number(x.DewC), number(x.RHPct), number(x.SurfaceC), number(x.MarginK), number(x.RainMM), number(x.WindMs), number(x.GustMs))
	}
	return p
}

func photos(r aslaid.Record, zone *time.Location) Part {
	p := Part{Title: "Photos", Note: "kept by the firm, named by their hash", Head: []string{"when", "by", "hash or link", "note"}}
	for _, x := range r.Photos {
		name := aslaid.Short(x.ID)
		if x.Link != "" {
			name = x.Link
		}
		p.add(stamp(x.At, zone), x.By, name, x.Note)
	}
	return p
}

func (p *Part) add(cells ...string) {
	for i := range cells {
		cells[i] = notify.Clean(cells[i])
	}
	p.Rows = append(p.Rows, cells)
}

// Text gives the sheet as plain text.
func (s Sheet) Text() string {
	var b strings.Builder
	line := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	line("%s", s.Title)
	for _, x := range s.Lede {
		line("%s", x)
	}
	line("")
	for _, f := range s.Facts {
		line("%-16s %s", f[0], f[1])
	}
	for _, p := range s.Parts {
		line("\n%s (%s)", p.Title, p.Note)
		if len(p.Rows) == 0 {
			line("  none")
			continue
		}
		wide := make([]int, len(p.Head))
		all := append([][]string{p.Head}, p.Rows...)
		for _, row := range all {
			for i, c := range row {
				wide[i] = max(wide[i], len([]rune(c)))
			}
		}
		for _, row := range all {
			b.WriteString(" ")
			for i, c := range row {
				fmt.Fprintf(&b, " %-*s", wide[i], c)
			}
			b.WriteString("\n")
		}
	}
	line("")
	for _, x := range s.Foot {
		line("%s", x)
	}
	return b.String()
}

func stamp(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return "-"
	}
	return t.In(zone).Format("2 Jan 15:04")
}

func number(x *float64) string {
	if x == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f", *x)
}

func off(x, by *float64) string {
	if x == nil || by == nil {
		return number(x)
	}
	return fmt.Sprintf("%.1f (%+.1f)", *x, *by)
}

func share(x *float64) string {
	if x == nil {
		return "not known"
	}
	return notify.Percent(*x)
}
