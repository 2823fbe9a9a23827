package replay

import (
	"context"
	"fmt"
	"slices"
)

// Policy names a way of booking.
type Policy string

// The policies.
const (
	Laycast  Policy = "laycast"          // the daemon
	Bold     Policy = "bold laycast"     // the daemon, going from the bounds of its no-go
	Fixed    Policy = "fixed calendar"   // first free place, told on arrival
	Greedy   Policy = "greedy best day"  // each job on its best day, anew every morning
	Knowing  Policy = "perfect forecast" // the daemon, told the truth two weeks ahead, the crews' pace too
	Foreseen Policy = "clairvoyant"      // the bound
)

// Policies are those that live through a season, in the order of the table.
func Policies() []Policy { return []Policy{Laycast, Bold, Fixed, Greedy, Knowing} }

// Result is what every policy came to in one season.
type Result struct {
	Season    string
	Foresight Foresight
	Knowing   Foresight // the bound of who is told the truth; zero where nobody was
	Scores    map[Policy]Score
	Spent     map[Policy]map[Fate]Spent // what became of the crews' days, where the daemon decided
	// Differ counts days that the daemon closed otherwise than the record
	// says: its past rows reach back two days and no further.
	Differ int
}

// Share gives a policy's part of what perfect foresight could at most have
// earned over doing nothing.
func (r Result) Share(p Policy) float64 {
	bound := r.Foresight.Bound
	if p == Knowing {
		bound = r.Knowing.Bound
	}
	return float64(r.Scores[p].Money) / float64(bound)
}

// boundRounds is how often the prices of the bound are moved.
const boundRounds = 3000

// Run lives through a season by every policy. tick hears each day that is done,
// with all of them: Days times the number of policies.
func Run(ctx context.Context, s Season, ps []Policy, tick func()) (Result, error) {
	out := Result{Season: s.Name, Scores: map[Policy]Score{}, Spent: map[Policy]map[Fate]Spent{}}
	for _, p := range ps {
		if err := out.live(ctx, &s, p, tick); err != nil {
			return out, fmt.Errorf("%s, %s: %w", s.Name, p, err)
		}
	}
	out.Foresight = foresee(&s, boundRounds)
	if slices.Contains(ps, Knowing) {
		out.Knowing = foreseeKnowing(&s, boundRounds)
	}
	return out, nil
}

func (r *Result) live(ctx context.Context, s *Season, p Policy, tick func()) error {
	switch p {
	case Laycast, Bold, Knowing:
		d, err := liveThrough(ctx, s, p, tick)
		if err != nil {
			return err
		}
		if p == Laycast {
			r.Differ = d.differ
		}
		r.Scores[p], r.Spent[p] = d.diary.score(s), d.spent.of
	case Fixed, Greedy:
		o := newOffice(s)
		rule := o.fixedCalendar
		if p == Greedy {
			rule = o.greedy
		}
		if err := o.liveThrough(ctx, source{s.Weather, s.Calibrated}, rule, tick); err != nil {
			return err
		}
		r.Scores[p] = o.diary.score(s)
	default:
		return fmt.Errorf("there is no policy %q", p)
	}
	return nil
}
