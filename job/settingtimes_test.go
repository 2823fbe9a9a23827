package job

import (
	"strings"
	"testing"
	"time"
)

// TestTimesOfDayByThePages: a time as typed becomes the expression that the
// scheduler goes by, and what cannot be meant is refused by the field's own key.
func TestTimesOfDayByThePages(t *testing.T) {
	f, bad := DefaultFirm().With(Edits{"times.call": "17:30", "times.evening_fetch": "16:45", "times.tell": "8:30, 15:30 08:30", "times.week_mail": "fri 15:00",
		"work.days": "sat mon", "work.off": "2027-12-27\r\n2027-12-24; 2027-12-24", "costs.move": "3\t150\n\t\n30\t12.5", "costs.currency": "NZD", "costs.pair_km": "7.5"}, []string{"costs.currency"})
	if len(bad) > 0 {
		t.Fatal(bad)
	}
	if f.Times.Call != "30 17 * * *" || f.Times.EveningFetch != "45 16 * * *" || f.Times.Tell != "30 8,15 * * *" || f.Times.WeekMail != "0 15 * * 5" {
		t.Errorf("%+v", f.Times)
	}
	if len(f.Work.Days) != 2 || f.Work.Days[0] != time.Saturday || dateWords(f.Work.Off) != "2027-12-24 2027-12-27" || f.Costs.Currency != "EUR" || f.Costs.PairKm != 7.5 {
		t.Errorf("%+v %+v", f.Work, f.Costs)
	}
	if want := (MoveTier{Days: 30, Cost: 1250}); len(f.Costs.Move) != 2 || f.Costs.Move[1] != want {
		t.Errorf("%+v", f.Costs.Move)
	}
	for _, c := range [][3]string{
		{"times.call", "6 pm", "time of day"}, {"times.call", "11:59", "12:00 to 22:30"}, {"times.call", "23:00", "asleep"}, {"times.absence", "01:30", "clock is changed"},
		{"times.call", "17:00", "the fetch (17:15) has to come before the evening call (17:00)"}, {"times.evening_fetch", "14:30", "at most 3 hours before"},
		{"times.absence", "18:00", "has to come before"}, {"times.unseen", "17:59", "has to come before"}, {"times.close", "17:00", "the end of work (18:00)"},
		{"times.second_look", "07:30", "the beginning of work (07:30)"}, {"work.from", "05:00", "the second look (05:30)"}, {"times.morning_fetch", "06:00", "the second look"},
		{"times.tell", "", "at least one"}, {"times.tell", "09:00 16:30", "same minutes"}, {"times.week_mail", "06:00", "Monday 06:00"}, {"times.week_mail", "Someday 06:00", "weekday"},
		{"work.days", "", "at least one day"}, {"work.days", "mon, moon", "mon tue"}, {"work.off", "24.12.2027", `"24.12.2027" is not a date`}, {"costs.currency", "euro", "three capital"},
		{"costs.move", "", "at least one step"}, {"costs.move", "x\t3", `"x" is not a number of days`}, {"costs.move", "2\tmuch", `"much" for 2 days`}, {"costs.move", "2\t-1", "0 or more"},
		{"costs.move", "4\t10\n2\t20", "shortest notice first"}, {"costs.move", strings.Repeat("1\t1\n", 2), "1 days come after 1"}, {"costs.pair_km", "NaN", "0 to 1000"},
	} {
		got, bad := DefaultFirm().With(Edits{c[0]: c[1]}, nil)
		if len(bad) != 1 || bad[0].Key != c[0] || !strings.Contains(bad[0].Reason, c[2]) || got.Times != DefaultFirm().Times {
			t.Errorf("%s=%q: %v, %+v", c[0], c[1], bad, got.Times)
		}
	}
}

// TestTimesOfTheFileAreNotQuestioned: the file may have a time of a kind that the
// pages have no words for, and an order of its own; where only the other of two
// times is the pages', that one is told of.
func TestTimesOfTheFileAreNotQuestioned(t *testing.T) {
	f := DefaultFirm()
	f.Times.Call, f.Times.Absence = "0 18 * * 0-4", "0 17 * * *"
	if _, bad := f.With(Edits{"bounds.go": "75", "times.absence": "17:10"}, nil); len(bad) > 0 {
		t.Error(bad)
	}
	f.Times.Call = "0 18 * * *"
	if _, bad := f.With(Edits{"bounds.go": "75"}, nil); len(bad) > 0 {
		t.Error(bad)
	}
	if _, bad := f.With(Edits{"times.call": "18:30", "times.absence": "19:00"}, []string{"times.absence"}); len(bad) != 1 || bad[0].Key != "times.call" {
		t.Error(bad)
	}
}

func TestCronTimes(t *testing.T) {
	for expr, want := range map[string]string{"0 18 * * *": "18:00", "30 16,9 * * *": "09:30 16:30", "0 6 * * 1": "Monday 06:00", "5 6 * * 7": "Sunday 06:05",
		"0 6 1 * *": "0 6 1 * *", "*/5 6 * * *": "*/5 6 * * *", "0 6 * * 1-5": "0 6 * * 1-5", "0 24 * * *": "0 24 * * *", "60 6 * * *": "60 6 * * *", "": "", "0 -1 * * *": "0 -1 * * *"} {
		if got := cronWords(expr); got != want {
			t.Errorf("%q is %q, want %q", expr, got, want)
		}
	}
}
