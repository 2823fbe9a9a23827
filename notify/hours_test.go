package notify_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/ribbon"
	"laycast/rules"
)

// hoursOf is the day of goCall with lanes in which something is tight.
func hoursOf(t *testing.T) notify.DayView {
	k := goCall(t)
	zone, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	day := rules.Day{
		Date: k.Date, Members: 19, Best: 0, Starts: []rules.Start{{At: k.Start, Sealed: .78}}, Windows: []rules.Window{{From: k.Start, To: k.Start.Add(90 * time.Minute)}},
		Stages: k.Stages, SealedBy: k.SealedBy, NoReturn: k.NoReturn,
	}
	from, to := notify.Axis(day, k.Date, zone)
	lane := func(l rules.Limit, shared bool, f func(h int) (middle, careful float64, broken int, c rules.Check)) rules.Lane {
		out := rules.Lane{Limits: []rules.Limit{l}, Shared: shared, Asked: []rules.Window{{From: k.Stages[0].From, To: k.Stages[2].To}}}
		for at := from; at.Before(to); at = at.Add(time.Hour) {
			h := rules.LaneHour{At: at, Known: 19}
			h.Middle, h.Careful, h.Broken, h.Check = f(at.In(zone).Hour())
			h.Check.At = at
			out.Hours = append(out.Hours, h)
		}
		return out
	}
	return notify.DayView{Job: garage().Job, Date: k.Date, Day: day, Zone: zone, Lanes: []rules.Lane{
		lane(rules.LimitRain, true, func(h int) (float64, float64, int, rules.Check) {
			if h == 14 {
				return 1 - 4./19/.5, 1 - 4./19/.1, 4, rules.Check{Limit: rules.LimitRain}
			}
			return 1, 1, 0, rules.Check{Limit: rules.LimitRain}
		}),
		lane(rules.LimitWind, false, func(h int) (float64, float64, int, rules.Check) {
			c := rules.Check{Limit: rules.LimitGust, Value: 12.1, Bound: 15, Margin: 2.9, Unit: "m/s"}
			if h == 7 { // tighter, but the work has not begun
				return .1, -.1, 3, c
			}
			if h == 12 {
				return .39, .2, 0, c
			}
			return .9, .8, 0, rules.Check{Limit: rules.LimitWind, Value: 4, Bound: 10, Margin: 6, Unit: "m/s"}
		}),
		lane(rules.LimitDewMargin, false, func(h int) (float64, float64, int, rules.Check) {
			c := rules.Check{Limit: rules.LimitDewMargin, Value: 4.2, Bound: 3, Margin: 1.2, Unit: "K"}
			switch {
			case h < 9:
				c.Value, c.Margin = -.4, -3.4
				return -.6, -.9, 19, c
			case h == 20:
				return math.NaN(), math.NaN(), 0, rules.Check{}
			}
			return .22, .1, 0, c
		}),
	}}
}

func TestHoursSayWhatIsTight(t *testing.T) {
	words := hoursOf(t).Ribbon().Words()
	for _, want := range []string{
		"Rain: doubtful 14:00 to 15:00; rain in 4 of 19 forecasts, 14:00.",
		"Wind: doubtful 07:00 to 08:00; gusts 12.1 of 15" + nbsp + "m/s, 12:00.",
		"Dew: closed 06:00 to 09:00; no data 20:00 to 21:00; 0.4" + nbsp + "K below the dew point, least 3, 08:00.",
		"Open by 11:00.", "Sealed 14:40.",
	} {
		if !slices.Contains(words, want) {
			t.Errorf("want %q among %q", want, words)
		}
	}
}

const nbsp = "\u00a0"

func TestAxis(t *testing.T) {
	v := hoursOf(t)
	at := func(h string) time.Time { return at(t, "2027-04-15T"+h+":00Z") }
	for _, c := range []struct {
		start, last, from, to time.Time
	}{
		{at("10:30"), at("18:20"), at("09:00"), at("00:00").AddDate(0, 0, 1)},
		{at("08:20"), at("23:59"), at("08:00"), at("00:00").AddDate(0, 0, 1)},
		{at("10:30"), at("01:10").AddDate(0, 0, 1), at("09:00"), at("02:00").AddDate(0, 0, 1)},
		{at("10:30"), at("09:10").AddDate(0, 0, 1), at("09:00"), at("03:00").AddDate(0, 0, 1)}, // not beyond the day
	} {
		d := v.Day
		d.Starts = []rules.Start{{At: c.start}}
		d.Stages = []rules.Span{{Stage: rules.Strip, From: c.start, To: c.last}}
		if from, to := notify.Axis(d, d.Date, v.Zone); !from.Equal(c.from) || !to.Equal(c.to) {
			t.Errorf("start %s, end %s: axis %s to %s, want %s to %s", c.start, c.last, from.UTC(), to.UTC(), c.from, c.to)
		}
	}
}

// TestCrewGoTellsAllInOrder: the go mail with its picture is under 100 kB, and
// its plain text says what a crew needs in a fixed order.
func TestCrewGoTellsAllInOrder(t *testing.T) {
	l := letterOf(t, goCall(t))
	l.Call.Stages = append(l.Call.Stages, rules.Span{Stage: rules.Topcoat, From: at(t, "2027-04-15T18:40:00Z"), To: at(t, "2027-04-15T19:50:00Z")})
	l.Call.CoatBy = at(t, "2027-04-15T19:05:00Z")
	l.Load, l.Mix = vanOf(), mixOf(t)
	l.Page = "https://lay.saltbox.example/p/abcdefghijklmnopqrstuvwxyz"
	p, err := hoursOf(t).Picture()
	if err != nil {
		t.Fatal(err)
	}
	l.Picture = p
	m, err := composer(t).CrewCall(l)
	if err != nil {
		t.Fatal(err)
	}
	x := checkWire(t, m)
	if len(m.Wire) > 100_000 || len(p.PNG) > 40<<10 || p.Width != ribbon.Width {
		t.Errorf("the mail has %d bytes, the picture %d", len(m.Wire), len(p.PNG))
	}
	told, at := strings.Join(strings.Fields(x.plain), " "), 0 // wherever lines break
	for _, want := range []string{
		"Go tomorrow", "Be on site at 07:30.", "Point of no return: 11:00", "First mix: 12:30", "Sealed by: 14:40", "Topcoat: 15:40, begun by 16:05",
		"after 14:40 on Saturday abrade", "Dew: closed 06:00 to 09:00", "08:00 to 10:24 strip: wind 6.2 of 10 m/s", "likely, 78 %", "12 Gannet Row",
		"gate on the lane", "Room below", "902 555 0142", "Cover sheets", "Board: 18 pieces, 2.4 by 0.6 m", "Look at the sky", "before the first mix and before the topcoat",
		"Mix card", "12:00 to 14:00 resin: deck 14 °C, 2.5 %: 1.1 kg + 24 ml for 1 m², down within 15 min",
		"15:00 to 16:00 topcoat: deck 15 °C, 2 %: 1.5 kg + 26 ml", "16:00 to 17:00 topcoat: deck 50 °C, no dose", "do not mix.", "Not opened by 11:00", "cover up at once", "Whom to ring", "902 555 0100", "/p/abcdef",
		"A forecast is no permission: the lead hand decides on site.", "data sheet, local codes and licensed practice govern", "31 °C",
	} {
		i := strings.Index(told[at:], want)
		if i < 0 {
			t.Fatalf("the mail does not say %q after what comes before it:\n%s", want, x.plain)
		}
		at += i
	}
	if !strings.Contains(x.html, `alt="Hour ribbon, Thursday 15 April. Rain: doubtful`) {
		t.Error("the picture in the HTML has no words")
	}
}

// TestPictureOfAnOverboard: where nothing is opened nobody is told to open, and
// a topcoat of its own has nothing to seal.
func TestPictureOfAnOverboard(t *testing.T) {
	v := hoursOf(t)
	v.Job.Roof.Work = job.Overboard
	if w := v.Ribbon().Words(); !slices.Contains(w, "Begin by 11:00.") || !slices.Contains(w, "Sealed 14:40.") {
		t.Errorf("overboard: %q", w)
	}
	v.Day.Stages = coatLetter(t).Call.Stages
	if w := v.Ribbon().Words(); !slices.Contains(w, "Begin by 11:00.") || !slices.Contains(w, "Rain-proof 14:40.") {
		t.Errorf("topcoat: %q", w)
	}
}
