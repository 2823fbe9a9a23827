package web

import (
	"cmp"
	"net/url"
	"strings"

	"laycast/job"
	"laycast/notify"
)

// formGroup is some fields of a form that belong together.
type formGroup struct {
	Name   string
	Fields []formField
}

// formField is one field: its name is that of a column of the CSV import, so that
// a form, a file and the command line are read by the same checks.
type formField struct {
	Name, Label, Hint, Value string
	Wrong                    []string
	Now                      string // in the book, where something else was typed meanwhile
	Choice                   []choice
	Long                     bool // more than a line
	Flag                     bool // a box to tick
	Need                     bool
	Fixed                    bool // shown, and not to be changed
}

// wrongField leads from the head of a form to a field that is not right.
type wrongField struct{ Name, Label string }

// jobFields are the fields of an order, group by group.
func jobFields(firm job.Firm, profiles []string) []formGroup {
	pick := func(words ...string) []choice {
		out := []choice{{"", "choose", false}}
		for _, w := range words {
			out = append(out, choice{Value: w, Text: w})
		}
		return out
	}
	money := firm.Costs.Currency
	return []formGroup{
		{"The job", []formField{
			{Name: "id", Label: "Number of the job", Hint: "letters and digits, such as J-017; it never changes", Need: true},
			{Name: "title", Label: "What it is", Hint: "dormer roof, garage", Need: true},
			{Name: "hold_reason", Label: "On hold, because", Hint: "deposit, colour, access; empty: it is planned"},
		}},
		{"Customer", []formField{
			{Name: "customer.name", Label: "Name", Need: true}, {Name: "customer.email", Label: "Mail address", Need: true},
			{Name: "phone", Label: "Telephone"}, {Name: "invite", Label: "Wants invitations by mail instead of a calendar to subscribe to", Flag: true},
			{Name: "blackout", Label: "Days that do not suit", Hint: "such as 2027-04-15 2027-04-16"},
		}},
		{"Site", []formField{
			{Name: "site.address", Label: "Address"},
			{Name: "site.lat", Label: "Degrees north", Hint: "such as 44.6488; south is negative", Need: true}, {Name: "site.lon", Label: "Degrees east", Hint: "such as -63.5752; west is negative", Need: true},
			{Name: "site.elevation_m", Label: "Metres above the sea"}, {Name: "site.zone", Label: "Time zone", Hint: "empty: " + firm.Zone},
			{Name: "notes.access", Label: "Access, gate", Long: true}, {Name: "notes.parking", Label: "Parking"}, {Name: "notes.power_water", Label: "Power, water"},
			{Name: "notes.neighbours", Label: "Neighbours"}, {Name: "notes.room_below", Label: "Room below"},
		}},
		{"Roof", []formField{
			{Name: "roof.area_m2", Label: "Area, m²", Need: true},
			{Name: "roof.shape", Label: "Sides, m", Hint: "5x4, or 5x4-2x1.5 for an L without a corner of 2 by 1.5; empty where they are not known"},
			{Name: "roof.work", Label: "Work", Choice: pick("replace", "overboard", "relaminate", "balcony"), Need: true},
			{Name: "roof.deck", Label: "What the laminate goes on", Choice: pick("new-board", "old-board", "concrete", "grp", "felt", "asphalt", "metal"), Need: true},
			{Name: "roof.edges", Label: "Edges", Hint: "kind and metres: drip:6; wall:4.5; raised:3; valley:2"},
			{Name: "roof.outlets", Label: "Outlets"}, {Name: "roof.shade", Label: "Shade", Hint: "0 none to 1 all day"},
			{Name: "roof.exposure", Label: "Wind on the roof", Hint: "1 as in open country, 0.5 sheltered"},
			{Name: "skill", Label: "Skill that it needs"}, {Name: "profile", Label: "Laying limits", Choice: pick(profiles...)[1:]},
			{Name: "needs", Label: "To be ordered", Hint: "what|days ahead|yes once ordered: scaffold|14; skip|5|yes"},
		}},
		{"Money and dates", []formField{
			{Name: "value", Label: "Worth to the firm, " + money, Need: true}, {Name: "abort_cost", Label: "Lost when an opened roof fails, " + money},
			{Name: "late_cost_per_day", Label: "Each day after the promised one, " + money, Hint: "empty: as the settings say"},
			{Name: "earliest", Label: "Not before", Hint: "such as 2027-04-12", Need: true}, {Name: "promised", Label: "Promised by", Hint: "empty: two weeks after the earliest"},
			{Name: "deadline", Label: "Not after", Need: true},
		}},
	}
}

// crewFields are the fields of a crew.
func crewFields() []formGroup {
	return []formGroup{{"The crew", []formField{
		{Name: "id", Label: "Short name", Hint: "letters and digits; it never changes", Need: true}, {Name: "name", Label: "Name", Need: true},
		{Name: "size", Label: "Hands", Hint: "nobody laminates alone", Need: true}, {Name: "email", Label: "Mail address", Need: true},
		{Name: "skills", Label: "Skills", Hint: "divided by ;"},
		{Name: "plan_b", Label: "Work that needs no weather, for a no-go", Hint: "divided by ;", Long: true},
		{Name: "absences", Label: "Days away", Hint: "such as 2027-04-15 2027-04-16", Long: true},
		{Name: "depot.lat", Label: "Depot, degrees north"}, {Name: "depot.lon", Label: "Depot, degrees east"},
	}}}
}

// mostField is the longest field that a form may send: some hundred dates.
const mostField = 4000

// typedOf gives the fields of a form that are columns, as typed.
func typedOf(groups []formGroup, form url.Values) map[string]string {
	out := map[string]string{}
	for _, g := range groups {
		for _, f := range g.Fields {
			if v := strings.TrimSpace(form.Get(f.Name)); v != "" && len(v) <= mostField {
				out[f.Name] = v
			}
		}
	}
	return out
}

// filled puts values and complaints into a form; those about no field of it are
// given back.
func filled(groups []formGroup, values map[string]string, problems job.Problems) (rest []string) {
	at := map[string]*formField{}
	for i := range groups {
		for k := range groups[i].Fields {
			f := &groups[i].Fields[k]
			at[f.Name] = f
			f.Value = values[f.Name]
			for c := range f.Choice {
				f.Choice[c].On = f.Choice[c].Value == f.Value
			}
		}
	}
	for _, p := range problems {
		if f := fieldOf(at, p.Field); f != nil {
			f.Wrong = append(f.Wrong, notify.Sentence(p.Reason))
			continue
		}
		rest = append(rest, notify.Sentence(strings.TrimPrefix(p.Field+": "+p.Reason, ": ")))
	}
	return rest
}

// fieldOf gives the field that a complaint is about: "roof.edges[2].length_m" is
// about roof.edges.
func fieldOf(at map[string]*formField, name string) *formField {
	for n := name; n != ""; {
		if f := at[n]; f != nil {
			return f
		}
		i := strings.LastIndexAny(n, ".[")
		if i < 0 {
			break
		}
		n = n[:i]
	}
	return nil
}

// wrongOf gives the fields that are not right, in order.
func wrongOf(groups []formGroup) []wrongField {
	var out []wrongField
	for _, g := range groups {
		for _, f := range g.Fields {
			if len(f.Wrong) > 0 {
				out = append(out, wrongField{f.Name, f.Label})
			}
		}
	}
	return out
}

// compared puts beside each field what stands in the book now, where that is not what
// was typed; typed is as it was read, so that two ways to write a value are no
// difference.
func compared(groups []formGroup, typed, now map[string]string) {
	for i := range groups {
		for k := range groups[i].Fields {
			f := &groups[i].Fields[k]
			if have := now[f.Name]; have != typed[f.Name] {
				f.Now = cmp.Or(have, "nothing")
			}
		}
	}
}
