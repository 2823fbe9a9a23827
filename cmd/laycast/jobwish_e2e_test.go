package main

import (
	"slices"
	"strings"
	"testing"

	"laycast/job"
	"laycast/scheduler/plan"
)

// visitOf gives a job's visit in the plan as it would be made now.
func (o *office) visitOf(id string) (visitOut, bool) {
	o.t.Helper()
	for _, v := range decode[weekOut](o.t, o.must("plan", "--json")).Visits {
		if v.Job == id {
			return v, true
		}
	}
	return visitOut{}, false
}

func (o *office) why(id string) plan.JobWhy {
	o.t.Helper()
	return decode[plan.JobWhy](o.t, o.must("plan", "--why", id, "--json"))
}

func day(t *testing.T, text string) job.Date {
	t.Helper()
	d, err := job.ParseDate(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// kindsTo gives the kinds of what was queued for a person.
func (c changed) kindsTo(person string) []string {
	var out []string
	for _, q := range c.Queued {
		if q.To == person {
			out = append(out, q.Kind)
		}
	}
	return out
}

// plainText takes the soft line ends and the wrapping out of a mail's text.
func plainText(mail string) string {
	return strings.Join(strings.Fields(strings.NewReplacer("=\r\n", "", "=\n", "").Replace(mail)), " ")
}

// A job is pinned to a day that the plan would not take: it stands there, it is
// said what that costs, and the evening call is a no-go all the same, after
// which the job is free again.
func TestAPinHoldsUntilANoGo(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := lived(t)
	const id = "Q-05"
	before := o.why(id)
	// not tomorrow, which is too near to be moved; no later than Friday: the
	// forecast should still say so on the evening
	worst, from, last := (*plan.WhyDay)(nil), day(t, "2027-05-05"), day(t, "2027-05-07")
	for i := range before.Days {
		if d := &before.Days[i]; d.Can && !d.Here && d.Chance != nil && !d.Day.Before(from) && !d.Day.After(last) && (worst == nil || *d.Chance < *worst.Chance) {
			worst = d
		}
	}
	if worst == nil || *worst.Chance >= 0.6 || worst.Cost == nil || worst.Cost.Amount <= 0 {
		t.Fatalf("there should be a poor day among %+v", before.Days)
	}
	poor := worst.Day
	o.must("job", "pin", id, "--day", poor.String(), "--crew", worst.Crew)
	v, ok := o.visitOf(id)
	if !ok || v.Days[0] != poor || v.Crew != worst.Crew || !v.Pinned {
		t.Fatalf("pinned, it stands as %+v", v)
	}
	if show := o.must("job", "show", id); !strings.Contains(show, "pinned it to "+poor.Words()+" with crew "+worst.Crew) {
		t.Errorf("show prints\n%s", show)
	}
	text := o.must("plan", "--why", id)
	if !strings.Contains(text, "You pinned it there") {
		t.Errorf("--why prints\n%s", text)
	}
	if text := o.must("plan"); !strings.Contains(text, "pinned by you") {
		t.Errorf("plan prints\n%s", text)
	}
	o.rehearse(livedTo, poor.String()+"T09:30:00Z")
	made := slices.DeleteFunc(o.calls(), func(c told) bool { return c.Job != id || c.Date != poor.String() })
	if len(made) == 0 || made[len(made)-1].Outcome != "no-go" {
		t.Errorf("calls for the pinned day: %+v", made)
	}
	if v, ok := o.visitOf(id); ok && (v.Pinned || v.Days[0] == poor) {
		t.Errorf("after the no-go it stands as %+v", v)
	}
}

// A pin moves a told date, and is the owner's yes: the customer hears at once,
// and the owner is not asked.
func TestAPinIsTheOwnersYes(t *testing.T) {
	t.Parallel()
	o := lived(t)
	id := o.toldJob()
	other, last := job.Date{}, day(t, "2027-05-07") // near enough to be told at once
	for _, d := range o.why(id).Days {
		if d.Can && !d.Here && !d.Day.After(last) {
			other = d.Day
		}
	}
	if other.IsZero() {
		t.Fatalf("there is no other day for it among %+v", o.why(id).Days)
	}
	out := decode[changed](t, o.must("job", "pin", id, "--day", other.String(), "--json"))
	if kinds := out.kindsTo(customerOf(id)); !slices.Equal(kinds, []string{"date-moved"}) {
		t.Errorf("the customer gets %v of %+v", kinds, out.Queued)
	}
	for _, w := range o.messages() {
		if w.Kind == "ask" && strings.Contains(o.must("messages", "--show", w.ID), id) {
			t.Errorf("the owner is asked about the pin: %+v", w)
		}
	}
	o.must("job", "unpin", id)
	if v, ok := o.visitOf(id); ok && v.Pinned {
		t.Errorf("unpinned, it stands as %+v", v)
	}
	o.fails(exitFail, []string{"not pinned"}, "job", "unpin", id)
}

func TestAForbiddenDayIsNotUsed(t *testing.T) {
	t.Parallel()
	o := lived(t)
	id := o.toldJob()
	v, ok := o.visitOf(id)
	if !ok {
		t.Fatal("it has no place")
	}
	was := v.Days[0]
	o.must("job", "forbid", id, "--day", was.String())
	if v, ok := o.visitOf(id); ok && slices.Contains(v.Days, was) {
		t.Errorf("it stands on the forbidden day: %+v", v)
	}
	why := o.why(id)
	k := slices.IndexFunc(why.Days, func(d plan.WhyDay) bool { return d.Day == was })
	if why.Days[k].Can || why.Days[k].Words != "you forbade it" {
		t.Errorf("why says %+v", why.Days[k])
	}
	if show := o.must("job", "show", id); !strings.Contains(show, "keep it off "+was.Words()) {
		t.Errorf("show prints\n%s", show)
	}
	o.fails(exitFail, []string{"you forbade", "allow it first"}, "job", "pin", id, "--day", was.String())
	o.must("job", "allow", id, "--day", was.String())
	if d := o.why(id).Days[k]; !d.Can {
		t.Errorf("allowed again, the day is closed: %+v", d)
	}
	o.fails(exitFail, []string{"did not forbid"}, "job", "allow", id, "--day", was.String())
}

// The owner is told which new dates wait for a yes whatever the hour.
func TestAskFirstSaysSo(t *testing.T) {
	t.Parallel()
	o := lived(t)
	id := o.toldJob()
	o.must("job", "ask", id)
	v, _ := o.visitOf(id)
	o.must("job", "forbid", id, "--day", v.Days[0].String())
	o.must("rehearse", "--from", livedTo, "--to", "2027-05-04T06:00:00Z", "--mail-dir", o.mail, "--owner", "silent")
	asked := false
	for _, w := range o.messages() {
		asked = asked || w.Kind == "ask" && strings.Contains(plainText(o.must("messages", "--show", w.ID)), "You want to be asked about this one")
		if w.Kind == "date-moved" && w.To == customerOf(id) {
			t.Errorf("moved without a yes: %+v", w)
		}
	}
	if !asked {
		t.Error("the owner is not asked so")
	}
	if show := o.must("job", "show", id); !strings.Contains(show, "want to be asked before its date moves") {
		t.Errorf("show prints\n%s", show)
	}
	if line := o.must("job", "ask", id, "--off"); !strings.Contains(line, "without your yes") {
		t.Errorf("ask --off prints %q", line)
	}
}

func TestWishesThatCannotBeAreRefused(t *testing.T) {
	t.Parallel()
	o := lived(t)
	for _, c := range []struct {
		want string
		args []string
	}{
		{"nobody works", []string{"pin", "Q-05", "--day", "2027-05-09"}},
		{"cannot be planned any more", []string{"pin", "Q-05", "--day", "2027-05-03"}},
		{"has to be laid by", []string{"pin", "Q-05", "--day", "2028-01-03"}},
		{"no crew \"auk\"", []string{"pin", "Q-05", "--day", "2027-05-06", "--crew", "auk"}},
		{"no job", []string{"pin", "Q-77", "--day", "2027-05-06"}},
		{"not ahead", []string{"forbid", "Q-05", "--day", "2027-05-03"}},
	} {
		before := o.must("job", "show", "Q-05")
		o.fails(exitFail, []string{c.want}, append([]string{"job"}, c.args...)...)
		if after := o.must("job", "show", "Q-05"); after != before {
			t.Errorf("%v left\n%s\nit was\n%s", c.args, after, before)
		}
	}
	o.fails(exitUsage, nil, "job", "pin", "Q-05", "--day", "soon")
	o.must("job", "pin", "Q-05", "--day", "2027-05-06")
	o.fails(exitFail, []string{"pinned", "unpin it first"}, "job", "forbid", "Q-05", "--day", "2027-05-06")
	o.fails(exitUsage, []string{"--apply"}, "plan", "--why", "Q-05", "--apply")
}
