package job

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"
)

func testFirm() Firm {
	f := DefaultFirm()
	f.Name, f.UID, f.Zone = "Saltbox Laminates", "saltbox-laminates", "America/Halifax"
	return f
}

// goodFile has every field of the format once.
const goodFile = `{"crews":[{"id":"heron","name":"Heron","size":2,"skills":["torch"],"email":"heron@crews.test",
  "absences":["2027-04-09"],"depot":{"lat":44.65,"lon":-63.6}}],
 "jobs":[{"id":"J-001","title":"Aster roof","customer":{"name":"Aster Household","email":"Aster@Customers.test"},
  "site":{"address":"1 Heath Lane","lat":44.6,"lon":-63.5,"elevation_m":20,"zone":"Europe/London"},
  "phone":"555 0100","notes":{"access":"by the gate","parking":"kerb","power_water":"yes","neighbours":"none","room_below":"kitchen"},
  "needs":[{"what":"skip","lead_days":5,"ordered":true}],"hold_reason":"deposit",
  "roof":{"area_m2":20.5,"shape":{"width_m":5,"length_m":4.7,"notch_width_m":2,"notch_length_m":1.5},"work":"replace","deck":"new-board","shade":0.2,"exposure":0.8,"edges":[{"kind":"drip","length_m":6},{"kind":"wall","length_m":5}],"outlets":1},
  "skill":"torch","value":1800.5,"abort_cost":500,"late_cost_per_day":40,
  "earliest":"2027-04-12","promised":"2027-04-22","deadline":"2027-06-11","blackout":["2027-04-15"],"profile":"polyester","invite":true},
 {"id":"J-002","title":"Birch roof","customer":{"name":"Birch","email":"b@customers.test"},"site":{"lat":0,"lon":0},
  "roof":{"area_m2":8,"work":"overboard","deck":"felt"},"value":0,"earliest":"2027-04-12","deadline":"2027-04-20"}]}`

func TestDecodeImportReadsEveryField(t *testing.T) {
	got, problems := DecodeImport(strings.NewReader(goodFile), testFirm())
	if err := problems.Err(); err != nil {
		t.Fatalf("good file: %v", err)
	}
	day := func(d int) Date { return Date{2027, time.April, d} }
	want := Import{
		Crews: []Crew{{ID: "heron", Name: "Heron", Size: 2, Skills: []string{"torch"}, Email: "heron@crews.test",
			Absences: []Date{day(9)}, Depot: Point{44.65, -63.6}}},
		Jobs: []Job{{
			ID: "J-001", Title: "Aster roof", Customer: Customer{"Aster Household", "aster@customers.test"},
			Site:  Site{"1 Heath Lane", 44.6, -63.5, 20, "Europe/London"},
			Phone: "555 0100", Notes: Notes{"by the gate", "kerb", "yes", "none", "kitchen"},
			Needs: []Need{{"skip", 5, true}}, HoldReason: "deposit",
			Roof: Roof{AreaM2: 20.5, Shape: Shape{5, 4.7, 2, 1.5}, Work: Replace, Deck: NewBoard, Shade: .2, Exposure: .8,
				Edges: []Edge{{Drip, 6}, {Wall, 5}}, Outlets: 1},
			Skill: "torch", Value: 180050, AbortCost: 50000, LateCostPerDay: 4000,
			Earliest: day(12), Promised: day(22), Deadline: Date{2027, time.June, 11}, Blackout: []Date{day(15)},
			Profile: "polyester", Invite: true,
		}, {
			ID: "J-002", Title: "Birch roof", Customer: Customer{"Birch", "b@customers.test"},
			Site: Site{Zone: "America/Halifax"}, Roof: Roof{AreaM2: 8, Work: Overboard, Deck: Felt},
			// earliest + 14 would be the 26th: never after the deadline
			Earliest: day(12), Promised: day(20), Deadline: day(20), Profile: "polyester",
		}},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

func TestPromisedDefaultsToAFortnight(t *testing.T) {
	file := edited(t, func(j map[string]any) { delete(j, "promised") })
	got, problems := DecodeImport(strings.NewReader(file), testFirm())
	if len(problems) > 0 || got.Jobs[0].Promised != (Date{2027, time.April, 26}) {
		t.Errorf("promised %v, problems %v; want 2027-04-26, earliest + 14", got.Jobs[0].Promised, problems)
	}
}

// edited gives goodFile with the first job changed.
func edited(t *testing.T, edit func(j map[string]any)) string {
	t.Helper()
	return editedFile(t, func(f map[string]any) { edit(f["jobs"].([]any)[0].(map[string]any)) })
}

func editedFile(t *testing.T, edit func(f map[string]any)) string {
	t.Helper()
	var f map[string]any
	if err := json.Unmarshal([]byte(goodFile), &f); err != nil {
		t.Fatal(err)
	}
	edit(f)
	b, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// set puts a value at a dotted path.
func set(path string, v any) func(map[string]any) {
	return func(m map[string]any) {
		parts := strings.Split(path, ".")
		for _, p := range parts[:len(parts)-1] {
			m = m[p].(map[string]any)
		}
		last := parts[len(parts)-1]
		if v == absent {
			delete(m, last)
			return
		}
		m[last] = v
	}
}

var absent = &struct{ int }{}

func TestEachBadFieldIsNamed(t *testing.T) {
	long := strings.Repeat("x", 501)
	edge := func(e map[string]any) []any { return []any{e} }
	for _, c := range []struct {
		path   string
		value  any
		field  string // "" = path
		reason string
	}{
		{"site.lat", 95, "", "95 is not a latitude; give degrees from -90 to 90"},
		{"site.lat", -90.01, "", "not a latitude"},
		{"site.lat", "44.6", "", "must be a number, not text"},
		{"site.lat", absent, "", "missing"},
		{"site.lat", nil, "", "missing"},
		{"site.lon", 181, "", "not a longitude"},
		{"site.lon", json.Number("1e999"), "", "not a longitude"},
		{"site.elevation_m", -431, "", "not an elevation"},
		{"site.elevation_m", 9001, "", "not an elevation"},
		{"site.zone", "Mars/Base", "", `"Mars/Base" is not a time zone`},
		{"site.zone", "Local", "", "not a time zone"},
		{"site", absent, "", "missing"},
		{"site", []any{}, "", "must be an object, not a list"},
		{"roof.area_m2", 0, "", "0 is not an area"},
		{"roof.area_m2", -3, "", "not an area"},
		{"roof.area_m2", 100001, "", "not an area"},
		{"roof.shape", map[string]any{"width_m": 5, "length_m": 5}, "", "this shape has 25 m², but area_m2 says 20.5"},
		{"roof.shape", map[string]any{"width_m": 5}, "roof.shape.length_m", "missing"},
		{"roof.shape", map[string]any{"width_m": 0.01, "length_m": 5}, "roof.shape.width_m", "not a side"},
		{"roof.shape", map[string]any{"width_m": 5, "length_m": 5, "notch_width_m": 2}, "", "an L needs both"},
		{"roof.shape", map[string]any{"width_m": 5, "length_m": 5, "notch_width_m": 6, "notch_length_m": 1}, "", "must be smaller than the whole"},
		{"roof.shape", map[string]any{"width_m": 5, "length_m": 4.1, "depth": 1}, "roof.shape.depth", "unknown key"},
		{"roof.work", "thatch", "", `"thatch" is not known`},
		{"roof.work", "replac", "", `did you mean "replace"?`},
		{"roof.work", absent, "", "missing"},
		{"roof.deck", "newboard", "", `did you mean "new-board"?`},
		{"roof.shade", 1.1, "", "not a share of shade"},
		{"roof.exposure", 3.5, "", "not an exposure"},
		{"roof.outlets", -1, "", "not a number of outlets"},
		{"roof.outlets", 1.5, "", "not a number of outlets"},
		{"roof.edges", edge(map[string]any{"kind": "gutter", "length_m": 1}), "roof.edges[1].kind", "not known"},
		{"roof.edges", edge(map[string]any{"kind": "drip", "length_m": -1}), "roof.edges[1].length_m", "-1 is not a length"},
		{"roof.edges", edge(map[string]any{"kind": "drip"}), "roof.edges[1].length_m", "missing"},
		{"roof.edges", []any{7}, "roof.edges[1]", "must be an object, not a number"},
		{"needs", edge(map[string]any{"lead_days": 3}), "needs[1].what", "missing"},
		{"needs", edge(map[string]any{"what": "skip", "lead_days": -3}), "needs[1].lead_days", "not a lead time"},
		{"value", -1, "", "-1 is negative"},
		{"value", 1.005, "", "not an amount"},
		{"value", absent, "", "missing"},
		{"value", "1800", "", "must be a number, not text"},
		{"abort_cost", -0.5, "", "negative"},
		{"late_cost_per_day", -40, "", "negative"},
		{"earliest", "12.4.2027", "", "is not a date"},
		{"earliest", "2027-02-29", "", "is not a date"},
		{"earliest", absent, "", "missing"},
		{"deadline", "2027-01-01", "", "lies before the earliest date 2027-04-12"},
		{"deadline", "0207-06-11", "", "not a year"},
		{"deadline", absent, "", "missing"},
		{"promised", "2027-04-11", "", "lies before the earliest date"},
		{"promised", "2027-06-12", "", "lies after the deadline"},
		{"blackout", []any{"2027-04-31"}, "blackout[1]", "is not a date"},
		{"blackout", "2027-04-30", "", "must be a list, not text"},
		{"customer.email", "nobody", "", "is not an e-mail address"},
		{"customer.email", absent, "", "missing"},
		{"customer.name", "  ", "", "must not be empty"},
		{"customer.phone", "1", "", "unknown key"},
		{"colour", "red", "", "unknown key"},
		{"tittle", "red", "", `unknown key; did you mean "title"?`},
		{"title", long, "", "501 characters long; at most 500"},
		{"title", 7, "", "must be text, not a number"},
		{"invite", "yes", "", "must be true or false, not text"},
		{"id", "a|b", "", `holds a "|"`},
		{"id", "-1", "", "begin with a letter or a digit"},
		{"id", "J-002", "id", `"J-002" is already the id of job 1`}, // found at row 2
	} {
		t.Run(fmt.Sprint(c.path, "=", cut(fmt.Sprint(c.value), 20)), func(t *testing.T) {
			_, problems := DecodeImport(strings.NewReader(edited(t, set(c.path, c.value))), testFirm())
			field := c.field
			if field == "" {
				field = c.path
			}
			if len(problems) != 1 {
				t.Fatalf("want one problem, got %d:\n%v", len(problems), problems)
			}
			p := problems[0]
			if p.Field != field || !strings.Contains(p.Reason, c.reason) || !strings.HasPrefix(p.Row, "job ") {
				t.Errorf("got %q, want field %s and %q", p, field, c.reason)
			}
		})
	}
}

func TestBitumenIsNotOffered(t *testing.T) {
	for _, w := range []Work{Replace, Overboard, Relaminate, Balcony} {
		for _, d := range []Deck{NewBoard, OldBoard, Concrete, GRP, Felt, Asphalt, Metal} {
			file := edited(t, func(j map[string]any) { set("roof.work", w)(j); set("roof.deck", d)(j) })
			_, problems := DecodeImport(strings.NewReader(file), testFirm())
			ok := w == Replace || w == Overboard || w == Relaminate && d == GRP || w == Balcony && d == Concrete
			if (len(problems) == 0) != ok {
				t.Errorf("%s onto %s: %v", w, d, problems)
			}
		}
	}
}

func TestBadCrews(t *testing.T) {
	for _, c := range []struct {
		path   string
		value  any
		reason string
	}{
		{"size", 0, "not a crew size"}, {"size", 1.5, "not a crew size"}, {"size", absent, "missing"},
		{"email", "heron at crews", "not an e-mail address"}, {"name", absent, "missing"},
		{"id", absent, "missing"}, {"absences", []any{"soon"}, "is not a date"}, {"depot.lat", absent, "missing"},
		{"skills", []any{1}, "must be text"}, {"van", "red", "unknown key"},
	} {
		file := editedFile(t, func(f map[string]any) { set(c.path, c.value)(f["crews"].([]any)[0].(map[string]any)) })
		_, problems := DecodeImport(strings.NewReader(file), testFirm())
		if len(problems) != 1 || !strings.HasPrefix(problems[0].Row, "crew 1") || !strings.Contains(problems[0].Reason, c.reason) {
			t.Errorf("%s = %v: got %v, want %q of crew 1", c.path, c.value, problems, c.reason)
		}
	}
}

func TestEveryBadRowIsReported(t *testing.T) {
	file := editedFile(t, func(f map[string]any) {
		jobs := f["jobs"].([]any)
		set("site.lat", 95)(jobs[0].(map[string]any))
		set("roof.area_m2", 0)(jobs[0].(map[string]any))
		set("colour", "red")(jobs[1].(map[string]any))
		f["jobs"] = append(jobs, 7, map[string]any{})
		f["crews"] = append(f["crews"].([]any), f["crews"].([]any)[0])
	})
	_, problems := DecodeImport(strings.NewReader(file), testFirm())
	for _, want := range []string{
		`crew 2 "heron": id: "heron" is already the id of crew 1; every id stands once`,
		`job 1 "J-001": site.lat: 95 is not a latitude; give degrees from -90 to 90`,
		`job 1 "J-001": roof.area_m2: 0 is not an area; give m² above 0 and up to 100000`,
		`job 2 "J-002": colour: unknown key`,
		`job 3: must be an object in { }, not a number`,
		`job 4: id: missing; give text`,
		`job 4: customer: missing; give an object`,
	} {
		if !strings.Contains(problems.Error(), want) {
			t.Errorf("no line %q in:\n%v", want, problems)
		}
	}
	if n := strings.Count(problems.Error(), "\n") + 1; n != len(problems) {
		t.Errorf("%d lines for %d problems", n, len(problems))
	}
	_, again := DecodeImport(strings.NewReader(file), testFirm())
	if !reflect.DeepEqual(problems, again) {
		t.Error("the same file gave other problems the second time")
	}
}

func TestBadFiles(t *testing.T) {
	for _, c := range []struct{ file, reason string }{
		{"", "the file is empty"},
		{"{\n \"jobs\": [}\n", "line 2, column 11: this is not JSON"},
		{"{\n \"jobs\": [", "line 2, column 11: this is not JSON: unexpected end"},
		{"{} {}", "line 1, column 4"},
		{"[]", "must be one object"},
		{`{"jobs": {}}`, "must be a list of jobs"},
		{`{"jobs": 3}`, "must be a list of jobs"},
		{`{"job": [{"id": "1"}]}`, `job: unknown key; did you mean "jobs"?`},
		{`{"jobs": [], "jobs": []}`, "jobs: stands twice"},
		{`{"crews": [{"id": "a", "id": "a", "name": "A", "email": "a@b.test", "size": 2}]}`, `crew 1 "a": id: stands twice`},
		{"{\"jobs\": [\"\xff\"]}", "line 1, column 12: this is not UTF-8"},
		{strings.Repeat(`[`, 20000), "exceeded max depth"},
		{`{"crews": [[` + strings.Repeat("1,", 5001) + `1]]}`, "more than 5000 values in one row"},
		{`{"crews": [` + strings.Repeat("1,", 20001) + `1]}`, "more than 20000 rows"},
	} {
		_, problems := DecodeImport(strings.NewReader(c.file), testFirm())
		if len(problems) == 0 || !strings.Contains(problems.Error(), c.reason) {
			t.Errorf("%s: got %q, want %q", cut(c.file, 40), cut(problems.Error(), 300), c.reason)
		}
	}
	for _, file := range []string{"{}", "\xef\xbb\xbf{}", `{"crews": null, "jobs": []}`} {
		if _, problems := DecodeImport(strings.NewReader(file), testFirm()); len(problems) > 0 {
			t.Errorf("%q: %v", file, problems)
		}
	}
}

// blanks is an endless file.
type blanks struct{ read int64 }

func (b *blanks) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	b.read += int64(len(p))
	return len(p), nil
}

func TestFiftyMegabytesAreRefused(t *testing.T) {
	src := &blanks{}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, problems := DecodeImport(io.LimitReader(src, 50<<20), testFirm())
	runtime.ReadMemStats(&after)
	if len(problems) != 1 || !strings.Contains(problems[0].Reason, "larger than 20 MB") {
		t.Errorf("got %v", problems)
	}
	if src.read > 21<<20 {
		t.Errorf("%d bytes were read of a file that is refused at 20 MB", src.read)
	}
	if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 150 {
		t.Errorf("refusing a large file took %d MB", mb)
	}
}

func TestManyValuesAreNotKept(t *testing.T) {
	dec := json.NewDecoder(strings.NewReader(`[{"a": [` + strings.Repeat("0,", 1000) + `0], "b": [[[1]]]}, 2] "next"`))
	dec.UseNumber()
	budget := 10
	v, err := readValue(dec, &budget)
	if err != nil || budget >= 0 {
		t.Fatalf("budget %d, %v; want it spent", budget, err)
	}
	if n := countValues(v); n > 10 {
		t.Errorf("%d values were kept, of 10 allowed", n)
	}
	if tok, err := dec.Token(); err != nil || tok != "next" {
		t.Errorf("what follows reads %v, %v", tok, err)
	}
}

func countValues(v value) int {
	n := 1
	for _, item := range v.items {
		n += countValues(item)
	}
	return n
}

func TestARowListsAtMostFortyProblems(t *testing.T) {
	file := edited(t, func(j map[string]any) {
		for i := range 100 {
			j[fmt.Sprintf("extra%03d", i)] = i
		}
	})
	_, problems := DecodeImport(strings.NewReader(file), testFirm())
	if len(problems) != maxRowProblems+1 || !strings.Contains(problems[maxRowProblems].Reason, "more than 40 problems") {
		t.Errorf("%d problems, last %q", len(problems), problems[len(problems)-1])
	}
}

func TestReadErrorIsReported(t *testing.T) {
	_, problems := DecodeImport(io.MultiReader(strings.NewReader("{"), broken{}), testFirm())
	if len(problems) != 1 || !strings.Contains(problems[0].Reason, "disk on fire") {
		t.Errorf("got %v", problems)
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("disk on fire") }

func TestControlCharactersBecomeSpaces(t *testing.T) {
	file := edited(t, func(j map[string]any) {
		set("customer.name", "Line\r\nX-Evil: 1\u2028\u202eend\x00\n")(j)
	})
	got, problems := DecodeImport(strings.NewReader(file), testFirm())
	if len(problems) > 0 || got.Jobs[0].Customer.Name != "Line  X-Evil: 1  end" {
		t.Errorf("got %q, %v", got.Jobs[0].Customer.Name, problems)
	}
}

func TestCheckEmail(t *testing.T) {
	for _, s := range []string{"a@b.co", "first.last+roof@mail.example.org", "o'hara@x-y.example", "1@2.example"} {
		if err := CheckEmail(s); err != nil {
			t.Errorf("%q: %v", s, err)
		}
	}
	for _, s := range []string{
		"", "a", "@b.co", "a@", "a@b", "a@@b.co", "a b@c.co", ".a@b.co", "a.@b.co", "a..b@c.co", "a@-b.co", "a@b-.co",
		"a@b..co", "a@b.co.", "a@[127.0.0.1]", "a@1.2.3.4", `"a"@b.co`, "A <a@b.co>", "a@b.co,c@d.co", "a@b.co\r\nBcc: x@y.zz",
		"ä@b.co", "a@bä.co", strings.Repeat("x", 65) + "@b.co", "a@" + strings.Repeat("x.", 130) + "co",
	} {
		if CheckEmail(s) == nil {
			t.Errorf("%q passes as an address", s)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"lat", "lon", "elevation_m", "zone", "address"}
	for word, want := range map[string]string{"elevation": "elevation_m", "adress": "address", "Zone": "zone", "zoen": "zone", "colour": "", "x": "", "lta": "lat"} {
		if got := Nearest(word, known); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
}

func FuzzDecodeImport(f *testing.F) {
	for _, s := range []string{
		goodFile, "{}", "", `{"jobs":[{}]}`, `{"jobs":[{"id":"a"},{"id":"a"}]}`, `{"crews":[{"size":1e9,"depot":{"lat":1e400}}]}`,
		`{"jobs":[{"roof":{"edges":[{"length_m":-1}]},"blackout":["2027-04-31"],"value":1e3}]}`, `{"crews":{"a":1},"x":[[[[]]]]}`,
		"{\"jobs\":[\"\xff\"]}", `{"jobs":[{"title":"\u0000\ud800"}]}`,
	} {
		f.Add([]byte(s))
	}
	firm := testFirm()
	f.Fuzz(func(t *testing.T, data []byte) {
		got, problems := DecodeImport(bytes.NewReader(data), firm)
		for _, p := range problems {
			if p.Row == "" || p.Reason == "" || strings.ContainsAny(p.String(), "\r\n") {
				t.Fatalf("problem is not one plain line: %q", p.String())
			}
		}
		if len(problems) > 0 {
			return
		}
		for _, j := range got.Jobs {
			checkSoundJob(t, j)
		}
		for _, c := range got.Crews {
			if c.ID == "" || c.Size < 1 || CheckEmail(c.Email) != nil {
				t.Fatalf("unsound crew passed: %+v", c)
			}
		}
	})
}

// checkSoundJob asserts what the rest of the program takes for granted.
func checkSoundJob(t *testing.T, j Job) {
	t.Helper()
	s, r := j.Site, j.Roof
	sound := j.ID != "" && j.Title != "" && CheckEmail(j.Customer.Email) == nil && s.Lat >= -90 && s.Lat <= 90 &&
		s.Lon >= -180 && s.Lon <= 180 && r.AreaM2 > 0 && r.CheckWork() == nil && r.checkShape() == nil && r.Outlets >= 0 && j.Value >= 0 &&
		!j.Earliest.After(j.Promised) && !j.Promised.After(j.Deadline) && !strings.ContainsAny(j.Title+j.Customer.Name, "\r\n\x00")
	if _, err := time.LoadLocation(s.Zone); err != nil || !sound {
		t.Fatalf("unsound job passed: %+v", j)
	}
}
