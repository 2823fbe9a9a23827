package main

import (
	"strings"
	"testing"
	"time"
)

func moment(t testing.TB, s string) time.Time {
	t.Helper()
	x, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// troubles counts what the owner was told of trouble in a period.
func (o *office) troubles(from, to time.Time) (n int, subjects []string) {
	o.t.Helper()
	for _, m := range o.messages() {
		if m.Kind == "trouble" && m.To == "office@quay.example" && m.State == "sent" && !m.Created.Before(from) && m.Created.Before(to) {
			n++
			subjects = append(subjects, m.Subject)
		}
	}
	return n, subjects
}

// The source is down for three days, Tuesday noon to Friday noon: no go on old
// weather, the owner hears, and all is well again after it without a restart.
func TestThreeDaysWithoutAForecast(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(6, "2027-10-25"))
	down, up := moment(t, "2027-10-26T12:00:00Z"), moment(t, "2027-10-29T12:00:00Z")
	o.source.between(badPage, down, up)
	o.rehearse("2027-10-25T12:00:00Z", "2027-11-02T12:00:00Z")

	blind, goes := 0, 0
	for _, c := range o.calls() {
		within := down.Add(3 * time.Hour) // an evening go may rest on what was fetched 3 hours before
		if c.Occasion == "second-look" {
			within = down.Add(6 * time.Hour)
		}
		switch {
		case c.Made.After(up) && c.Outcome == "go":
			goes++
		case c.Made.Before(within) || c.Made.After(up):
		case c.Outcome == "go":
			t.Errorf("%s for %s on %s, %s after the last forecast: %q", c.Outcome, c.Job, c.Date, c.Made.Sub(down), c.Reasons)
		case c.Occasion == "evening" && c.Outcome != "hold":
			t.Errorf("%s for %s on %s without a forecast, want a hold: %q", c.Outcome, c.Job, c.Date, c.Reasons)
		default:
			blind++
			if !strings.Contains(strings.Join(c.Reasons, "; "), "forecast") {
				t.Errorf("%s for %s on %s: %q", c.Outcome, c.Job, c.Date, c.Reasons)
			}
		}
	}
	if blind == 0 || goes == 0 {
		t.Errorf("%d calls in the outage and %d goes after it show too little", blind, goes)
	}
	n, subjects := o.troubles(down, up.AddDate(0, 0, 1))
	if n < 1 || n > 30 {
		t.Errorf("the owner heard %d times: %q", n, subjects)
	}
	if n, subjects := o.troubles(up.AddDate(0, 0, 2), up.AddDate(0, 0, 30)); n > 2 {
		t.Errorf("two days after it the owner still hears of trouble: %q", subjects)
	}
	o.everyCallIsMailed()
}

// From Tuesday 26 October at 12:00 the source lies in one way or another. Until
// then there is a plan; from then on no call may be a go, and the owner hears.
func TestLyingSourceIsNeverAGo(t *testing.T) {
	slowWhenRaced(t)
	from := "2027-10-26T12:00:00Z"
	for _, tt := range []struct {
		fault fault
		grace time.Duration // for which what was fetched before may still carry a go
	}{
		{errorBody, 3 * time.Hour}, {htmlBody, 3 * time.Hour}, {cutBody, 3 * time.Hour}, {oldHours, 3 * time.Hour},
		{nullTail, 0}, {stuckRun, 6 * time.Hour},
	} {
		t.Run(string(tt.fault), func(t *testing.T) {
			t.Parallel()
			o := openOffice(t, "Europe/Dublin", "")
			o.takeIn(bookOf(4, "2027-10-25"))
			lies := moment(t, from)
			o.source.frozen = lies
			o.source.between(tt.fault, lies, lies.AddDate(0, 0, 30))
			o.rehearse("2027-10-25T12:00:00Z", "2027-10-28T09:00:00Z")
			after := 0
			for _, c := range o.calls() {
				grace := tt.grace
				if c.Occasion == "second-look" && grace == 3*time.Hour {
					grace = 6 * time.Hour
				}
				if c.Made.Before(lies.Add(grace)) {
					continue
				}
				if after++; c.Outcome == "go" {
					t.Errorf("%s %s for %s on %s: %q", c.Occasion, c.Outcome, c.Job, c.Date, c.Reasons)
				}
			}
			if after == 0 {
				t.Error("no call while the source lied: this test shows nothing")
			}
			n, subjects := o.troubles(lies, lies.AddDate(0, 0, 30))
			if n < 1 || n > 30 {
				t.Errorf("the owner heard %d times: %q", n, subjects)
			}
		})
	}
}
