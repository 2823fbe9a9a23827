package job

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"reflect"
	"runtime"
	"strings"
	"testing"
)

// goodSheet is goodFile as CSV: every column once.
const goodSheet = `row,id,title,customer.name,customer.email,site.address,site.lat,site.lon,site.elevation_m,site.zone,phone,` +
	`notes.access,notes.parking,notes.power_water,notes.neighbours,notes.room_below,needs,hold_reason,` +
	`roof.area_m2,roof.shape,roof.work,roof.deck,roof.shade,roof.exposure,roof.edges,roof.outlets,skill,value,abort_cost,late_cost_per_day,` +
	`earliest,promised,deadline,blackout,profile,invite,name,size,skills,email,absences,depot.lat,depot.lon
crew,heron,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,Heron,2,torch,heron@crews.test,2027-04-09,44.65,-63.6
job,J-001,Aster roof,Aster Household,Aster@Customers.test,1 Heath Lane,44.6,-63.5,20,Europe/London,555 0100,` +
	`by the gate,kerb,yes,none,kitchen,skip|5|true,deposit,20.5,5x4.7-2x1.5,replace,new-board,0.2,0.8,drip:6;wall:5,1,torch,1800.5,500,40,` +
	`2027-04-12,2027-04-22,2027-06-11,2027-04-15,polyester,TRUE,,,,,,,
,J-002,Birch roof,Birch,b@customers.test,,0,0,,,,,,,,,,,8,,overboard,felt,,,,,,0,,,2027-04-12,,2027-04-20,,,,,,,,,,
`

func TestCSVReadsWhatJSONReads(t *testing.T) {
	want, problems := DecodeImport(strings.NewReader(goodFile), testFirm())
	if err := problems.Err(); err != nil {
		t.Fatal(err)
	}
	for name, sheet := range map[string]string{
		"plain":     goodSheet,
		"with BOM":  "\xef\xbb\xbf" + goodSheet,
		"CRLF":      strings.ReplaceAll(goodSheet, "\n", "\r\n"),
		"blank row": strings.ReplaceAll(goodSheet, "\n,J-002", "\n,,,\n\n,J-002"),
		"semicolon": strings.ReplaceAll(strings.ReplaceAll(goodSheet, "drip:6;wall:5", `"drip:6|wall:5"`), ",", ";"),
	} {
		t.Run(name, func(t *testing.T) {
			sheet = strings.ReplaceAll(sheet, `"drip:6|wall:5"`, `"drip:6; wall: 5"`)
			got, problems := DecodeImportCSV(strings.NewReader(sheet), testFirm())
			if err := problems.Err(); err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, want) {
				t.Errorf("got  %+v\nwant %+v", got, want)
			}
		})
	}
}

// sheetOf writes a CSV of one job with the cells given, all else being good.
func sheetOf(t *testing.T, cells ...string) string {
	t.Helper()
	head := []string{"id", "title", "customer.name", "customer.email", "site.lat", "site.lon", "roof.area_m2", "roof.work", "roof.deck", "value", "earliest", "deadline"}
	row := []string{"J-1", "Roof", "Aster", "a@customers.test", "44.6", "-63.5", "20", "replace", "new-board", "1800", "2027-04-12", "2027-06-11"}
	for i := 0; i < len(cells); i += 2 {
		at := -1
		for k, name := range head {
			if name == cells[i] {
				at = k
			}
		}
		if at < 0 {
			head, row = append(head, cells[i]), append(row, cells[i+1])
			continue
		}
		row[at] = cells[i+1]
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	if err := w.WriteAll([][]string{head, row}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestCSVNamesEachBadCell(t *testing.T) {
	for _, c := range []struct {
		column, cell string
		want         string // "field: reason" in part
	}{
		{"site.lat", "95", "site.lat: 95 is not a latitude"},
		{"site.lat", "", "site.lat: missing; give a number"},
		{"customer.email", "", "customer.email: missing; give text"},
		{"roof.area_m2", "20,5", `roof.area_m2: must be a number, not "20,5"; write 1250.50`},
		{"roof.area_m2", "0x10", `roof.area_m2: must be a number, not "0x10"`},
		{"roof.area_m2", "20 m²", `must be a number, not "20 m²"`},
		{"roof.area_m2", "NaN", "must be a number"},
		{"roof.area_m2", "-", "must be a number"},
		{"value", "1,800.00", `value: must be a number, not "1,800.00"`},
		{"value", "=1+1", `value: must be a number, not "=1+1"`},
		{"roof.work", "replac", `roof.work: "replac" is not known; did you mean "replace"?`},
		{"deadline", "11/06/2027", `deadline: "11/06/2027" is not a date`},
		{"deadline", "2027-04-01", "deadline: 2027-04-01 lies before the earliest"},
		{"blackout", "2027-04-15 2027-04-31", `blackout[2]: "2027-04-31" is not a date`},
		{"roof.shape", "5x", "roof.shape.length_m: missing"},
		{"roof.shape", "5x4 m", `roof.shape.length_m: must be a number, not "4 m"`},
		{"roof.shape", "5x5", "this shape has 25 m², but area_m2 says 20"},
		{"roof.edges", "drip:6;kerb:2", `roof.edges[2].kind: "kerb" is not known`},
		{"roof.edges", "drip", "roof.edges[1].length_m: missing"},
		{"roof.edges", "drip:6:2", `roof.edges[1].length_m: must be a number, not "6:2"`},
		{"needs", "skip|soon", `needs[1].lead_days: must be a number, not "soon"`},
		{"needs", "|5", "needs[1].what: missing"},
		{"needs", "skip|5|perhaps", `needs[1].ordered: must be true or false, not "perhaps"`},
		{"invite", "2", `invite: must be true or false, not "2"`},
		{"size", "2", "size: unknown key"}, // of a crew, on a job
		{"row", "crow", `row: "crow" is not known; write job or crew`},
		{"title", strings.Repeat("x", 501), "title: 501 characters long"},
		{"roof.edges", strings.Repeat("drip:1;", 6000), "more than 5000 values"},
		{"roof.edges", strings.Repeat("drip:1;", 100_000), "more than 5000 values"},
	} {
		_, problems := DecodeImportCSV(strings.NewReader(sheetOf(t, c.column, c.cell)), testFirm())
		if len(problems) != 1 || !strings.Contains(problems[0].String(), c.want) || problems[0].Row != `row 2 "J-1"` {
			t.Errorf("%s = %.40q: %v, want row 2 \"J-1\" with %q", c.column, c.cell, problems, c.want)
		}
	}
}

func TestCSVOfOtherFormIsRefused(t *testing.T) {
	good := sheetOf(t)
	for name, c := range map[string]struct{ sheet, want string }{
		"empty":          {"", "file: the file is empty"},
		"blank":          {"\r\n ,,\n", "file: the file is empty"},
		"UTF-16":         {"\xff\xfei\x00d\x00", "file: this is UTF-16 text"},
		"UTF-16 no mark": {"i\x00d\x00", "NUL"},
		"latin-1":        {sheetOf(t, "title", "Caf\xe9"), "file: line 2, column 8: this is not UTF-8 text"},
		"spreadsheet":    {"PK\x03\x04\x14\x00", "a spreadsheet"},
		"JSON":           {goodFile, "this is JSON"},
		"no header":      {strings.SplitN(good, "\n", 2)[1], "first row names no column"},
		"too wide":       {strings.Repeat(",", 2000), "the file is empty"},
		"too wide, said": {"id" + strings.Repeat(",x", 2000), "2001 columns"},
		"open quote":     {good + `J-2,"Roof`, "a quote is not closed"},
		"stray quote":    {good + `J-2,Ro"of`, "a quote stands in a cell"},
		"unknown column": {sheetOf(t, "roof.area", "3"), `row 1: roof.area: unknown column; did you mean "roof.area_m2"?`},
		"undotted":       {sheetOf(t, "lat", "3"), `row 1: lat: unknown column; did you mean "site.lat"?`},
		"column twice":   {"id,id\nJ-1,J-1", "row 1: id: stands twice"},
		"cell too many":  {strings.TrimSpace(good) + ",stray", `row 2 "J-1": cell 13 "stray" has no column`},
		"id twice":       {good + strings.SplitN(good, "\n", 2)[1], `row 3 "J-1": id: "J-1" is already the id of row 2`},
		"nameless":       {"id,\nJ-1,x", "row 2"},
	} {
		t.Run(name, func(t *testing.T) {
			_, problems := DecodeImportCSV(strings.NewReader(c.sheet), testFirm())
			if !strings.Contains(problems.Error(), c.want) {
				t.Errorf("got %v, want %q", problems, c.want)
			}
		})
	}
	if _, problems := DecodeImportCSV(broken{}, testFirm()); !strings.Contains(problems.Error(), "disk on fire") {
		t.Errorf("got %v", problems)
	}
}

func TestCSVRowsBearTheNumbersOfASpreadsheet(t *testing.T) {
	// row 2 holds two line ends within a cell, row 3 is blank, row 4 is bad
	sheet := sheetOf(t, "title", "Roof\nof the\nAsters") + "\n" + strings.SplitN(sheetOf(t, "id", "J-2", "title", "Barn", "site.lon", "500"), "\n", 2)[1]
	got, problems := DecodeImportCSV(strings.NewReader(sheet), testFirm())
	if len(problems) != 1 || problems[0].Row != `row 4 "J-2"` || problems[0].Field != "site.lon" {
		t.Errorf("got %v", problems)
	}
	if got.Jobs[0].Title != "Roof of the Asters" {
		t.Errorf("title %q", got.Jobs[0].Title)
	}
}

func TestCSVTakesFormulasAsText(t *testing.T) {
	for _, cell := range []string{"=HYPERLINK(\"http://x.example\")", "+1", "-1", "@x", "\t=1"} {
		got, problems := DecodeImportCSV(strings.NewReader(sheetOf(t, "title", cell)), testFirm())
		if len(problems) > 0 || got.Jobs[0].Title != strings.TrimSpace(cell) {
			t.Errorf("%q: %+v %v", cell, got.Jobs, problems)
		}
	}
}

func TestCSVSkillsAreDividedBySpacesOrSemicolons(t *testing.T) {
	for cell, want := range map[string][]string{
		"torch lead": {"torch", "lead"}, "torch; lead work": {"torch", "lead work"}, "lead work;": {"lead work"}, "": nil,
	} {
		sheet := "row,id,name,size,email,skills\ncrew,heron,Heron,2,heron@crews.test," + cell
		got, problems := DecodeImportCSV(strings.NewReader(sheet), testFirm())
		if len(problems) > 0 || !reflect.DeepEqual(got.Crews[0].Skills, want) {
			t.Errorf("%q: %+v %v", cell, got.Crews, problems)
		}
	}
}

func TestALargeCSVIsRefusedEarly(t *testing.T) {
	src := &blanks{}
	_, problems := DecodeImportCSV(io.LimitReader(src, 50<<20), testFirm())
	if len(problems) != 1 || !strings.Contains(problems[0].Reason, "larger than 20 MB") || src.read > 21<<20 {
		t.Errorf("%d bytes were read, %v", src.read, problems)
	}
	rows := "id\n" + strings.Repeat("x\n", maxImportRows+1)
	_, problems = DecodeImportCSV(strings.NewReader(rows), testFirm())
	if last := problems[len(problems)-1]; !strings.Contains(last.Reason, "more than 20000 rows") {
		t.Errorf("got %v", last)
	}
}

func TestAWideCSVDoesNotFillTheMemory(t *testing.T) {
	file := []byte("id\n" + strings.Repeat(",", 19<<20))
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	_, problems := DecodeImportCSV(bytes.NewReader(file), testFirm())
	runtime.ReadMemStats(&after)
	if len(problems) != 1 || !strings.Contains(problems[0].Reason, "line 2 is longer than") {
		t.Fatalf("got %v", problems)
	}
	if mb := int64(after.TotalAlloc-before.TotalAlloc) >> 20; mb > 100 {
		t.Errorf("refusing a row of commas took %d MB", mb)
	}
}

func TestDecodeJob(t *testing.T) {
	one := goodFile[strings.Index(goodFile, `{"id":"J-002"`) : len(goodFile)-2]
	all, problems := DecodeImport(strings.NewReader(goodFile), testFirm())
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	got, problems := DecodeJob(strings.NewReader(one), testFirm())
	if len(problems) > 0 || !reflect.DeepEqual(got, all.Jobs[1]) {
		t.Errorf("got %+v, %v\nwant %+v", got, problems, all.Jobs[1])
	}
	for text, want := range map[string]string{
		goodFile:                     "take it in with laycast import",
		"":                           "the file is empty; it must be one job",
		"[]":                         `job 1: must be an object`,
		one + one:                    "line 2", // a second value after the first
		`{"id":"J-002"`:              "this is not JSON",
		`{"id":"J-1","titel":"Roof"`: "this is not JSON",
		strings.Replace(one, `"title"`, `"titel"`, 1):                `job 1 "J-002": titel: unknown key; did you mean "title"?`,
		strings.Replace(one, `"id":"J-002"`, `"id":"a","id":"b"`, 1): "id: stands twice",
		"\xff": "not UTF-8",
	} {
		if _, problems := DecodeJob(strings.NewReader(text), testFirm()); !strings.Contains(problems.Error(), want) {
			t.Errorf("%.40q: got %v, want %q", text, problems, want)
		}
	}
	if _, problems := DecodeJob(errorReader{}, testFirm()); !strings.Contains(problems.Error(), "no such disk") {
		t.Errorf("got %v", problems)
	}
}

type errorReader struct{}

func (errorReader) Read([]byte) (int, error) { return 0, errors.New("no such disk") }

func FuzzDecodeImportCSV(f *testing.F) {
	for _, s := range []string{
		goodSheet, "", "id\n", "id,title\nJ-1", "row,id\ncrew,x\njob,x\nz,x", "\xef\xbb\xbfid;roof.edges\na;\"drip:1;wall:\"",
		"id,value,invite,needs\na,1e400,yes,a|1|no;|;b|x|y", "id,,x\n1,2,3,4,5", "id\n\"a\nb\"\n\"", "size,skills\n1e9,a;b c", "\xff\xfe", "id\x00",
		"id,id,roof.aera\n,", "row\r\ncrew\r\n\r\n,,\r\n",
	} {
		f.Add([]byte(s))
	}
	firm := testFirm()
	f.Fuzz(func(t *testing.T, data []byte) {
		got, problems := DecodeImportCSV(bytes.NewReader(data), firm)
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
