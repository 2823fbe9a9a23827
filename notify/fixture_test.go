package notify_test

import (
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/rules/mix"
	"laycast/scheduler/call"
)

// Everything here is invented: firm, people, roofs, weather.

const (
	evening = "2027-04-14T21:00:00Z" // 18:00 in Halifax (ADT, UTC-3)
	morning = "2027-04-15T08:30:00Z" // 05:30
)

func at(t *testing.T, s string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func firm() job.Firm {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = "saltbox", "Saltbox Laminates", "America/Halifax", "office@saltbox.example"
	f.Phone = "902 555 0100"
	return f
}

func composer(t *testing.T) *notify.Composer {
	t.Helper()
	c, err := notify.NewComposer(notify.ComposerConfig{
		Firm: firm(), From: "Saltbox Laminates <office@saltbox.example>",
		PublicURL: "https://lay.saltbox.example", Credit: "Weather: an invented record of our own.",
	})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func heron() job.Crew {
	return job.Crew{ID: "heron", Name: "Heron", Size: 2, Email: "heron@saltbox.example"}
}

func garage() job.Booking {
	return job.Booking{Job: job.Job{
		ID: "J-104", Title: "garage roof", Customer: job.Customer{Name: "Maeve O’Dowd", Email: "Maeve@post.example"},
		Site:  job.Site{Address: "12 Gannet Row, Herring Cove", Lat: 44.57, Lon: -63.56, Zone: "America/Halifax"},
		Phone: "902 555 0142",
		Notes: job.Notes{
			Access: "gate on the lane, code 4417", Parking: "two vans in the yard", PowerWater: "socket in the garage",
			Neighbours: "shared wall to the east", RoomBelow: "workshop with a lathe, keep it dry",
		},
		Roof: job.Roof{AreaM2: 24, Work: job.Replace, Deck: job.NewBoard, Outlets: 1},
	}, Revision: 3, State: job.Booked, NextVisit: 1}
}

func goCall(t *testing.T) call.Call {
	h := func(s string) time.Time { return at(t, "2027-04-15T"+s+":00Z") }
	return call.Call{
		Firm: "saltbox", Job: "J-104", Visit: 1, Crew: "heron", Date: job.Date{Year: 2027, Month: time.April, Day: 15},
		Occasion: call.Evening, Revision: 3, Outcome: call.Go, Made: at(t, evening),
		Known: true, Chance: 0.78, Full: 0.31, RainOpen: 0.04, Basis: rules.FromDressed, Members: 200,
		Reasons: []string{"the chance of 78 % is at least 70 %"},
		Start:   h("10:30"), SealedBy: h("17:40"), SealedByLate: h("18:50"), NoReturn: h("14:00"),
		OvercoatBy: h("17:40").Add(48 * time.Hour),
		Stages: []rules.Span{
			{Stage: rules.Strip, From: h("11:00"), To: h("13:24"), Tightest: rules.Check{Limit: rules.LimitWind, At: h("12:00"), Value: 6.2, Bound: 10, Margin: 3.8, Unit: "m/s"}},
			{Stage: rules.DeckStage, From: h("13:24"), To: h("15:30"), Tightest: rules.Check{Limit: rules.LimitGust, At: h("15:00"), Value: 12.1, Bound: 15, Margin: 2.9, Unit: "m/s"}},
			{Stage: rules.Laminate, From: h("15:30"), To: h("17:10"), Tightest: rules.Check{Limit: rules.LimitWind, At: h("16:00"), Value: 8.9, Bound: 10, Margin: 1.1, Unit: "m/s"}},
			{Stage: rules.Cure, From: h("17:10"), To: h("18:20"), Tightest: rules.Check{Limit: rules.LimitAir, At: h("18:00"), Value: 8.4, Bound: 5, Margin: 3.4, Unit: "°C"}},
		},
		Failing: []rules.Failing{
			{Limit: rules.LimitRain, Members: 31, From: h("17:00"), To: h("19:00")},
			{Limit: rules.LimitDewMargin, Members: 13, From: h("16:00"), To: h("17:00")},
		},
		Source: "open-meteo", Fetched: at(t, "2027-04-14T20:15:00Z"),
	}
}

func vanOf() []load.Item {
	return []load.Item{{Item: "board", Qty: 18, Unit: "pieces", Note: "2.4 by 0.6 m"}, {Item: "mat", Qty: 1, Unit: "rolls"}, {Item: "resin", Qty: 60, Unit: "kg", Note: "55.2 kg needed"}}
}

// mixOf is a mix card of four hours, the first two alike.
func mixOf(t *testing.T) []mix.Line {
	at := func(h string) time.Time { return at(t, "2027-04-15T"+h+":00:00Z") }
	line := mix.Line{At: at("15"), Stage: rules.Laminate, DeckC: 14, DosePct: 2.5, GelMin: 24, WorkMin: 15, Resin: mix.Portion{AreaM2: 1, Kg: 1.1, Ml: 24}, Warnings: []string{"try a cup first"}}
	again := line
	again.At = at("16")
	top := mix.Line{At: at("18"), Stage: rules.Topcoat, DeckC: 15, DosePct: 2, WorkMin: 18, Topcoat: mix.Portion{AreaM2: 3, Kg: 1.5, Ml: 26}, Warnings: []string{"try a cup first"}}
	hot := mix.Line{At: at("19"), Stage: rules.Topcoat, DeckC: 50, Warnings: []string{"the deck is hotter than the table of doses reaches (40 °C): do not mix"}}
	return []mix.Line{line, again, top, hot}
}

// coatLetter is about a roof that was laid before and gets its topcoat.
func coatLetter(t *testing.T) notify.CallLetter {
	k := goCall(t)
	k.Start, k.NoReturn, k.CoatBy, k.OvercoatBy = at(t, "2027-04-15T11:30:00Z"), at(t, "2027-04-15T18:30:00Z"), time.Time{}, time.Time{}
	k.SealedBy, k.SealedByLate, k.Failing, k.Chance = at(t, "2027-04-15T16:40:00Z"), at(t, "2027-04-15T17:20:00Z"), nil, 0.9
	k.Stages = []rules.Span{
		{Stage: rules.Topcoat, From: at(t, "2027-04-15T12:00:00Z"), To: at(t, "2027-04-15T14:06:00Z"), Tightest: rules.Check{Limit: rules.LimitRH, At: at(t, "2027-04-15T12:00:00Z"), Value: 74, Bound: 85, Margin: 11, Unit: "%"}},
		{Stage: rules.TopcoatCure, From: at(t, "2027-04-15T14:06:00Z"), To: at(t, "2027-04-15T16:40:00Z"), Tightest: rules.Check{Limit: rules.LimitDewMargin, At: at(t, "2027-04-15T16:00:00Z"), Value: 6.1, Bound: 1, Margin: 5.1, Unit: "K"}},
	}
	l := letterOf(t, k)
	l.Job.LaidM2 = 24
	return l
}

func noGoCall(t *testing.T) call.Call {
	k := goCall(t)
	k.Outcome, k.Chance, k.Full, k.RainOpen = call.NoGo, 0.34, 0.05, 0.27
	k.Reasons = []string{"the chance of 34 % is below 50 %", "rain while the roof is open has a chance of 27 %, above 20 %"}
	k.Failing = []rules.Failing{
		{Limit: rules.LimitRain, Members: 98, From: k.Stages[1].From, To: k.Stages[2].To},
		{Limit: rules.LimitDry, Members: 34, From: k.Stages[2].From, To: k.Stages[2].From.Add(time.Hour)},
	}
	return k
}

func holdCall(t *testing.T) call.Call {
	k := goCall(t)
	k.Outcome, k.Chance = call.Hold, 0.62
	k.Reasons = []string{"the chance of 62 % lies between 50 % and 70 %"}
	return k
}

func blindCall(t *testing.T) call.Call {
	k := holdCall(t)
	k.Known, k.Chance, k.Full, k.RainOpen, k.Members, k.Failing, k.Stages = false, 0, 0, 0, 0, nil, nil
	k.SealedBy, k.SealedByLate, k.NoReturn = time.Time{}, time.Time{}, time.Time{}
	k.Reasons = []string{"the forecast of open-meteo was last seen at 09:15, over 3 h before the call"}
	return k
}

func letterOf(t *testing.T, k call.Call) notify.CallLetter {
	return notify.CallLetter{Call: k, Job: garage(), Crew: heron(), Now: at(t, evening)}
}

// secondLook gives a letter of the morning after before was called.
func secondLook(t *testing.T, before *call.Call, now call.Call) notify.CallLetter {
	now.Occasion, now.Made = call.SecondLook, at(t, morning)
	now.Fetched = at(t, "2027-04-15T08:15:00Z")
	l := letterOf(t, now)
	l.Before, l.Now, l.Thread = before, at(t, morning), []string{"abcdefghijklmnopqrstuvwxyz@saltbox.example"}
	return l
}

func visitLetter(t *testing.T) notify.VisitLetter {
	return notify.VisitLetter{
		Job: garage(), Visit: job.Visit{Job: "J-104", N: 1, Start: 450}, Crew: heron(), Now: at(t, "2027-04-10T15:00:00Z"),
		Week: job.Date{Year: 2027, Month: time.April, Day: 12}, Date: job.Date{Year: 2027, Month: time.April, Day: 15},
		OpenFor: 6*time.Hour + 40*time.Minute, Subscribe: "https://lay.saltbox.example/feed/abc.ics",
	}
}

func weekLetter(t *testing.T) notify.WeekLetter {
	d := func(n int) job.Date { return job.Date{Year: 2027, Month: time.April, Day: n} }
	return notify.WeekLetter{
		Monday: d(12), Now: at(t, "2027-04-12T09:00:00Z"),
		Crews: []notify.WeekCrew{
			{Crew: heron(), Visits: []notify.WeekLine{
				{Date: d(13), Start: 450, Job: garage(), Known: true, Chance: 0.81, Told: d(13)},
				{Date: d(15), Days: 2, Start: 450, Job: garage(), Known: true, Chance: 0.55, Note: "scaffold stands"},
			}},
			{Crew: job.Crew{Name: "Plover", Email: "plover@saltbox.example"}},
		},
		Held:  []string{"12 m² bay window: deposit not paid"},
		Told:  []string{"in the last four weeks 5 customers were told a date, 1 was moved to another day and 0 were called off; the notice was 3.2 days on average"},
		Stop:  "https://lay.saltbox.example/n/abc",
		Left:  []string{"8 m² porch: no day between earliest and deadline that the forecast reaches"},
		Needs: []string{"order the skip for 12 Gannet Row by Wednesday 14 April"},
		Notes: []string{"of 31 days called at 70 to 80 %, 24 were sealed"},
	}
}

// samples are all the mails there are, by the name of their golden file.
func samples(t *testing.T) map[string]func(*notify.Composer) (notify.Message, error) {
	goK, noK, holdK, blind := goCall(t), noGoCall(t), holdCall(t), blindCall(t)
	later := goCall(t)
	later.Start, later.SealedBy, later.Chance = later.Start.Add(time.Hour), later.SealedBy.Add(time.Hour), 0.71
	eased := goCall(t)
	eased.Chance, eased.RainOpen, eased.Eased = 0.64, 0.11, true
	vl := visitLetter(t)
	moved := vl
	moved.Was, moved.Date, moved.Why = moved.Date, moved.Date.AddDays(4), "rain is likely on the day told before"
	moved.Visit.Moves = 1
	off := moved
	off.Why = "you have asked us to"
	type mails = map[string]func(*notify.Composer) (notify.Message, error)
	crew := func(l notify.CallLetter) func(*notify.Composer) (notify.Message, error) {
		return func(c *notify.Composer) (notify.Message, error) { return c.CrewCall(l) }
	}
	look := func(l notify.CallLetter) func(*notify.Composer) (notify.Message, error) {
		return func(c *notify.Composer) (notify.Message, error) { return c.SecondLook(l) }
	}
	cust := func(l notify.CallLetter) func(*notify.Composer) (notify.Message, error) {
		return func(c *notify.Composer) (notify.Message, error) { return c.CustomerCall(l) }
	}
	full := letterOf(t, goK)
	full.Page = "https://lay.saltbox.example/c/abcdefghijklmnopqrstuvwxyz"
	full.Load, full.Kit, full.Mix = vanOf(), []load.Item{{Item: "laminating roller", Qty: 3}, {Item: "goggles", Qty: 2}}, mixOf(t)
	full.Notes = []string{"Reckoned, not measured: upstands come on top."}
	planB := letterOf(t, noK)
	planB.PlanB = []string{"survey at 3 Wharf Lane", "snag list at 9 Mill Brook"}
	return mails{
		"call-go":       crew(full),
		"call-coat":     crew(coatLetter(t)),
		"call-no-go":    crew(planB),
		"call-hold":     crew(letterOf(t, holdK)),
		"call-blind":    crew(letterOf(t, blind)),
		"look-still-go": look(secondLook(t, &goK, later)),
		"look-now-go":   look(secondLook(t, &holdK, goK)),
		"look-eased-go": look(secondLook(t, &holdK, eased)),
		"look-eased-coat": look(func() notify.CallLetter {
			l := coatLetter(t)
			l.Call.Occasion, l.Call.Eased, l.Before = call.SecondLook, true, &holdK
			return l
		}()),
		"look-no-go":     look(secondLook(t, &goK, noK)),
		"customer-go":    cust(letterOf(t, goK)),
		"customer-no-go": cust(letterOf(t, noK)),
		"customer-hold":  cust(letterOf(t, holdK)),
		"customer-stand-by": func(c *notify.Composer) (notify.Message, error) {
			l := letterOf(t, holdK)
			l.StandBy = true
			return cust(l)(c)
		},
		"customer-look-no-go": cust(secondLook(t, &holdK, noK)),
		"cover-up": func(c *notify.Composer) (notify.Message, error) {
			return c.CoverUp(notify.CoverUpLetter{
				Letter: secondLook(t, nil, goK), From: at(t, "2027-04-15T17:00:00Z"), To: at(t, "2027-04-15T18:00:00Z"),
			})
		},
		"cover-up-blind": func(c *notify.Composer) (notify.Message, error) {
			return c.CoverUp(notify.CoverUpLetter{Letter: secondLook(t, nil, goK), Blind: "the hourly forecast was last fetched 4 hours ago"})
		},
		"hand-over": func(c *notify.Composer) (notify.Message, error) {
			return c.HandOver(notify.HandOverLetter{
				Job: garage(), Visit: 1, Date: goK.Date, Outcome: "laid and topcoated", AreaM2: 24,
				Began: at(t, "2027-04-15T10:40:00Z"), Sealed: at(t, "2027-04-15T16:20:00Z"), Coated: at(t, "2027-04-15T18:30:00Z"),
				Deck: []float64{14, 12.5, 21}, Margins: []float64{6, 5.2}, Batches: 31, Hash: strings.Repeat("0123456789abcdef", 4), Now: at(t, "2027-04-17T11:20:00Z"),
			})
		},
		"week-told":  func(c *notify.Composer) (notify.Message, error) { return c.WeekTold(vl) },
		"date-told":  func(c *notify.Composer) (notify.Message, error) { return c.DateTold(vl) },
		"date-moved": func(c *notify.Composer) (notify.Message, error) { return c.DateMoved(moved) },
		"cancelled":  func(c *notify.Composer) (notify.Message, error) { return c.DateCancelled(off) },
		"week":       func(c *notify.Composer) (notify.Message, error) { return c.WeekMail(weekLetter(t)) },
		"trouble": func(c *notify.Composer) (notify.Message, error) {
			return c.Trouble(notify.TroubleLetter{
				About: "source open-meteo 2027-05-05", Subject: "No forecast from open-meteo since 09:15",
				Lines: []string{"The last answer was HTTP 503.", "Tomorrow’s visits are on hold; without a forecast they become no-go at 05:30."},
				Now:   at(t, "2027-05-05T20:20:00Z"),
			})
		},
		"ask": func(c *notify.Composer) (notify.Message, error) {
			return c.Ask(notify.AskLetter{
				Lines: []string{"24 m² garage roof: from Thursday 15 April to Monday 19 April"},
				Link:  "https://lay.saltbox.example/ask/abcdef0123456789", Now: at(t, evening),
			})
		},
		"sign-in": func(c *notify.Composer) (notify.Message, error) {
			return c.SignIn(notify.SignInLetter{
				Email: "office@saltbox.example", Link: "https://lay.saltbox.example/sign-in/abcdef0123456789",
				Now: at(t, evening), Expires: at(t, evening).Add(15 * time.Minute),
			})
		},
	}
}
