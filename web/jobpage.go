package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/ledger"
)

// jobView is the page of one job.
type jobView struct {
	ID, Path string
	Stands   string
	Tone     string
	Facts    []note
	Wishes   []wishLine
	Days     []dayAhead
	Plan     *planBits // where it stands on the plan; nil: nowhere
	Load     *loadBits
	Mix      *mixBits
	Past     []pastCall
	Diary    []diaryDay
	Messages []messageLine
	Weather  string // where the days' forecast is from
	Booked   bool
	Held     bool // by the firm
	AskFirst bool
	Acts     bool // the reader may change things
	Edits    bool // and orders too
	Record   bool // there is an as-laid record
}

// planBits are what forms about the plan need.
type planBits struct {
	Day, Crew string
	Words     string
	Pinned    bool
}

// wishLine is a word of the owner's; Day is one that may be allowed again.
type wishLine struct{ Text, Day string }

// How much a job's page shows of the past. Ours.
const (
	jobCallDays = 90
	jobMessages = 40
)

// jobPage shows one job.
func (s *site) jobPage(w http.ResponseWriter, r *http.Request, v viewer) {
	ctx, uid := r.Context(), s.firmUID()
	b, at, err := s.bookFrom(ctx, uid, -jobCallDays)
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	j, ok := booking(b, r.PathValue("id"))
	if !ok {
		notFound(w)
		return
	}
	o, err := s.Jobs.Judge.JobOutlook(ctx, uid, j.ID)
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	chances, err := s.Jobs.Records.JobChances(ctx, uid, j.ID)
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	ms, err := s.Jobs.Records.JobMessages(ctx, uid, j.ID, jobMessages)
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	p, err := jobViewOf(b, j, o, at)
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	p.Past = pastCallsOf(b, j, chances, at)
	p.Diary = diaryDaysOf(b, j, at)
	for _, m := range ms {
		p.Messages = append(p.Messages, messageLineOf(m, at))
	}
	p.Acts = s.Desk != nil && !v.Looks
	p.Edits = p.Acts && s.edits()
	p.Record = s.Aslaid != nil && len(p.Past) > 0
	s.show(w, http.StatusOK, "job", frame{Title: notify.Roof(j.Job), Firm: notify.Clean(b.Firm.Name), Viewer: &v, Credit: s.creditWith(b, o.Source), Body: p})
}

// creditWith credits the weather of a book and of one source more.
func (s *site) creditWith(b ledger.Book, source string) string {
	if s.Credit == nil || source == "" || b.Week != nil && slices.Contains(b.Week.Sources, source) {
		return s.creditFor(b)
	}
	week := b.Week
	b.Week = nil
	all := []string{source}
	if week != nil {
		all = append(all, week.Sources...)
	}
	for _, k := range b.Calls {
		if k.Source != "" {
			all = append(all, k.Source)
		}
	}
	return s.Credit(all)
}

// jobViewOf makes what the page tells of the job itself and of its days ahead.
func jobViewOf(b ledger.Book, j job.Booking, o notify.JobOutlook, at moment) (jobView, error) {
	p := jobView{ID: j.ID, Path: jobPath(j.ID), Booked: j.State == job.Booked, Held: j.Held != "", AskFirst: j.AskFirst, Facts: jobFacts(b, j), Wishes: wishLines(j)}
	p.Stands, p.Tone = standsWords(b, j, at)
	p.Stands = notify.Sentence(p.Stands)
	if p.Plan = planBitsOf(b, j, at); p.Plan != nil && j.Held == "" {
		p.Stands = p.Plan.Words
	}
	var err error
	if p.Days, err = daysAhead(o, p.Plan, b.Firm.Work, at); err != nil {
		return p, err
	}
	if o.Source != "" {
		p.Weather = "Forecast from " + notify.Clean(o.Source) + ", last seen " + at.stamp(o.Fetched) + "."
		if o.Note != "" {
			p.Weather += " " + notify.Sentence(o.Note)
		}
	}
	p.Load, p.Mix = loadBitsOf(o, b.Firm.Costs.Currency), mixBitsOf(o, siteZone(j.Job, at.zone))
	return p, nil
}

// planBitsOf gives the day that a job has on the plan, today or later.
func planBitsOf(b ledger.Book, j job.Booking, at moment) *planBits {
	if b.Week == nil || j.State != job.Booked {
		return nil
	}
	for _, v := range b.Week.Visits {
		if v.Job != j.ID || len(v.Days) == 0 || v.Days[0].Before(at.today) {
			continue
		}
		p := &planBits{Day: v.Days[0].String(), Crew: v.Crew, Pinned: j.Pinned.Day == v.Days[0]}
		p.Words = fmt.Sprintf("%s with %s from %s", at.near(v.Days[0]), crewName(b, v.Crew), v.Start)
		if n := len(v.Days); n > 1 {
			p.Words += fmt.Sprintf(", %d days", n)
		}
		switch usual := rules.Basis(v.Basis) == rules.FromClimate; {
		case usual:
			p.Words += fmt.Sprintf("; no forecast reaches it, usual weather of %s: %s", v.Days[0].Month, notify.Percent(v.Chance))
		case v.Chance > 0:
			p.Words += ", chance " + notify.Percent(v.Chance)
		}
		if v.Adds != nil && v.Adds.Amount > 0 {
			about := "about "
			if v.Adds.Exact {
				about = ""
			}
			p.Words += "; it adds " + about + v.Adds.Amount.Words(b.Firm.Costs.Currency) + " to the plan"
		}
		switch told, standBy := toldDay(b, v); v.Days[0] {
		case told:
			p.Words += "; its customer holds the date."
		case standBy:
			p.Words += "; its customer was told no day and stands by for this one."
		default:
			p.Words += "; provisional, its customer is not told the day."
		}
		if k := standing(b.Calls, j.ID, v.Days[0]); k != nil {
			p.Words += " Called " + string(k.Outcome) + "."
		}
		return p
	}
	return nil
}

// jobFacts are the order in words.
func jobFacts(b ledger.Book, j job.Booking) []note {
	r, currency := j.Roof, b.Firm.Costs.Currency
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	roof := fmt.Sprintf("%s m², %s, deck %s", number(r.AreaM2), r.Work, r.Deck)
	if !r.Shape.IsZero() {
		roof += ", " + strings.ReplaceAll(r.Shape.String(), "x", " by ") + " m"
	}
	if len(r.Edges) > 0 {
		roof += fmt.Sprintf(", %s m of edge", number(r.EdgeLength()))
	}
	if r.Outlets > 0 {
		roof += fmt.Sprintf(", outlets: %d", r.Outlets)
	}
	done := ""
	if j.LaidM2 > 0 {
		done = fmt.Sprintf("%s m² sealed, %s m² topcoated", number(j.LaidM2), number(j.CoatedM2))
	}
	dates := "from " + j.Earliest.Words()
	if !j.Promised.IsZero() {
		dates += ", promised by " + j.Promised.Words()
	}
	dates += ", not after " + j.Deadline.Words()
	var off []string
	for _, d := range j.Blackout {
		off = append(off, d.Words())
	}
	worth := "worth " + j.Value.Words(currency)
	if j.AbortCost > 0 {
		worth += "; " + j.AbortCost.Words(currency) + " lost if an opened roof fails"
	}
	if late := b.Firm.Costs.LatePerDay(j.Job); late > 0 {
		worth += "; " + late.Words(currency) + " for each day after the promised one"
	}
	var needs []string
	for _, n := range j.Needs {
		state := fmt.Sprintf("order %d days ahead", n.LeadDays)
		if n.Ordered {
			state = "ordered"
		}
		needs = append(needs, n.What+" ("+state+")")
	}
	facts := []note{
		{"Customer", strings.Trim(j.Customer.Name+", "+j.Customer.Email, ", ")}, {"Telephone", j.Phone}, {"Site", j.Site.Address}, {"Pin", pinWords(b, j.Site)},
		{"Roof", roof}, {"Done", done}, {"Dates", dates}, {"Not on", strings.Join(off, ", ")}, {"Money", worth}, {"Needs", strings.Join(needs, ", ")},
		{"Access, gate", j.Notes.Access}, {"Parking", j.Notes.Parking}, {"Power, water", j.Notes.PowerWater}, {"Neighbours", j.Notes.Neighbours}, {"Room below", j.Notes.RoomBelow},
		{"Skill", j.Skill}, {"Laying limits", cmp.Or(j.Profile, "polyester")},
	}
	var out []note
	for _, f := range facts {
		if f.Text = notify.Clean(f.Text); f.Text != "" {
			out = append(out, f)
		}
	}
	return out
}

// pinWords gives a site's coordinates and how far from each depot it lies: who
// mistyped them sees it by the distance.
func pinWords(b ledger.Book, site job.Site) string {
	words := fmt.Sprintf("%.4f° %s, %.4f° %s", abs(site.Lat), side(site.Lat, "north", "south"), abs(site.Lon), side(site.Lon, "east", "west"))
	if site.ElevationM != 0 {
		words += fmt.Sprintf(", %.0f m above the sea", site.ElevationM)
	}
	depots := map[job.Point][]string{}
	var order []job.Point
	for _, c := range b.Crews {
		if c.Depot == (job.Point{}) {
			continue
		}
		if depots[c.Depot] == nil {
			order = append(order, c.Depot)
		}
		depots[c.Depot] = append(depots[c.Depot], c.Name)
	}
	for _, d := range order {
		km := forecast.Cell{Lat: site.Lat, Lon: site.Lon}.KmTo(d.Lat, d.Lon)
		words += fmt.Sprintf("; %.3g km from the depot of %s as the crow flies", km, strings.Join(depots[d], " and "))
	}
	return words
}

func abs(v float64) float64 { return max(v, -v) }

func side(v float64, plus, minus string) string {
	if v < 0 {
		return minus
	}
	return plus
}

// wishLines are what the owner wants of a job.
func wishLines(j job.Booking) []wishLine {
	var out []wishLine
	if d := j.Pinned.Day; !d.IsZero() {
		out = append(out, wishLine{Text: "You pinned it to " + d.Words() + "."})
	}
	for _, d := range j.Forbidden {
		out = append(out, wishLine{Text: "You forbade " + d.Words() + ".", Day: d.String()})
	}
	if j.AskFirst {
		out = append(out, wishLine{Text: "A new date is told only when you say yes."})
	}
	return out
}
