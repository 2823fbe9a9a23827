package replay

import (
	"context"
	"math"
	"testing"

	"laycast/job"
	"laycast/rules"
)

// What the bound is proved from holds of every policy: no roof is worked twice a
// day, a crew does one whole day's work or two halves, the second from noon on, and
// what was sealed lies on the roof's courses.
func TestPoliciesKeepToTheCourses(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	t.Parallel()
	s := short(t, 5, 24)
	diaries := map[Policy]*diary{}
	for _, p := range []Policy{Laycast, Knowing} {
		d, err := liveThrough(context.Background(), &s, p, func() {})
		if err != nil {
			t.Fatal(err)
		}
		diaries[p] = d.diary
	}
	for _, p := range []Policy{Fixed, Greedy} {
		o := newOffice(&s)
		rule := o.fixedCalendar
		if p == Greedy {
			rule = o.greedy
		}
		if err := o.liveThrough(context.Background(), source{s.Weather, true}, rule, func() {}); err != nil {
			t.Fatal(err)
		}
		diaries[p] = o.diary
	}
	tr := newTruth(&s)
	roofs := map[string]*roof{}
	for _, a := range s.Jobs {
		r := courses(tr, a)
		roofs[a.Job.ID] = &r
	}
	for p, d := range diaries {
		if len(d.lays) == 0 {
			t.Errorf("%s sent nobody", p)
		}
		keepsToCourses(t, &s, string(p), d, roofs)
	}
}

func keepsToCourses(t *testing.T, s *Season, name string, d *diary, roofs map[string]*roof) {
	t.Helper()
	type place struct {
		crew string
		on   job.Date
	}
	stands, days, last, crews := map[string]int{}, map[string]job.Date{}, map[string]job.Date{}, map[place][]*dayWork{}
	for _, l := range d.lays {
		r := roofs[l.job]
		k := stands[l.job]
		for x := days[l.job]; !x.IsZero() && x.Before(l.on); x = x.AddDays(1) {
			k = r.wait[k]
		}
		if l.on == last[l.job] {
			t.Errorf("%s: %s is worked twice on %s", name, l.job, l.on)
		}
		stands[l.job], days[l.job], last[l.job] = k, l.on, l.on
		if !l.sealed {
			continue
		}
		w := r.find(k, l, l.on.DaysSince(s.From))
		if w == nil {
			t.Errorf("%s: %s on %s (%s, %.1f m², topcoat %v) is on no course from %+v", name, l.job, l.on, l.task, l.areaM2, l.full, r.stands[k])
			continue
		}
		if l.slot == 1 && !w.late {
			t.Errorf("%s: %s on %s held in an afternoon on which it could not", name, l.job, l.on)
		}
		at := place{l.crew, l.on}
		crews[at] = append(crews[at], w)
		if ws := crews[at]; len(ws) > 2 || len(ws) == 2 && !(ws[0].half && ws[1].half) {
			t.Errorf("%s: %s has more than a day's work on %s", name, l.crew, l.on)
		}
		// to is as on the next morning
		stands[l.job], days[l.job] = w.to, l.on.AddDays(1)
	}
}

// find gives the day's work that a lay was.
func (r *roof) find(from int, l lay, day int) *dayWork {
	for i := range r.works {
		w := &r.works[i]
		if w.day != day || w.from != from {
			continue
		}
		a, b := r.stands[w.from], r.stands[w.to]
		m2, coat := b.laid-a.laid, b.coated-a.coated
		if l.task == rules.Coat {
			m2 = coat
		}
		if math.Abs(m2-l.areaM2) < 1e-6 && (l.task == rules.Coat || l.full == (coat > 0)) {
			return w
		}
	}
	return nil
}
