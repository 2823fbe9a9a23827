package season

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
)

// A morning's work that must be begun before the afternoon's rain: 3 m² of a
// dull May are sealable from 07:30 on, and not from every later start.
func TestUsualWindow(t *testing.T) {
	wet := with(mild, forecast.Rain, 1, func(at time.Time) bool { return at.Hour() >= 12 })
	from, to := month(time.May)
	p := place(t, 3)
	m := p.Known(wet, from, to, nil)[0][4]
	first, last, ok := m.Window()
	if !ok || first != 7*60+30 || last <= first || last >= 12*60 {
		t.Errorf("usual window %s to %s, %v", first, last, ok)
	}
	// May 2023 has 23 days from Monday to Friday
	if m.Work != 23 || m.WorkSealable != 23 || m.Share() != 1 || len(m.First) != 31 {
		t.Errorf("%d working days, %d sealable, %d windows", m.Work, m.WorkSealable, len(m.First))
	}
	if _, _, ok := (Month{}).Window(); ok {
		t.Error("a month without a day has a window")
	}
}

func TestMiddle(t *testing.T) {
	if got := middle([]job.TimeOfDay{600, 450, 480, 470}); got != 470 {
		t.Errorf("%s", got)
	}
}

// By hand: a month of 30 days with 10 m² a day, 12 sealable of 20 working days,
// half of the sealable ones topcoated the same day. A roof of 20 m² takes 2
// days and half of half a day: 2.25. 0.55 x 12 / 2.25 = 2.933; of 25 m², 3.25
// days: 2.031. Two years of it come to the same for a year.
func TestJobsByHand(t *testing.T) {
	m := Month{Days: 30, BayM2: 300, Sealable: 18, Full: 9, Work: 20, WorkSealable: 12}
	for area, want := range map[float64]float64{20: 2.9333, 25: 2.0308} {
		if got := m.Jobs(area, 1); math.Abs(got-want) > 1e-4 {
			t.Errorf("%g m²: %g jobs, want %g", area, got, want)
		}
	}
	two := m
	two.Add(m)
	if got := two.Jobs(20, 2); math.Abs(got-2.9333) > 1e-4 {
		t.Errorf("two years: %g", got)
	}
	if got := (Month{Days: 31, BayM2: 310, Work: 22}).Jobs(20, 1); got != 0 {
		t.Errorf("without a sealable day: %g jobs", got)
	}
}

// By hand: 7 of 11 working days are sealable, all of those topcoated the
// same day in every month. Monday 3 May 2027 to Friday 14 May has 10 working
// days: one crew can count on 10 x 7/11 x 0.55 = 3.5.
func TestFuller(t *testing.T) {
	o := Outlook{Station: "quay"}
	for i := range o.Share {
		o.Share[i], o.Full[i] = 7.0/11, 1
	}
	day := func(d int) job.Date { return job.Date{Year: 2027, Month: time.May, Day: d} }
	h := job.DefaultFirm().Work
	fits := []Need{{Job: "b", Bays: 2, Deadline: day(14)}, {Job: "a", Bays: 1, Deadline: day(7)}, {Job: "c", Coat: true, Deadline: day(14)}}
	if s, ok := o.Fuller(fits, h, 1, day(3)); ok {
		t.Errorf("3.5 days of work in 3.5 days: %+v", s)
	}
	more := append(fits, Need{Job: "d", Bays: 1, Deadline: day(14)}, Need{Job: "old", Bays: 9, Deadline: day(1)}, Need{Job: "ever", Bays: 9})
	s, ok := o.Fuller(more, h, 1, day(3))
	if !ok || s.By != day(14) || s.Jobs != 4 || s.Need != 4.5 || math.Abs(s.Have-3.5) > 1e-9 {
		t.Errorf("%+v %v", s, ok)
	}
	if w := s.Words(); !strings.Contains(w, "4 jobs due by Friday 14 May") || !strings.Contains(w, "about 5 crew-days") || !strings.Contains(w, "one crew can count on about 3") {
		t.Error(w)
	}
	if s, ok := o.Fuller(more, h, 2, day(3)); ok {
		t.Errorf("two crews have room: %+v", s)
	}
	// the early deadline is the tight one: 5 working days, 1.75 crew-days
	s, ok = o.Fuller([]Need{{Job: "a", Bays: 3, Deadline: day(7)}, {Job: "b", Bays: 1, Deadline: job.Date{Year: 2027, Month: time.August, Day: 1}}}, h, 1, day(3))
	if !ok || s.By != day(7) || s.Jobs != 1 {
		t.Errorf("%+v %v", s, ok)
	}
}

func TestPictureIsSound(t *testing.T) {
	var months [12]Month
	for i := range months {
		months[i] = Month{Month: time.Month(i + 1), Days: 30, BayM2: 300, Sealable: 2 * i, Full: i, Work: 20, WorkSealable: i}
	}
	months[3] = Month{}
	svg := Picture("Quay & pier", months, 20, 1)
	dec, bars := xml.NewDecoder(strings.NewReader(svg)), 0
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if el, ok := tok.(xml.StartElement); ok && el.Name.Local == "rect" {
			bars++
		}
	}
	if bars != 22 || !strings.Contains(svg, "no data") || strings.Contains(svg, "style=") {
		t.Errorf("%d bars\n%s", bars, svg)
	}
}

// By hand: 7/11 x 0.55 = 0.35 a working day. Of Monday and Tuesday at least one:
// 1 - 0.65² = 0.5775; both: 0.35² = 0.1225; 0.7 days are left. The weekend
// gives nothing.
func TestOddsAndDaysLeft(t *testing.T) {
	o := Outlook{}
	for i := range o.Share {
		o.Share[i] = 7.0 / 11
	}
	day := func(d int) job.Date { return job.Date{Year: 2027, Month: time.May, Day: d} }
	h := job.DefaultFirm().Work
	for n, want := range map[int]float64{0: 1, 1: 0.5775, 2: 0.1225, 3: 0} {
		if got := o.Odds(n, h, day(3), day(4)); math.Abs(got-want) > 1e-9 {
			t.Errorf("%d days: %g, want %g", n, got, want)
		}
	}
	if got := o.Odds(1, h, day(1), day(2)); got != 0 {
		t.Errorf("a weekend gives %g", got)
	}
	if got := o.Left(h, day(1), day(4)); math.Abs(got-0.7) > 1e-9 {
		t.Errorf("%g days left", got)
	}
	if got := o.Left(h, day(4), day(3)); got != 0 {
		t.Errorf("%g days left before they begin", got)
	}
}
