package main

import (
	"strings"
	"testing"
)

// A firm whose book is fuller than the week and that named its season: jobs beyond
// the forecast are pencilled in by the month's usual weather and their customers
// told a week, while calls and told days rest on forecasts alone. Where no season
// is named there is none of it.
func TestWeeksByUsualWeather(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "season: season.json\ntell_ahead: 14\n")
	free := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	o.write("season.json", free.must("season", "--weather", inventedRecord(t), "--json"))
	o.takeIn(bookOf(22, "2027-06-07"))
	type planned struct {
		Visits []struct {
			Job, Basis string
			Days       []string
			Chance     *float64
			Told       *string
		}
	}
	for _, day := range []string{"2027-06-07", "2027-06-08"} {
		o.rehearse(day+"T05:00:00Z", day+"T19:00:00Z")
		far := 0
		for _, v := range decode[planned](t, o.must("plan", "--json")).Visits {
			if v.Basis != "climate" {
				continue
			}
			far++
			if v.Told != nil || v.Chance == nil || v.Days[0] <= moment(t, day+"T00:00:00Z").AddDate(0, 0, 7).Format("2006-01-02") {
				t.Errorf("on %s %s stands on %s by usual weather, told %v, chance %v", day, v.Job, v.Days[0], v.Told, v.Chance)
			}
		}
		if far == 0 {
			t.Errorf("on %s no visit is pencilled in by usual weather", day)
		}
	}
	if text := o.must("plan"); !strings.Contains(text, "no forecast yet, usual weather of June") {
		t.Errorf("the plan does not say it:\n%s", text)
	}
	weeks, days := 0, 0
	for _, m := range o.messages() {
		switch m.Kind {
		case "week-told":
			weeks++
		case "date-told", "date-moved":
			if days++; m.Date > m.Created.AddDate(0, 0, 7).Format("2006-01-02") {
				t.Errorf("%s of %s: told on %s, further than any forecast reaches", m.Date, m.Job, m.Created)
			}
		}
	}
	if weeks == 0 || days == 0 {
		t.Errorf("%d weeks and %d days told show too little", weeks, days)
	}
	goes := 0
	for _, c := range decode[[]struct{ Outcome, Basis string }](t, o.must("calls", "--json")) {
		if c.Outcome == "go" {
			if goes++; c.Basis != "dressed" {
				t.Errorf("a go on basis %s", c.Basis)
			}
		}
	}
	if goes == 0 {
		t.Error("nothing was called go")
	}
	check := o.must("check", "Q-01")
	if !strings.Contains(check, "no forecast reaches the day; in usual weather") || !strings.Contains(check, "only the month's climate, which is never a go") {
		t.Errorf("a check beyond the forecast: %s", check)
	}
}
