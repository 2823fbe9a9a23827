package plan

import (
	"reflect"
	"testing"
)

// The cases of this file are made by hand; their figures are round, not real.

// week is a horizon of n days from a Monday, with the weekends off.
func week(n int) []bool {
	w := make([]bool, n)
	for d := range w {
		w[d] = d%7 < 5
	}
	return w
}

// same gives odds that are the same on every day of n.
func same(n int, sealed, full int64) [][2]Odds {
	o := make([][2]Odds, n)
	for d := range o {
		o[d] = [2]Odds{{sealed, full, true}, {sealed, full, true}}
	}
	return o
}

// simple is a job of half half-days worth 1000, certain to hold on all of n days.
func simple(id string, half, n int) Job {
	return Job{
		ID: id, Deadline: 99, Promised: 99, Value: 100_000, Abort: 30_000, Later: 80_000,
		Ways: map[int]Way{2: {HalfDays: half, Odds: same(n, 1000, 1000)}},
	}
}

func input(n int, jobs ...Job) Input {
	return Input{
		Days: n, Working: week(n), M: 1000, Jobs: jobs,
		Crews: []Crew{{ID: "heron", Size: 2, Skills: []string{"std"}}},
		Costs: Costs{Move: []Tier{{2, 20_000}, {7, 7_000}, {999, 1_000}}, ShortNotice: 6_000, SwapSlot: 1_500, Unplace: 5_000, PerKm: 70, PairMaxHm: 180},
	}
}

func solved(t *testing.T, in Input) Plan {
	t.Helper()
	pl := Solve(in)
	if err := Check(in, pl); err != nil {
		t.Fatal(err)
	}
	return pl
}

func reason(pl Plan, job string) Reason {
	for _, l := range pl.Left {
		if l.Job == job {
			return l.Reason
		}
	}
	return ""
}

func TestValueOfAPlacing(t *testing.T) {
	j := simple("a", 2, 5)
	j.Return = 20_000
	j.Promised, j.LatePerDay = 2, 1_000
	j.Later = 0
	j.At = Place{30, 40} // 50 hm straight, 65 hm of road
	j.Earliest = 4
	w := Way{HalfDays: 2, Odds: same(5, 900, 700)}
	j.Ways = map[int]Way{2: w}
	pl := solved(t, input(5, j))
	// good 100000 - 2 days late = 98000; fail 0 - 30000 - 3 days late (to the end of day 5) = -33000.
	want := int64(700*98_000+200*(98_000-20_000)+100*-33_000)/1000 - 2*65*7
	if pl.Objective != want || !pl.Proven {
		t.Errorf("objective %d (proven %t), want %d", pl.Objective, pl.Proven, want)
	}
	if pl.Base != -3_000 || pl.Placings[0].Gain != want+3_000 {
		t.Errorf("base %d and gain %d, want %d and %d", pl.Base, pl.Placings[0].Gain, -3_000, want+3_000)
	}
}

func TestReasons(t *testing.T) {
	tests := []struct {
		name   string
		change func(*Job)
		want   Reason
	}{
		{"skill", func(j *Job) { j.Skill = "height" }, NoCrew},
		{"hands", func(j *Job) { j.Ways = map[int]Way{3: j.Ways[2]} }, NoCrew},
		{"after the horizon", func(j *Job) { j.Earliest = 8 }, NoDay},
		{"weekend only", func(j *Job) { j.Earliest, j.Deadline = 5, 6 }, NoDay},
		{"no forecast", func(j *Job) { j.Ways = map[int]Way{2: {HalfDays: 2, Odds: make([][2]Odds, 7)}} }, NoDay},
		{"too long", func(j *Job) { j.Ways = map[int]Way{2: {HalfDays: 4, Odds: same(7, 1000, 1000)}}; j.Earliest = 4 }, TooLong},
		{"open over the weekend", func(j *Job) {
			j.Ways = map[int]Way{2: {HalfDays: 4, Odds: same(8, 1000, 1000)}}
			j.Earliest, j.NoGap = 4, true
		}, TooLong},
		{"poor chance", func(j *Job) { j.Ways = map[int]Way{2: {HalfDays: 2, Odds: same(7, 600, 600)}} }, NotWorth},
		{"no room", func(j *Job) { j.Blackout = []int{1, 2, 3, 4} }, NoRoom},
		{"frozen with nobody", func(j *Job) { j.Fixed = &Fixed{"plover", 1, 0} }, Clash},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			j := simple("a", 2, 7)
			tt.change(&j)
			rival := simple("b", 2, 7)
			rival.Value, rival.Blackout = 150_000, []int{1, 2, 3, 4}
			pl := solved(t, input(7, j, rival))
			if got := reason(pl, "a"); got != tt.want {
				t.Errorf("reason %q, want %q; plan %+v", got, tt.want, pl.Placings)
			}
		})
	}
}

func TestVisitRunsOverTheWeekend(t *testing.T) {
	j := simple("a", 4, 10)
	j.Earliest = 4
	in := input(10, j)
	in.Days, in.Working = 8, week(8)
	pl := solved(t, in)
	if want := []int{4, 7}; len(pl.Placings) != 1 || !reflect.DeepEqual(pl.Placings[0].Days, want) {
		t.Errorf("got %+v, want days %v", pl.Placings, want)
	}
}

func TestHalfDaysShareACrewDay(t *testing.T) {
	a, b := simple("a", 1, 5), simple("b", 1, 5)
	a.At, b.At = Place{100, 0}, Place{100, 50}
	pl := solved(t, input(5, a, b))
	if len(pl.Placings) != 2 || pl.Placings[0].Day != pl.Placings[1].Day {
		t.Fatalf("not on one day: %+v", pl.Placings)
	}
	road := RoadHm(Place{}, a.At) + RoadHm(a.At, b.At) + RoadHm(b.At, Place{})
	if want := 200_000 - 7*road; pl.Objective != want {
		t.Errorf("objective %d, want %d", pl.Objective, want)
	}
	a.At.Y, b.At.Y = -100, 100
	if pl = solved(t, input(5, a, b)); pl.Placings[0].Day == pl.Placings[1].Day {
		t.Errorf("260 hm apart and on one day: %+v", pl.Placings)
	}
}

func TestToldDateHoldsUntilMovingPays(t *testing.T) {
	tests := []struct {
		name   string
		better int64 // odds on day 3, against 900 on the told day 1
		moves  int
		want   int
	}{
		{"a little better", 950, 0, 1},
		{"better by less than the price", 1000, 0, 1},
		{"a great deal better", 1000, 0, 3},
		{"moved once before", 1000, 1, 1},
	}
	for i, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			j := simple("a", 2, 5)
			odds := same(5, 100, 100)
			odds[1][0], odds[3][0] = Odds{900, 900, true}, Odds{tt.better, tt.better, true}
			if i >= 2 {
				odds[1][0] = Odds{500, 500, true}
			}
			j.Ways = map[int]Way{2: {HalfDays: 2, Odds: odds}}
			j.Current, j.Moves = &Told{Day: 1}, tt.moves
			// 400 of 1000 members are worth 0.5 * 50000 = 25000: more than 20000 once, less than 40000.
			if pl := solved(t, input(5, j)); len(pl.Placings) != 1 || pl.Placings[0].Day != tt.want {
				t.Errorf("got %+v, want day %d", pl.Placings, tt.want)
			}
		})
	}
}

func TestOverdueJobIsNotStarved(t *testing.T) {
	late, fresh := simple("late", 2, 5), simple("fresh", 2, 5)
	late.Promised, late.LatePerDay = -2, 2_000
	late.Blackout, fresh.Blackout = []int{1, 2, 3, 4}, []int{1, 2, 3, 4}
	if pl := solved(t, input(5, late, fresh)); reason(pl, "fresh") != NoRoom {
		t.Errorf("the overdue job was left: %+v", pl)
	}
}

func TestFrozenStandsAndSharesItsDay(t *testing.T) {
	a, b, c := simple("a", 1, 5), simple("b", 1, 5), simple("c", 2, 5)
	a.Fixed = &Fixed{Crew: "heron", Day: 0, Slot: 1}
	a.Ways = map[int]Way{2: {HalfDays: 1, Odds: same(5, 0, 0)}} // it stands though nothing speaks for it
	b.Deadline, c.Deadline = 0, 0
	pl := solved(t, input(5, a, b, c))
	if len(pl.Placings) != 2 || pl.Placings[0].Job != "b" || pl.Placings[1].Job != "a" || pl.Placings[1].Slot != 1 {
		t.Errorf("got %+v", pl.Placings)
	}
	if reason(pl, "c") != NoDay {
		t.Errorf("c: %q", reason(pl, "c"))
	}
}

func TestCheckFindsFaults(t *testing.T) {
	a, b := simple("a", 1, 5), simple("b", 4, 5)
	in := input(5, a, b)
	faults := map[string]func(*Plan){
		"objective":    func(p *Plan) { p.Objective++; p.Bound++ },
		"bound":        func(p *Plan) { p.Bound = p.Objective - 1 },
		"job missing":  func(p *Plan) { p.Placings = p.Placings[1:] },
		"job twice":    func(p *Plan) { p.Placings = append(p.Placings, p.Placings[0]) },
		"unknown crew": func(p *Plan) { p.Placings[0].Crew = "plover" },
		"weekend":      func(p *Plan) { p.Placings[0].Day, p.Placings[0].Days = 5, []int{5} },
		"gap":          func(p *Plan) { v := find(p, "b"); v.Days = []int{v.Day, v.Day + 2} },
		"collision":    func(p *Plan) { v, w := find(p, "a"), find(p, "b"); v.Day, v.Days = w.Day, []int{w.Day} },
	}
	for name, spoil := range faults {
		pl := solved(t, in)
		spoil(&pl)
		if Check(in, pl) == nil {
			t.Errorf("%s: no fault found", name)
		}
	}
}

func find(p *Plan, job string) *Placing {
	for i := range p.Placings {
		if p.Placings[i].Job == job {
			return &p.Placings[i]
		}
	}
	return &Placing{}
}
