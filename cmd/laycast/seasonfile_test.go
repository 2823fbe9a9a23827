package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A firm with more booked than its season holds hears it with the plan and in
// the week mail.
func TestBookFullerThanTheSeason(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "season: season.json\ncosts: {currency: EUR, week_late: 350}\n")
	free := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	o.write("season.json", free.must("season", "--weather", inventedRecord(t), "--picture", filepath.Join(o.dir, "year.svg"), "--json"))
	if !strings.HasPrefix(o.read(filepath.Join(o.dir, "year.svg")), "<svg ") {
		t.Error("no picture was drawn")
	}
	type planned struct {
		Season *seasonOut
		Left   []struct{ Reason string }
	}
	o.takeIn(bookOf(3, "2027-05-03"))
	if got := decode[planned](t, o.must("plan", "--now", "2027-05-03T05:00:00Z", "--json")); got.Season != nil {
		t.Errorf("three small roofs by December are too many: %+v", got.Season)
	}
	book := bookOf(30, "2027-05-03")
	for _, j := range book["jobs"].([]any) {
		j.(map[string]any)["deadline"] = "2027-05-21"
	}
	o.takeIn(book)
	got := decode[planned](t, o.must("plan", "--now", "2027-05-03T05:00:00Z", "--json"))
	if got.Season == nil || got.Season.By.String() != "2027-05-21" || got.Season.Jobs != 30 || got.Season.Need <= got.Season.Have || got.Season.Have <= 0 {
		t.Fatalf("thirty roofs in three weeks: %+v", got.Season)
	}
	if len(got.Left) == 0 || !strings.Contains(got.Left[0].Reason, "each week after Monday 17 May costs about 560\u00a0EUR") || !strings.Contains(got.Left[0].Reason, "laying days until Friday 21 May") {
		t.Errorf("what waiting costs is not told: %+v", got.Left)
	}
	if text := o.must("plan", "--now", "2027-05-03T05:00:00Z"); !strings.Contains(text, "The book is fuller than the season: the 30 jobs due by Friday 21 May") {
		t.Errorf("the plan does not say it:\n%s", text)
	}
	o.rehearse("2027-05-03T04:00:00Z", "2027-05-03T06:00:00Z")
	found := false
	for _, name := range o.mails() {
		flat := strings.Join(strings.Fields(strings.ReplaceAll(o.read(filepath.Join(o.mail, name)), "=\r\n", "")), " ")
		found = found || strings.Contains(flat, "fuller than the season")
	}
	if !found {
		t.Errorf("none of %d mails says it", len(o.mails()))
	}
	for bad, want := range map[string]string{"{": "make it with", `{"months":[]}`: "no months", `{"months":[{"month":1}]}`: "does not add up"} {
		o.write("season.json", bad)
		o.fails(exitFail, []string{want}, "plan", "--now", "2027-05-03T05:00:00Z")
	}
	if err := os.Remove(filepath.Join(o.dir, "season.json")); err != nil {
		t.Fatal(err)
	}
	o.fails(exitFail, []string{"read the season"}, "plan", "--now", "2027-05-03T05:00:00Z")
}
