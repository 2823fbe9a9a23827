package call

import (
	"fmt"
	"math"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
)

// How old a forecast may be. Defaults of ours: sources renew an hourly forecast
// every 1 to 3 hours and an ensemble every 6 to 12.
const (
	SeenWithin      = 3 * time.Hour  // both runs must have been fetched
	DetWithin       = 6 * time.Hour  // the deterministic run's content must have changed
	EnsWithin       = 12 * time.Hour // the ensemble's
	StandingGoUntil = 6 * time.Hour  // a standing go falls when either run was not fetched for longer
)

// Input is what one decision is made from.
type Input struct {
	Firm     job.Firm
	Job      job.Booking
	Visit    job.Visit
	Date     job.Date
	Now      time.Time
	Due      time.Time // when the decision was due; later than Now never
	Day      rules.Day // the verdict for Date
	Issue    forecast.Issue
	Standing *Call  // the call in force for this job and day, if any
	Caution  string // two forecasts disagree on rain, in words; "" = none known
	Flip     bool   // and one is dry, the other wet, in the hours of the visit
}

// Age says in words why a forecast may not be trusted for a go; "" when it may.
func Age(is forecast.Issue, now time.Time) string {
	switch {
	case is.Det == nil && is.Ens == nil:
		return "there is no forecast for this site"
	case is.Det == nil:
		return "there is no hourly forecast for this site"
	case is.Ens == nil && !is.DetOnly:
		return "there is no ensemble forecast for this site"
	}
	for _, r := range kinds(is) {
		if d := now.Sub(r.run.LastSeen); d > SeenWithin {
			return fmt.Sprintf("the %s forecast was last fetched %s ago", r.name, hours(d))
		}
		if d := now.Sub(r.run.Changed); d > r.within {
			return fmt.Sprintf("the %s forecast has not changed for %s, so the source looks stuck", r.name, hours(d))
		}
	}
	return ""
}

// kind is one of the runs of an issue, with how old its content may be.
type kind struct {
	name   string
	run    *forecast.Run
	within time.Duration
}

// kinds gives the runs that an issue ought to have.
func kinds(is forecast.Issue) []kind {
	ks := []kind{{"hourly", is.Det, DetWithin}, {"ensemble", is.Ens, EnsWithin}}
	if is.Ens == nil && is.DetOnly {
		return ks[:1]
	}
	return ks
}

// tooOld reports whether a standing go falls by the age of its forecast: a run
// is missing, was not fetched for too long, or had not changed for too long
// when it was last fetched (a stuck source is fetched every hour and says
// nothing). Where it does, Age says why.
func tooOld(is forecast.Issue, now time.Time) bool {
	for _, r := range kinds(is) {
		if r.run == nil || now.Sub(r.run.LastSeen) > StandingGoUntil || r.run.LastSeen.Sub(r.run.Changed) > r.within {
			return true
		}
	}
	return false
}

func hours(d time.Duration) string {
	h := int(d.Round(time.Hour).Hours())
	if h == 1 {
		return "1 hour"
	}
	return fmt.Sprintf("%d hours", h)
}

// begin makes a call with all that it carries whatever the outcome.
func begin(in Input, o Occasion) Call {
	c := Call{
		Firm: in.Firm.UID, Job: in.Job.ID, Visit: in.Visit.N, Crew: in.Visit.Crew, Date: in.Date, Occasion: o,
		Revision: in.Job.Revision, Made: in.Now, Late: in.Now.Sub(in.Due) > 10*time.Minute,
		Basis: in.Day.Basis, Members: in.Day.Members,
		SealedBy: in.Day.SealedBy, SealedByLate: in.Day.SealedByLate, NoReturn: in.Day.NoReturn,
		CoatBy: in.Day.CoatBy, OvercoatBy: in.Day.OvercoatBy,
		Stages: in.Day.Stages, Failing: in.Day.Failing,
	}
	if s, ok := in.Day.BestStart(); ok && in.Day.Basis.Foreseen() && s.Sealed >= 0 && s.RainOpen >= 0 { // NaN is not known
		c.Known, c.Chance, c.Full, c.RainOpen, c.Start = true, s.Sealed, s.Full, s.RainOpen, s.At
	}
	for _, r := range []*forecast.Run{in.Issue.Det, in.Issue.Ens} {
		if r == nil {
			continue
		}
		c.Source = r.Source
		if c.Fetched.IsZero() || r.LastSeen.Before(c.Fetched) {
			c.Fetched = r.LastSeen
		}
	}
	if in.Issue.Det != nil {
		c.DetDigest = in.Issue.Det.Digest
	}
	if in.Issue.Ens != nil {
		c.EnsDigest = in.Issue.Ens.Digest
	}
	return c
}

// Grace is how far beyond its bound a chance must lie for a no-go: a no-go is
// final, a hold costs nothing until the second look, and a chance is hardly
// known better than to a twentieth. Ours, no source.
const Grace = 0.05

// crossed says in words which no-go bound the chances cross, by Grace; "" when
// none.
func crossed(c Call, b job.Bounds) string {
	const eps = 1e-9
	switch {
	case c.Chance+Grace <= b.NoGo+eps:
		return fmt.Sprintf("the chance of sealing the roof is %s, under %s", percent(c.Chance), percent(b.NoGo))
	case c.RainOpen-Grace >= b.NoGoRain-eps:
		return fmt.Sprintf("the risk of rain on the open roof is %s, over %s", percent(c.RainOpen), percent(b.NoGoRain))
	}
	return ""
}

// short says what a go lacks; "" when nothing. when is in which case a go asks so.
func short(c Call, b job.Bounds, when string) string {
	const eps = 1e-9 // half-way between two bounds is not a round number
	switch {
	case c.Chance < b.Go-eps:
		return fmt.Sprintf("the chance of sealing the roof is %s, and %sa go asks for %s", beside(c.Chance, b.Go), when, percent(b.Go))
	case c.RainOpen > b.GoRainOpen+eps:
		return fmt.Sprintf("the risk of rain on the open roof is %s, and %sa go allows %s", beside(c.RainOpen, b.GoRainOpen), when, percent(b.GoRainOpen))
	}
	return ""
}

// beside gives a share as it is shown next to a bound that it fails: with a
// decimal where without one the two would look the same.
func beside(p, bound float64) string {
	if percent(p) == percent(bound) {
		return fmt.Sprintf("%.1f %%", p*100)
	}
	return percent(p)
}

func percent(p float64) string { return fmt.Sprintf("%.0f %%", p*100) }

// unknown says why there is no chance, in words.
func unknown(in Input) string {
	if in.Issue.Det == nil && in.Issue.Ens == nil {
		return "there is no forecast for this site"
	}
	if n := in.Day.Members; n > 0 && n < rules.LeastMembers {
		return fmt.Sprintf("only %d members of the forecast are complete for the day; at least %d are needed", in.Day.Members, rules.LeastMembers)
	}
	if in.Day.Basis == rules.FromClimate {
		return "the forecast does not reach the day: there is only the month's climate, which is never a go"
	}
	return "the forecast does not cover the day, or the day has no start that fits"
}

// DecideEvening makes the call for tomorrow. Missing or stale data is never a
// go: it is a hold, decided at the second look.
func DecideEvening(in Input) Call {
	return noting(in, decideEvening(in))
}

func decideEvening(in Input) Call {
	c := begin(in, Evening)
	stale := Age(in.Issue, in.Now)
	c.Blind = !c.Known || stale != ""
	switch {
	case !c.Known:
		c.Outcome, c.Reasons = Hold, []string{unknown(in)}
		if stale != "" && stale != c.Reasons[0] {
			c.Reasons = append(c.Reasons, stale)
		}
	case stale != "":
		c.Outcome, c.Reasons = Hold, []string{stale}
	case crossed(c, in.Firm.Bounds) != "":
		c.Outcome, c.Reasons = NoGo, append([]string{crossed(c, in.Firm.Bounds)}, causes(c, in.Firm.Zone)...)
	case short(c, in.Firm.Bounds, "") != "":
		c.Outcome, c.Reasons = Hold, append([]string{short(c, in.Firm.Bounds, "")}, causes(c, in.Firm.Zone)...)
	default:
		c.Outcome, c.Reasons = Go, praise(c, in.Firm.Zone)
	}
	return c
}

// DecideSecondLook makes the morning's call for today. A standing go stays
// unless a no-go bound is crossed or its forecast is missing or too old; after a hold, or
// where nothing was called, it is go or no-go. After a hold a go asks less, since there
// is no later look to wait for (job.Bounds.Morning). changed is false where the crew need
// not hear again.
func DecideSecondLook(in Input) (c Call, changed bool) {
	c = noting(in, decideSecondLook(in))
	return c, in.Standing == nil || in.Standing.Outcome != c.Outcome
}

func decideSecondLook(in Input) Call {
	c := begin(in, SecondLook)
	stood := in.Standing != nil && in.Standing.Outcome == Go
	asks, when := in.Firm.Bounds, ""
	if in.Standing != nil && in.Standing.Outcome == Hold {
		asks, when = in.Firm.Bounds.Morning(), "after a hold "
	}
	stale := Age(in.Issue, in.Now)
	old := tooOld(in.Issue, in.Now)
	c.Blind = !c.Known || old || (stale != "" && !stood)
	switch {
	case !c.Known:
		c.Outcome, c.Reasons = NoGo, []string{unknown(in)}
		if stale != "" && stale != c.Reasons[0] {
			c.Reasons = append(c.Reasons, stale)
		}
	case old, stale != "" && !stood:
		c.Outcome, c.Reasons = NoGo, []string{stale}
	case crossed(c, in.Firm.Bounds) != "":
		c.Outcome, c.Reasons = NoGo, append([]string{crossed(c, in.Firm.Bounds)}, causes(c, in.Firm.Zone)...)
	case stood:
		c.Outcome, c.Reasons = Go, append([]string{"the evening's go stands"}, praise(c, in.Firm.Zone)...)
	case short(c, asks, when) != "":
		c.Outcome, c.Reasons = NoGo, append([]string{short(c, asks, when)}, causes(c, in.Firm.Zone)...)
	case short(c, in.Firm.Bounds, "") != "":
		c.Outcome, c.Eased, c.Reasons = Go, true, append(praise(c, in.Firm.Zone), lookFirst)
	default:
		c.Outcome, c.Reasons = Go, praise(c, in.Firm.Zone)
	}
	return c
}

// lookFirst goes with a go that the evening would have left on hold. The caution is
// common practice, no source.
const lookFirst = "less sure than a go of the evening: look at the sky and the radar before you begin, and have the covers ready"

// noting puts below a call's reasons where its weather is from, when that is not
// the preferred source, and that another forecast sees other rain. A go for
// which another forecast is wet where its own is dry, or the other way round, is
// a hold on the evening: the second look tells. In the morning a go that stood
// stands, and what was not called go is judged by its own forecast; a caution
// never makes anything better.
func noting(in Input, c Call) Call {
	if in.Caution != "" {
		if c.Outcome == Go && c.Occasion == Evening && in.Flip {
			c.Outcome, c.Reasons = Hold, nil
		}
		c.Reasons = append(c.Reasons, in.Caution)
	}
	if in.Issue.Note != "" {
		c.Reasons = append(c.Reasons, in.Issue.Note)
	}
	return c
}

// causes says what stopped the members that failed, at most three causes.
func causes(c Call, zone string) []string {
	var out []string
	for i, f := range c.Failing {
		if i == 3 {
			break
		}
		out = append(out, fmt.Sprintf("%d of %d: %s %s to %s", f.Members, c.Members, f.Limit, hm(f.From, zone), hm(f.To, zone)))
	}
	return out
}

// praise says what a go rests on.
func praise(c Call, zone string) []string {
	out := []string{fmt.Sprintf("%s chance of a sealed roof, %s risk of rain while it is open", percent(c.Chance), percent(c.RainOpen))}
	var t *rules.Check
	for i := range c.Stages {
		switch c.Stages[i].Stage {
		case rules.Topcoat, rules.TopcoatCure:
			if len(c.Stages) > 2 { // a topcoat on the same day is a bonus; on a day of its own it is the work
				continue
			}
		}
		if k := &c.Stages[i].Tightest; t == nil || rules.Tighter(*k, *t) {
			t = k
		}
	}
	if t != nil && t.Limit != rules.LimitUnknown {
		out = append(out, "tightest: "+checkWords(*t, zone))
	}
	return out
}

// checkWords says how near a check is to its bound: "wind 8.9 of at most 10 m/s
// at 13:00".
func checkWords(t rules.Check, zone string) string {
	side := "at most"
	if math.Abs(t.Value-t.Margin-t.Bound) < math.Abs(t.Value+t.Margin-t.Bound) {
		side = "at least"
	}
	return fmt.Sprintf("%s %.3g of %s %.3g %s at %s", t.Limit, t.Value, side, t.Bound, t.Unit, hm(t.At, zone))
}

func hm(t time.Time, zone string) string {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		loc = time.UTC
	}
	return t.In(loc).Format("15:04")
}
