package scheduler

import (
	"context"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/task"
)

// watched is a store with an outbox.
type watched struct{ *memory }

func (m watched) Messages(context.Context, string) ([]notify.Message, error) {
	return slices.Collect(maps.Values(m.mails)), nil
}

// roofDay is a roof called go for 14 April, from 8:00 in Halifax (11:00 UTC), to
// be sealed by 14:00 (17:00 UTC), or by 15:00 at the late end.
type roofDay struct {
	t     *testing.T
	store watched
	call  call.Call
	diary job.Diary
	limit string // the text of limits that the firm made on its pages; "": the built-in ones
}

func newRoofDay(t *testing.T) *roofDay {
	return &roofDay{t: t, store: watched{newMemory()}, call: call.Call{
		Firm: "saltbox", Job: "J1", Visit: 1, Crew: "heron", Date: aprilDay(14), Occasion: call.Evening, Outcome: call.Go, Known: true, Chance: .9,
		Start: utc(11, 0), SealedBy: utc(17, 0), SealedByLate: utc(18, 0), Stages: []rules.Span{{Stage: rules.Strip, From: utc(11, 30), To: utc(13, 30)}},
	}}
}

func utc(h, m int) time.Time { return time.Date(2027, 4, 14, h, m, 0, 0, time.UTC) }

func (r *roofDay) says(what job.What, at time.Time) {
	r.diary.Reports = append(r.diary.Reports, job.Report{Entry: job.Entry{Job: "J1", N: 1, Date: aprilDay(14), Crew: "heron", At: at}, What: what})
}

// look runs the watch at a time, by a forecast seen at another, with rain in the
// share of members that a function gives for an hour, and gives the new mails.
func (r *roofDay) look(now, seen time.Time, share func(time.Time) float64) (crew, owner []string, next time.Time) {
	r.t.Helper()
	w := aWork(r.t, now)
	w.book.Crews[0].Email, w.book.Firm.Email, w.book.Firm.Name = "heron@saltbox.example", "office@saltbox.example", "Saltbox"
	w.book.Calls, w.book.Diary, w.book.Jobs[0].State = []call.Call{r.call}, r.diary, job.Booked
	if r.limit != "" {
		w.book.Firm.Profiles, w.book.Jobs[0].Profile = map[string]string{"mine": r.limit}, "mine"
	}
	w.s.Sources = []NamedSource{{Name: "by hand", Source: &fake{batch: 10, members: 20}}}
	w.s.Store, w.s.From, w.s.Log = r.store, "Saltbox <office@saltbox.example>", zerolog.Nop()
	det := weather(forecast.Deterministic, now.Truncate(time.Hour).Add(-48*time.Hour), 120, 1, dry)
	ens := weather(forecast.Ensemble, now.Truncate(time.Hour), 72, 20, dry)
	for i := range ens.Hours.Cols[forecast.Rain] {
		m, at := i/72, ens.Hours.Start.Add(time.Duration(i%72)*time.Hour)
		if float64(m)+.5 < 20*share(at) {
			ens.Hours.Cols[forecast.Rain][i] = 2
		}
	}
	cell := CellOf(w.book.Jobs[0].Site)
	for _, x := range []*forecast.Run{det, ens} {
		x.Cell, x.LastSeen, x.Changed = cell, seen, seen
		r.store.runs[cellKey{endKey{"by hand", x.Endpoint}, cell}] = *x
	}
	work, err := w.s.open(w.book, task.Task{Firm: "saltbox", Name: task.Watch, Due: now, Slot: now}, now)
	if err != nil {
		r.t.Fatal(err)
	}
	if err := work.watch(r.t.Context()); err != nil {
		r.t.Fatal(err)
	}
	for _, m := range work.out.Messages {
		if _, old := r.store.mails[m.ID]; old {
			continue
		}
		r.store.mails[m.ID] = m
		if m.Audience == notify.ToCrew {
			crew = append(crew, m.Subject)
		} else {
			owner = append(owner, m.Subject)
		}
	}
	return crew, owner, work.out.Next.Due
}

func never(time.Time) float64 { return 0 }

// from gives rain in a share of members in the hours [a, b) UTC.
func from(a, b int, share float64) func(time.Time) float64 {
	return func(at time.Time) float64 {
		if h := at.Hour(); h >= a && h < b {
			return share
		}
		return 0
	}
}

// A shower that a newer forecast brings before the roof is sealed is told to crew
// and owner at once, and once; one that comes sooner than was said, again.
func TestCoverUpIsToldOnce(t *testing.T) {
	r := newRoofDay(t)
	r.says(job.Begun, utc(11, 5))
	if crew, owner, next := r.look(utc(12, 0), utc(11, 50), never); len(crew)+len(owner) > 0 || !next.Equal(utc(12, 30)) {
		t.Errorf("a dry day: %q %q, next %s", crew, owner, next)
	}
	crew, owner, _ := r.look(utc(13, 0), utc(12, 55), from(16, 18, .6))
	if len(crew) != 1 || len(owner) != 1 || !strings.HasPrefix(crew[0], "COVER UP: rain between 13:00 and") || !strings.Contains(owner[0], "rain may come before") {
		t.Fatalf("a shower at 13:00 in Halifax: %q, %q", crew, owner)
	}
	for _, h := range []int{30, 45} {
		if crew, owner, _ := r.look(utc(13, h), utc(13, h-5), from(16, 18, .7)); len(crew)+len(owner) > 0 {
			t.Errorf("the same shower again: %q %q", crew, owner)
		}
	}
	if crew, _, _ := r.look(utc(14, 0), utc(13, 55), from(15, 18, .7)); len(crew) != 1 || !strings.Contains(crew[0], "rain between 12:00 and") {
		t.Errorf("it comes an hour sooner: %q", crew)
	}
	r.says(job.Sealed, utc(14, 20))
	if crew, _, _ := r.look(utc(14, 30), utc(14, 25), from(15, 18, 1)); len(crew) > 0 {
		t.Errorf("it is sealed: %q", crew)
	}
}

// When is a roof watched? By what the crew says, else by the plan; rain after the
// roof is sealed is nobody's worry.
func TestWhatIsWatched(t *testing.T) {
	all := from(0, 24, 1)
	for name, c := range map[string]struct {
		said []job.What
		now  time.Time
		rain func(time.Time) float64
		want int
	}{
		"before the start":               {nil, utc(10, 30), all, 0},
		"silent, by the plan at work":    {nil, utc(12, 0), all, 1},
		"silent, long after":             {nil, utc(19, 30), all, 0},
		"begun, long after: still open":  {[]job.What{job.Begun}, utc(19, 30), all, 1},
		"stopped":                        {[]job.What{job.Begun, job.Halted}, utc(12, 0), all, 0},
		"sealed":                         {[]job.What{job.Begun, job.Sealed}, utc(12, 0), all, 0},
		"rain once it is sealed":         {[]job.What{job.Begun}, utc(12, 0), from(21, 23, 1), 0},
		"few members":                    {[]job.What{job.Begun}, utc(12, 0), from(15, 17, .1), 0},
		"sealed was a slip, at it again": {[]job.What{job.Begun, job.Sealed, job.Begun}, utc(12, 0), all, 1},
	} {
		r := newRoofDay(t)
		for i, x := range c.said {
			r.says(x, utc(11, 5+i))
		}
		if crew, _, _ := r.look(c.now, c.now, c.rain); len(crew) != c.want {
			t.Errorf("%s: %q, want %d", name, crew, c.want)
		}
	}
	r := newRoofDay(t)
	r.call.Outcome = call.NoGo
	if crew, _, next := r.look(utc(12, 0), utc(12, 0), all); len(crew) > 0 || !next.After(utc(20, 0).Add(6*time.Hour)) {
		t.Errorf("without a go nobody is watched until the next day: %q, %s", crew, next)
	}
}

// Where the forecast is too old nobody is told that it stays dry: the crew hears
// once that nobody watches.
func TestTheWatchSaysWhenItCannotSee(t *testing.T) {
	r := newRoofDay(t)
	r.says(job.Begun, utc(11, 5))
	crew, owner, _ := r.look(utc(15, 0), utc(11, 30), never)
	if len(crew) != 1 || !strings.HasPrefix(crew[0], "NO WATCH") || len(owner) != 0 {
		t.Fatalf("%q, %q", crew, owner)
	}
	if crew, _, _ := r.look(utc(15, 30), utc(11, 30), never); len(crew) > 0 {
		t.Errorf("again: %q", crew)
	}
	if crew, _, _ := r.look(utc(16, 0), utc(15, 50), from(17, 18, .9)); len(crew) != 1 || !strings.HasPrefix(crew[0], "COVER UP") {
		t.Errorf("it sees again, and rain: %q", crew)
	}
}

// A roof under limits that the firm made on its pages is watched like any other,
// and by what they say of rain.
func TestRoofsUnderOwnLimitsAreWatched(t *testing.T) {
	r := newRoofDay(t)
	r.says(job.Begun, utc(11, 5))
	mine := strings.Replace(string(rules.PolyesterYAML()), "name: polyester", "name: mine", 1)
	r.limit = mine
	if crew, _, _ := r.look(utc(12, 0), utc(11, 50), from(13, 16, .9)); len(crew) != 1 {
		t.Errorf("rain within two hours: %q", crew)
	}
	all := newRoofDay(t)
	all.says(job.Begun, utc(11, 5))
	all.limit = strings.ReplaceAll(mine, "limit: rain, below: 0.1", "limit: rain, at_most: 50")
	if all.limit == mine {
		t.Fatal("the built-in limits no longer say what this test changes")
	}
	if crew, _, _ := all.look(utc(12, 0), utc(11, 50), from(13, 16, .9)); len(crew) != 0 {
		t.Errorf("limits that take 50 mm in the hour: %q", crew)
	}
}
