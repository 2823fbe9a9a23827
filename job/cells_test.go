package job

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// drawText gives texts that spreadsheets, CSV and pages stumble over, as an
// import keeps them: without control characters and trimmed.
func drawText(t *rapid.T, name string, least int) string {
	s := clean(rapid.StringMatching(`['=+\-@＝]{0,3}[a-z",<>é =\n]{0,12}`).Draw(t, name))
	if len(s) < least {
		return "=" + s + "x"
	}
	return s
}

func drawDates(t *rapid.T, name string) []Date {
	var out []Date
	for range rapid.IntRange(0, 3).Draw(t, name) {
		out = append(out, Date{2027, time.April, 1}.AddDays(rapid.IntRange(0, 300).Draw(t, name)))
	}
	return out
}

func drawJob(t *rapid.T) Job {
	num := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) + 0 } // no -0
	money := func(name string) Money { return Money(rapid.Int64Range(0, 1e7).Draw(t, name)) }
	text := func(name string) string { return drawText(t, name, 0) }
	j := Job{
		ID: "J1", Title: drawText(t, "title", 1), Customer: Customer{Name: drawText(t, "name", 1), Email: "a@customers.test"}, Phone: text("phone"), HoldReason: text("hold"), Skill: text("skill"),
		Site:  Site{Address: text("address"), Lat: num("lat", -90, 90), Lon: num("lon", -180, 180), ElevationM: num("elev", -400, 8000), Zone: "Europe/London"},
		Notes: Notes{Access: text("access"), Parking: text("parking"), PowerWater: text("power"), Neighbours: text("neighbours"), RoomBelow: text("room")},
		Roof:  Roof{AreaM2: num("area", 0.5, 500), Work: Replace, Deck: NewBoard, Shade: num("shade", 0, 1), Exposure: num("exposure", 0, 3), Outlets: rapid.IntRange(0, 9).Draw(t, "outlets")},
		Value: money("value"), AbortCost: money("abort"), LateCostPerDay: money("late"),
		Earliest: Date{2027, time.April, 1}, Promised: Date{2027, time.April, 20}, Deadline: Date{2027, time.June, 1}, Blackout: drawDates(t, "blackout"),
		Profile: "polyester", Invite: rapid.Bool().Draw(t, "invite"),
	}
	for range rapid.IntRange(0, 2).Draw(t, "edges") {
		j.Roof.Edges = append(j.Roof.Edges, Edge{Drip, num("edge", 0, 40)})
	}
	if rapid.Bool().Draw(t, "shape") {
		j.Roof.Shape = Shape{WidthM: j.Roof.AreaM2 / 3, LengthM: 3}
		if j.Roof.AreaM2 > 10 && rapid.Bool().Draw(t, "L") { // a corner too small to be seen in the area
			j.Roof.Shape.NotchWidthM, j.Roof.Shape.NotchLengthM = 0.5, 0.25
		}
	}
	if rapid.Bool().Draw(t, "needs") {
		j.Needs = []Need{{What: "scaffold", LeadDays: 14, Ordered: true}, {What: "=skip"}}
	}
	return j
}

func asJSON(t *rapid.T, v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestBookSurvivesCSV: what is written as CSV is read again unchanged, and no cell
// of words is one that a spreadsheet runs.
func TestBookSurvivesCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := Import{Jobs: []Job{drawJob(t)}, Crews: []Crew{{ID: "k", Name: drawText(t, "crew", 1), Size: 3, Email: "k@crews.test", Absences: drawDates(t, "away"),
			Skills: []string{"torch", "lead work"}, PlanB: []string{"snag list at 9 Mill Brook", "yard"}, Depot: Point{Lat: 44.5, Lon: -63}}}}
		var b bytes.Buffer
		if err := WriteCSV(&b, in); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows[1:] {
			for i, cell := range row {
				if cell != "" && strings.ContainsRune(formulaMarks, []rune(cell)[0]) && csvColumns()[i].kind != numberCell {
					t.Fatalf("%s: %q is a formula to a spreadsheet", rows[0][i], cell)
				}
			}
		}
		got, problems := DecodeImportCSV(&b, testFirm())
		if err := problems.Err(); err != nil {
			t.Fatal(err)
		}
		if g, w := asJSON(t, got), asJSON(t, in); g != w {
			t.Errorf("got  %s\nwant %s", g, w)
		}
	})
}

// TestJobSurvivesItsForm: a form that is filled with a job and sent back untouched
// changes nothing.
func TestJobSurvivesItsForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawJob(t)
		got, problems := DecodeCells(want.Cells(), testFirm())
		if err := problems.Err(); err != nil {
			t.Fatal(err)
		}
		if g, w := asJSON(t, got), asJSON(t, want); g != w {
			t.Errorf("got  %s\nwant %s", g, w)
		}
	})
}

func TestFormNamesItsFields(t *testing.T) {
	c := map[string]string{"id": "J1", "title": " ", "site.lat": "north", "site.lon": "-63", "roof.area_m2": "0", "roof.work": "replace", "roof.deck": "grp",
		"value": "1", "earliest": "2027-04-12", "deadline": "2027-04-01", "blackout": "2027-04-15 soon", "customer.name": "x", "customer.email": "x", "row": "crew", "no such": "1"}
	_, problems := DecodeCells(c, testFirm())
	found := map[string]bool{}
	for _, p := range problems {
		found[p.Field] = true
	}
	for _, f := range []string{"title", "site.lat", "roof.area_m2", "deadline", "blackout[2]", "customer.email"} {
		if !found[f] {
			t.Errorf("nothing said of %s in %v", f, problems)
		}
	}
	if len(problems) != 6 {
		t.Errorf("%d problems: %v", len(problems), problems)
	}
	if _, problems := DecodeCrewCells(map[string]string{"id": "k", "name": "Kite", "size": "0", "email": "k@crews.test"}, testFirm()); len(problems) != 1 || problems[0].Field != "size" {
		t.Errorf("crew: %v", problems)
	}
}

// leaves counts the fields of a type, those within it too.
func leaves(t reflect.Type) int {
	if t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct || t == reflect.TypeFor[Date]() {
		return 1
	}
	n := 0
	for i := range t.NumField() {
		n += leaves(t.Field(i).Type)
	}
	return n
}

// TestEveryFieldHasACell: a form sends an order whole, so a field without a cell
// would be lost whenever somebody changes another.
func TestEveryFieldHasACell(t *testing.T) {
	const job, crew = 41, 9 // those that drawJob and TestBookSurvivesCSV fill
	if n := leaves(reflect.TypeFor[Job]()); n != job {
		t.Errorf("Job has %d fields, not %d: give the new one a column (csvColumns, Job.Cells), a field in the form (web/jobform.go) and drawJob a value", n, job)
	}
	if n := leaves(reflect.TypeFor[Crew]()); n != crew {
		t.Errorf("Crew has %d fields, not %d: give the new one a column, and Crew.Cells too", n, crew)
	}
}
