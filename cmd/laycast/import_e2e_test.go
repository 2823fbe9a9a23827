package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"laycast/db"
	"laycast/job"
)

func TestImportTwiceAddsNothing(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	file := o.file("jobs.json", bookOf(4, "2027-05-03"))
	first := decode[db.ImportReport](t, o.must("import", "--json", file))
	if first.CrewsNew != 2 || first.JobsNew != 4 {
		t.Fatalf("first %+v", first)
	}
	before := o.must("job", "list", "--json") + o.must("job", "show", "Q-01", "--json")
	second := decode[db.ImportReport](t, o.must("import", "--json", file))
	if second.CrewsSame != 2 || second.JobsSame != 4 || second.JobsNew+second.JobsChanged+second.CrewsNew+second.CrewsChanged != 0 {
		t.Errorf("second %+v", second)
	}
	sameText(t, "the book", o.must("job", "list", "--json")+o.must("job", "show", "Q-01", "--json"), before)

	// one job changed, one new: those two and no other
	book := bookOf(5, "2027-05-03")
	book["jobs"].([]any)[0].(map[string]any)["value"] = 9999
	third := decode[db.ImportReport](t, o.must("import", "--json", o.file("more.json", book)))
	if third.JobsNew != 1 || third.JobsChanged != 1 || third.JobsSame != 3 {
		t.Errorf("third %+v", third)
	}
}

func TestBadImportIsTakenNotAtAll(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	job := func(book map[string]any, i int) map[string]any { return book["jobs"].([]any)[i].(map[string]any) }
	sub := func(book map[string]any, i int, key string) map[string]any { return job(book, i)[key].(map[string]any) }
	for _, tt := range []struct {
		name  string
		spoil func(book map[string]any)
		words []string
	}{
		{"latitude", func(b map[string]any) { sub(b, 1, "site")["lat"] = 95 }, []string{"Q-02", "site.lat", "95"}},
		{"zone", func(b map[string]any) { sub(b, 1, "site")["zone"] = "Europe/Atlantis" }, []string{"Q-02", "site.zone", "Europe/Atlantis"}},
		{"area", func(b map[string]any) { sub(b, 2, "roof")["area_m2"] = 0 }, []string{"Q-03", "roof.area_m2"}},
		{"deadline before earliest", func(b map[string]any) { job(b, 1)["deadline"] = "2027-05-01" }, []string{"Q-02", "deadline"}},
		{"one id twice", func(b map[string]any) { job(b, 2)["id"] = "Q-01" }, []string{"Q-01", "id"}},
		{"unknown key", func(b map[string]any) { sub(b, 0, "roof")["colour"] = "grey" }, []string{"Q-01", "roof.colour"}},
		{"unknown key at the top", func(b map[string]any) { b["cruws"] = []any{} }, []string{"cruws"}},
		{"money as words", func(b map[string]any) { job(b, 0)["value"] = "a lot" }, []string{"Q-01", "value"}},
		{"a crew of nobody", func(b map[string]any) { b["crews"].([]any)[0].(map[string]any)["size"] = 0 }, []string{"gull", "size"}},
		{"two things at once", func(b map[string]any) { sub(b, 0, "site")["lon"] = 500; delete(job(b, 1), "title") }, []string{"Q-01", "site.lon", "Q-02", "title"}},
	} {
		book := bookOf(3, "2027-05-03")
		tt.spoil(book)
		t.Run(tt.name, func(t *testing.T) {
			o := &office{t: t, dir: o.dir, config: o.config}
			o.fails(exitFail, tt.words, "import", o.file("bad.json", book))
			o.holdsNothing()
		})
	}
	for name, text := range map[string]string{
		"empty": "", "half": `{"crews": [{"id": "gull"`, "a list": "[]", "not UTF-8": "{\"jobs\": [\"\xff\"]}", "a page": "<html>",
	} {
		t.Run(name, func(t *testing.T) {
			o := &office{t: t, dir: o.dir, config: o.config}
			o.fails(exitFail, []string{"bad.json", "file"}, "import", o.write("bad.json", text))
			o.holdsNothing()
		})
	}
}

// holdsNothing verifies that no crew and no job is in the book.
func (o *office) holdsNothing() {
	o.t.Helper()
	h := o.house()
	defer h.close()
	b, err := h.db.Book(context.Background(), h.firm.UID, job.Date{})
	if err != nil {
		o.t.Fatal(err)
	}
	if len(b.Crews)+len(b.Jobs)+len(b.Visits) != 0 {
		o.t.Errorf("%d crews, %d jobs, %d visits are in the book", len(b.Crews), len(b.Jobs), len(b.Visits))
	}
}

func TestHugeImportIsRefused(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	// 50 MB of good rows
	b, err := json.Marshal(bookOf(1, "2027-05-03")["jobs"].([]any)[0])
	if err != nil {
		t.Fatal(err)
	}
	row := string(b) + ","
	text := `{"jobs": [` + strings.Repeat(row, 50<<20/len(row)) + string(b) + "]}"
	o.fails(exitFail, []string{"20 MB"}, "import", o.write("huge.json", text))
	o.holdsNothing()
	o.fails(exitUsage, []string{"nosuch.json"}, "import", filepath.Join(o.dir, "nosuch.json"))
}

func TestControlCharactersOfAnImportBecomeSpaces(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	book := bookOf(1, "2027-05-03")
	book["jobs"].([]any)[0].(map[string]any)["title"] = "Roof\r\nBcc: x@evil.example\x1b[31m"
	o.takeIn(book)
	if out := o.must("job", "list"); strings.ContainsAny(out, "\r\x1b") || !strings.Contains(out, "Roof") {
		t.Errorf("%q", out)
	}
}

func TestEverythingWrongWithAConfigurationIsTold(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	o := &office{t: t, dir: dir, config: filepath.Join(dir, "laycast.yaml")}
	o.write("laycast.yaml", `firm: {name: Quay Roofs, zone: Europe/Dublin}
source: {kind: open-meteo, forcast_url: "http://x.example"}
notice: soon
times: {call: "at six"}
`)
	want := []string{"firm.email", "forcast_url", "notice", "times.call"}
	for _, args := range [][]string{{"config", "--check"}, {"import", o.write("jobs.json", "{}")}, {"rehearse", "--from", "2027-05-01T00:00:00Z", "--to", "2027-05-02T00:00:00Z", "--mail-dir", dir}} {
		o.fails(exitFail, want, args...)
	}
	if _, err := os.Stat(filepath.Join(dir, "laycast.db")); !os.IsNotExist(err) {
		t.Errorf("a database was made for a bad configuration (%v)", err)
	}
	o = &office{t: t, dir: dir, config: filepath.Join(dir, "none.yaml")}
	o.fails(exitFail, []string{"none.yaml", "laycast init"}, "calls")
}

func TestMisuseEndsWith2(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-05-03"))
	for _, args := range [][]string{
		{}, {"dance"}, {"calls", "--jsn"}, {"check"}, {"check", "Q-01", "--now", "tomorrow"}, {"calls", "--now", "2027-05-01"},
		{"check", "Q-01", "--now", "2027-05-03T10:00:00Z", "--on", "2027-05-32"},
		{"check", "Q-01", "--now", "2027-05-03T10:00:00Z", "--ribbon", "hours.svg"},
		{"rehearse", "--from", "2027-05-02T00:00:00Z", "--to", "2027-05-01T00:00:00Z", "--mail-dir", o.mail},
		{"plan", "--apply", "--now", "2027-05-03T10:00:00Z"},
	} {
		o.fails(exitUsage, []string{"laycast"}, args...)
	}
	o.fails(exitFail, []string{"Q-99", "job list"}, "check", "Q-99")
	o.fails(exitFail, []string{"mail.smtp", "--mail-dir"}, "serve") // the configuration names no mail server
	for _, args := range [][]string{{"--help"}, {"rehearse", "--help"}, {"check", "--help"}} {
		if out := o.must(args...); !strings.Contains(out, "Usage: laycast") {
			t.Errorf("%v prints %q", args, out)
		}
	}
}
