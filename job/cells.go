package job

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Cells gives a job as the cells of a CSV import by the names of their columns,
// as somebody would type them. Empty ones are left out.
func (j Job) Cells() map[string]string {
	c := cells{}
	c.text("id", j.ID)
	c.text("title", j.Title)
	c.text("customer.name", j.Customer.Name)
	c.text("customer.email", j.Customer.Email)
	c.text("site.address", j.Site.Address)
	c["site.lat"], c["site.lon"] = float(j.Site.Lat), float(j.Site.Lon)
	c.number("site.elevation_m", j.Site.ElevationM)
	c.text("site.zone", j.Site.Zone)
	c.text("phone", j.Phone)
	c.text("notes.access", j.Notes.Access)
	c.text("notes.parking", j.Notes.Parking)
	c.text("notes.power_water", j.Notes.PowerWater)
	c.text("notes.neighbours", j.Notes.Neighbours)
	c.text("notes.room_below", j.Notes.RoomBelow)
	c.text("needs", needsText(j.Needs))
	c.text("hold_reason", j.HoldReason)
	c.roof(j.Roof)
	c.text("skill", j.Skill)
	c.text("value", j.Value.String())
	c.money("abort_cost", j.AbortCost)
	c.money("late_cost_per_day", j.LateCostPerDay)
	c.date("earliest", j.Earliest)
	c.date("promised", j.Promised)
	c.date("deadline", j.Deadline)
	c.text("blackout", datesText(j.Blackout))
	c.text("profile", j.Profile)
	if j.Invite {
		c["invite"] = "true"
	}
	return c
}

// Cells gives a crew as Job.Cells gives a job.
func (k Crew) Cells() map[string]string {
	c := cells{}
	c.text("id", k.ID)
	c.text("name", k.Name)
	c.text("size", strconv.Itoa(k.Size))
	if len(k.Skills) > 0 { // with a ";" a skill may be of two words
		c.text("skills", strings.Join(inList(k.Skills), "; ")+";")
	}
	if len(k.PlanB) > 0 {
		c.text("plan_b", strings.Join(inList(k.PlanB), "; ")+";")
	}
	c.text("email", k.Email)
	c.text("absences", datesText(k.Absences))
	if k.Depot != (Point{}) {
		c["depot.lat"], c["depot.lon"] = float(k.Depot.Lat), float(k.Depot.Lon)
	}
	return c
}

// cells collects those that are not empty.
type cells map[string]string

func (c cells) text(name, v string) {
	if v != "" {
		c[name] = v
	}
}

func (c cells) number(name string, v float64) {
	if v != 0 {
		c[name] = float(v)
	}
}

func (c cells) money(name string, v Money) {
	if v != 0 {
		c[name] = v.String()
	}
}

func (c cells) date(name string, d Date) {
	if !d.IsZero() {
		c[name] = d.String()
	}
}

func (c cells) roof(r Roof) {
	c["roof.area_m2"] = float(r.AreaM2)
	c.text("roof.shape", shapeText(r.Shape))
	c.text("roof.work", string(r.Work))
	c.text("roof.deck", string(r.Deck))
	c.number("roof.shade", r.Shade)
	c.number("roof.exposure", r.Exposure)
	c.number("roof.outlets", float64(r.Outlets))
	edges := make([]string, len(r.Edges))
	for i, e := range r.Edges {
		edges[i] = string(e.Kind) + ":" + float(e.LengthM)
	}
	c.text("roof.edges", strings.Join(edges, "; "))
}

// shapeText is Shape.String without rounding.
func shapeText(s Shape) string {
	switch {
	case s.IsZero():
		return ""
	case s.L():
		return fmt.Sprintf("%sx%s-%sx%s", float(s.WidthM), float(s.LengthM), float(s.NotchWidthM), float(s.NotchLengthM))
	}
	return float(s.WidthM) + "x" + float(s.LengthM)
}

func needsText(ns []Need) string {
	out := make([]string, len(ns))
	for i, n := range ns {
		out[i] = strings.ReplaceAll(inList([]string{n.What})[0], "|", "/") + "|" + strconv.Itoa(n.LeadDays)
		if n.Ordered {
			out[i] += "|true"
		}
	}
	return strings.Join(out, "; ")
}

// inList gives texts without the mark that divides a list.
func inList(texts []string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = strings.ReplaceAll(t, ";", ",")
	}
	return out
}

func datesText(ds []Date) string {
	out := make([]string, len(ds))
	for i, d := range ds {
		out[i] = d.String()
	}
	return strings.Join(out, " ")
}

func float(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// DecodeCells reads one job from cells by the names of their columns, as a form
// sends them, with every check of the imports. When there is any problem the Job
// is only what could be read and must not be used; Problem.Field names the column,
// for a list with its place ("blackout[1]"). Names that are no column are passed
// over.
func DecodeCells(cells map[string]string, firm Firm) (Job, Problems) {
	d := &importDecoder{firm: firm, crewIDs: map[string]int{}, jobIDs: map[string]int{}}
	d.cells("job", cells, d.job, "customer", "site", "roof")
	if len(d.out.Jobs) == 0 {
		return Job{}, d.problems
	}
	return d.out.Jobs[0], d.problems
}

// DecodeCrewCells reads one crew as DecodeCells reads a job.
func DecodeCrewCells(cells map[string]string, firm Firm) (Crew, Problems) {
	d := &importDecoder{firm: firm, crewIDs: map[string]int{}, jobIDs: map[string]int{}}
	d.cells("crew", cells, d.crew)
	if len(d.out.Crews) == 0 {
		return Crew{}, d.problems
	}
	return d.out.Crews[0], d.problems
}

// cells reads one row; of the groups what is missing is named cell by cell.
func (d *importDecoder) cells(what string, cells map[string]string, read func(*object), groups ...string) {
	b := rowBuilder{root: value{kind: objectValue}}
	for _, g := range groups {
		b.group(g)
	}
	for _, c := range csvColumns() {
		if cell := cells[c.name]; c.name != rowColumn && strings.TrimSpace(cell) != "" {
			b.put(c, cell)
		}
	}
	d.row(what, 1, b.root, b.count > maxRowValues, read)
}

// WriteCSV writes crews and jobs as an import that DecodeImportCSV takes in
// again unchanged, in UTF-8. A cell that a spreadsheet would take for a formula
// has an apostrophe before it, which the import takes away. In lists of needs and
// skills a ";" within a text becomes a comma, and "|" a "/": they divide the list.
func WriteCSV(out io.Writer, in Import) error {
	columns := csvColumns()
	w := csv.NewWriter(out)
	head := make([]string, len(columns))
	for i, c := range columns {
		head[i] = c.name
	}
	rows := [][]string{head}
	put := func(what string, cells map[string]string) {
		cells[rowColumn] = what
		row := make([]string, len(columns))
		for i, c := range columns {
			row[i] = cells[c.name]
			if c.kind != numberCell {
				row[i] = harmless(row[i])
			}
		}
		rows = append(rows, row)
	}
	for _, c := range in.Crews {
		put("crew", c.Cells())
	}
	for _, j := range in.Jobs {
		put("job", j.Cells())
	}
	if err := w.WriteAll(rows); err != nil {
		return fmt.Errorf("write the book as CSV: %w", err)
	}
	return nil
}

// formulaMarks begin what spreadsheets take for a formula, those as wide as an
// ideograph too. (From memory: advice on CSV injection; no source here.)
const formulaMarks = "=+-@\t\r＝＋－＠"

// formula reports whether a text, its apostrophes aside, begins like a formula.
func formula(s string) bool {
	s = strings.TrimLeft(s, "'")
	return s != "" && strings.ContainsRune(formulaMarks, []rune(s)[0])
}

// harmless gives a text that no spreadsheet runs; meant undoes it.
func harmless(s string) string {
	if formula(s) {
		return "'" + s
	}
	return s
}

func meant(s string) string {
	if strings.HasPrefix(s, "'") && formula(s) {
		return s[1:]
	}
	return s
}
