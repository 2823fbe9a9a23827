package job

import (
	"testing"
	"time"
)

// What a crew says of its day: the later word counts, whatever it takes back.
func TestWordOfADay(t *testing.T) {
	d, at := Date{2027, time.April, 14}, time.Date(2027, time.April, 14, 8, 0, 0, 0, time.UTC)
	say := func(xs ...Report) Word {
		var diary Diary
		for i, x := range xs {
			x.Entry = Entry{Job: "J1", N: 1, Date: d, At: at.Add(time.Duration(i) * time.Hour)}
			diary.Reports = append(diary.Reports, x)
		}
		diary.Reports = append(diary.Reports, Report{Entry: Entry{Job: "J2", Date: d}, What: Topcoated},
			Report{Entry: Entry{Job: "J1", Date: d.AddDays(1)}, What: Halted, Cause: ByRain})
		return diary.Word("J1", d)
	}
	rain := Report{What: Halted, Cause: ByRain, Because: "a shower"}
	for _, c := range []struct {
		name                          string
		said                          []Report
		seen, open, sealed, coat, end bool
	}{
		{name: "nothing"},
		{name: "seen", said: []Report{{What: Seen}}, seen: true},
		{name: "begun", said: []Report{{What: Begun}}, open: true},
		{name: "sealed", said: []Report{{What: Begun}, {What: Sealed}}, sealed: true},
		{name: "topcoated alone", said: []Report{{What: Topcoated}}, sealed: true, coat: true},
		{name: "rain", said: []Report{{What: Begun}, rain}, end: true},
		{name: "on again after the shower", said: []Report{{What: Begun}, rain, {What: Begun}}, open: true},
		{name: "and sealed", said: []Report{{What: Begun}, rain, {What: Begun}, {What: Sealed}}, sealed: true},
		{name: "stopped before the topcoat", said: []Report{{What: Sealed}, {What: Halted, Cause: ByDamp, Tight: true}}, sealed: true, end: true},
		{name: "not sealed after all", said: []Report{{What: Sealed}, rain}, end: true},
		{name: "sealed was a slip", said: []Report{{What: Begun}, {What: Sealed}, {What: Begun}}, open: true},
	} {
		w := say(c.said...)
		if w.Seen != c.seen || w.Open() != c.open || w.Sealed != c.sealed || w.Coated != c.coat || w.Halted != c.end {
			t.Errorf("%s: %+v", c.name, w)
		}
	}
	if w := say(Report{What: Begun}, rain, Report{What: Begun}, Report{What: Sealed}); !w.BegunAt.Equal(at) || !w.SealedAt.Equal(at.Add(3*time.Hour)) {
		t.Errorf("begun %s, sealed %s", w.BegunAt, w.SealedAt)
	}
	if w := say(Report{What: Begun}, rain); w.Cause != ByRain || w.Because != "a shower" || !w.Cause.Weather() || ByTime.Weather() || ByOthers.Weather() {
		t.Errorf("the cause is %+v", w)
	}
}

// What cannot be so is refused, each field with its own reason.
func TestChecksOfADiary(t *testing.T) {
	num := func(v float64) *float64 { return &v }
	nan := 0.0
	nan /= nan
	for name, bad := range map[string]int{
		"empty": len(Reading{}.Check()), "air": len(Reading{AirC: num(70)}.Check()), "humidity": len(Reading{RHPct: num(101)}.Check()),
		"not a number": len(Reading{SurfaceC: &nan}.Check()), "moisture": len(Reading{MoisturePct: num(-1)}.Check()),
		"no resin": len(Batch{DosePct: 2}.Check()), "no dose": len(Batch{ResinKg: 2}.Check()), "a dose of 20": len(Batch{ResinKg: 2, DosePct: 20}.Check()),
	} {
		if bad != 1 {
			t.Errorf("%s: %d reasons, want 1", name, bad)
		}
	}
	if len(Reading{SurfaceC: num(14)}.Check())+len(Batch{ResinKg: 2.5, DosePct: 2, Lot: "K"}.Check()) != 0 {
		t.Error("good ones are refused")
	}
	for _, r := range []Report{{}, {What: "laid"}, {What: Halted}, {What: Halted, Cause: ByOthers}, {What: Sealed, Because: "x"}, {What: Begun, Tight: true}} {
		if r.Check() == nil {
			t.Errorf("%+v was taken", r)
		}
	}
	if err := (Report{What: Halted, Cause: ByRain}).Check(); err != nil {
		t.Error(err)
	}
	if EntryID("ab", "c") == EntryID("a", "bc") || EntryID("ab", "c") != EntryID("a"+"b", "c") {
		t.Error("ids do not tell lines apart")
	}
}
