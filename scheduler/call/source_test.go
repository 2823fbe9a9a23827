package call_test

import (
	"testing"

	"laycast/scheduler/call"
)

// Where the weather is from is said below the reasons; a go that another
// forecast contradicts in the visit's hours is a hold on the evening, and a
// caution never makes anything better.
func TestCautionAndNote(t *testing.T) {
	const caution, note = "two forecasts disagree on rain", "the weather is from b, since a has failed since 14:00"
	for _, flip := range []bool{false, true} {
		in := input(evening)
		plain := call.DecideEvening(in)
		in.Caution, in.Flip, in.Issue.Note = caution, flip, note
		c := call.DecideEvening(in)
		if plain.Outcome != call.Go {
			t.Fatalf("%s: %q", plain.Outcome, plain.Reasons)
		}
		if want := map[bool]call.Outcome{false: call.Go, true: call.Hold}[flip]; c.Outcome != want {
			t.Errorf("flip %v: %s", flip, c.Outcome)
		}
		if n := len(c.Reasons); n < 2 || c.Reasons[n-1] != note || c.Reasons[n-2] != caution {
			t.Errorf("%q", c.Reasons)
		}
		standing := plain
		in.Standing = &standing
		if k, _ := call.DecideSecondLook(in); k.Outcome != call.Go {
			t.Errorf("in the morning, flip %v: %s", flip, k.Outcome)
		}
		in.Standing = nil
		in.Issue.Det = nil
		if k := call.DecideEvening(in); k.Outcome != call.Hold {
			t.Errorf("without an hourly forecast: %s", k.Outcome)
		}
	}
}

// A source without an ensemble is not said to lack one.
func TestDetOnly(t *testing.T) {
	in := input(evening)
	in.Issue.Ens = nil
	if call.Age(in.Issue, in.Now) == "" {
		t.Error("an ensemble that is missing is not missed")
	}
	in.Issue.DetOnly = true
	if s := call.Age(in.Issue, in.Now); s != "" {
		t.Errorf("a source without an ensemble: %q", s)
	}
	in.Standing = &call.Call{Outcome: call.Go}
	if c, _ := call.DecideSecondLook(in); c.Outcome != call.Go {
		t.Errorf("a standing go fell for want of an ensemble: %q", c.Reasons)
	}
	in.Issue.Det = nil
	if call.Age(in.Issue, in.Now) == "" {
		t.Error("nothing at all is fresh")
	}
}
