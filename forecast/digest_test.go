package forecast

import (
	"testing"
	"time"
)

// line makes one member's hours of air and rain.
func line(at time.Time, air, rain []float32) Hours {
	h := NewHours(at, len(air), 1, Air, Rain)
	copy(h.Cols[Air], air)
	copy(h.Cols[Rain], rain)
	return h
}

func TestDigest(t *testing.T) {
	base := line(start, []float32{9, 10, 11}, []float32{0, 0.2, 0})
	d := Digest(base)
	if len(d) != 32 {
		t.Fatalf("digest %q has %d characters, want 32", d, len(d))
	}
	noise := line(start, []float32{9.001, 10, 10.999}, []float32{0, 0.2, 0})
	noise.Cols[Cloud] = []float32{unknown, unknown, unknown}
	if Digest(noise) != d {
		t.Error("noise below the step, or a column that knows nothing, changed the digest")
	}
	for name, h := range map[string]Hours{
		"a later start":     line(start.Add(time.Hour), []float32{9, 10, 11}, []float32{0, 0.2, 0}),
		"one value":         line(start, []float32{9, 10, 11}, []float32{0, 0.3, 0}),
		"unknown, not zero": line(start, []float32{9, 10, 11}, []float32{unknown, 0.2, 0}),
		"an hour more":      line(start, []float32{9, 10, 11, unknown}, []float32{0, 0.2, 0, unknown}),
		"columns swapped":   {Start: start, N: 3, Members: 1, Cols: [NVars][]float32{Air: base.Cols[Air], Wind: base.Cols[Rain]}},
		"three members":     {Start: start, N: 1, Members: 3, Cols: base.Cols},
	} {
		if Digest(h) == d {
			t.Errorf("%s: the digest is the same", name)
		}
	}
}

func TestSharedDiffers(t *testing.T) {
	old := line(start, []float32{9, 10, 11, 12}, []float32{0, 0.2, unknown, 0})
	later := start.Add(2 * time.Hour)
	two := NewHours(start, 4, 2, Air)
	copy(two.Cols[Air], []float32{9, 10, 11, 12, 1, 2, 3, 4})
	for _, tc := range []struct {
		name  string
		fresh Hours
		want  bool
	}{
		{"the same", old, false},
		{"a value differs", line(start, []float32{9, 10, 11, 12.1}, []float32{0, 0.2, unknown, 0}), true},
		{"less than a step", line(start, []float32{9, 10, 11, 12.001}, []float32{0, 0.2, unknown, 0}), false},
		{"now known", line(start, []float32{9, 10, 11, 12}, []float32{0, 0.2, 3, 0}), false},
		{"no longer known", line(start, []float32{9, 10, 11, 12}, []float32{unknown, unknown, unknown, unknown}), false},
		{"known zero against known rain", line(start, []float32{9, 10, 11, 12}, []float32{0, 0, unknown, 0}), true},
		{"window rolled on", line(later, []float32{11, 12, 13, 14}, []float32{0, 0, 1, 1}), false},
		{"rolled on and differs", line(later, []float32{11, 12.5, 13, 14}, []float32{0, 0, 1, 1}), true},
		{"window earlier", line(start.Add(-3*time.Hour), []float32{1, 2, 3, 9, 10}, []float32{1, 1, 1, 0, 0.2}), false},
		{"window earlier and differs", line(start.Add(-3*time.Hour), []float32{1, 2, 3, 8, 10}, []float32{1, 1, 1, 0, 0.2}), true},
		{"apart", line(start.Add(9*time.Hour), []float32{1}, []float32{1}), false},
		{"other members more", two, false},
	} {
		if got := SharedDiffers(old, tc.fresh); got != tc.want {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
		if got := SharedDiffers(tc.fresh, old); got != tc.want {
			t.Errorf("%s, the other way: %v, want %v", tc.name, got, tc.want)
		}
	}
}

func TestCarry(t *testing.T) {
	t0 := start.Add(10 * time.Minute)
	now := t0.Add(time.Hour)
	later := start.Add(time.Hour)
	first, isNew := Carry(nil, Run{Source: "s", Hours: line(start, []float32{9, 10, 11}, []float32{0, 0, 1})}, t0)
	if !isNew || !first.FirstSeen.Equal(t0) || !first.LastSeen.Equal(t0) || !first.Changed.Equal(t0) || first.Digest != Digest(first.Hours) {
		t.Fatalf("first run %+v", first)
	}
	told := first
	told.ModelRun = start.Add(-6 * time.Hour)
	gusty, mended, cloudy := first, first.Hours, first
	gusty.Hours.Cols[Gust], mended.Cols[Gust] = []float32{7, 7, 7}, []float32{6, 6, 6}
	cloudy.Hours.Cols = [NVars][]float32{Cloud: {1, 2, 3}}
	gusty.Digest, cloudy.Digest = Digest(gusty.Hours), Digest(cloudy.Hours)
	rolled := line(later, []float32{10, 11, 12}, []float32{0, 1, 2})
	for _, tc := range []struct {
		name    string
		prev    Run
		fresh   Run
		isNew   bool
		changed time.Time
	}{
		{"nothing new", first, Run{Hours: first.Hours}, false, t0},
		{"a dead model run under a new window", first, Run{Hours: rolled}, true, t0},
		{"other values", first, Run{Hours: line(later, []float32{10, 11.5, 12}, []float32{0, 1, 2})}, true, now},
		{"estimated gusts over the same run", gusty, Run{Hours: mended}, true, t0},
		{"no column but clouds, and they differ", cloudy, Run{Hours: Hours{Start: start, N: 3, Members: 1, Cols: [NVars][]float32{Cloud: {1, 2, 4}}}}, true, now},
		{"all lost", first, Run{Hours: NewHours(later, 3, 1)}, true, t0},
		{"the model run is later", told, Run{Hours: rolled, ModelRun: start}, true, now},
		{"the model run is the same", told, Run{Hours: rolled, ModelRun: told.ModelRun}, true, t0},
		{"the model run was not told before", first, Run{Hours: rolled, ModelRun: start}, true, t0},
		{"windows apart", first, Run{Hours: line(start.Add(99*time.Hour), []float32{9}, []float32{0})}, true, now},
		{"windows apart, knowing nothing", first, Run{Hours: NewHours(start.Add(99*time.Hour), 3, 1, Air)}, true, t0},
	} {
		prev := tc.prev
		run, isNew := Carry(&prev, tc.fresh, now)
		if isNew != tc.isNew || !run.Changed.Equal(tc.changed) || !run.LastSeen.Equal(now) {
			t.Errorf("%s: new %v changed %s last seen %s, want %v %s %s", tc.name, isNew, run.Changed, run.LastSeen, tc.isNew, tc.changed, now)
		}
		if want := map[bool]time.Time{true: now, false: t0}[isNew]; !run.FirstSeen.Equal(want) {
			t.Errorf("%s: first seen %s, want %s", tc.name, run.FirstSeen, want)
		}
		if !prev.LastSeen.Equal(t0) || Digest(prev.Hours) != tc.prev.Digest {
			t.Errorf("%s: Carry changed its argument", tc.name)
		}
	}
}
