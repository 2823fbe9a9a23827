package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"laycast/forecast/metno"
	"laycast/forecast/nws"
)

// officeWith is an office with a second source; limits are further keys of the
// first.
func officeWith(t *testing.T, second, limits string) *office {
	t.Helper()
	o := openOffice(t, "Europe/Dublin", "")
	o.write("laycast.yaml", fmt.Sprintf(`firm: {name: Quay Roofs, zone: Europe/Dublin, email: office@quay.example}
listen: 127.0.0.1:0
public_url: http://quay.example
database: sqlite:%s/laycast.db
source:
  - {kind: open-meteo, forecast_url: "%s", ensemble_url: "%s", contact: office@quay.example%s}
%s
`, o.dir, o.source.URL, o.source.URL, limits, second))
	return o
}

// From Tuesday morning to Wednesday noon the first source is down: the second
// one is used, calls and mails say so, the owner hears once, and on Wednesday
// evening the first is used again.
func TestSecondSourceIsUsedAndLeftAgain(t *testing.T) {
	slowWhenRaced(t)
	for _, tt := range []struct{ kind, credit string }{{"met-norway", metno.Credit}, {"us-nws", nws.Credit}} {
		t.Run(tt.kind, func(t *testing.T) {
			t.Parallel()
			other := newOther(t)
			o := officeWith(t, fmt.Sprintf(`  - {kind: %s, url: "%s", contact: office@quay.example}`, tt.kind, other.URL), "")
			o.takeIn(bookOf(4, "2027-10-25"))
			down, up := moment(t, "2027-10-26T06:00:00Z"), moment(t, "2027-10-27T12:00:00Z")
			o.source.between(badPage, down, up)
			o.rehearse("2027-10-25T12:00:00Z", "2027-10-28T09:00:00Z")
			standingIn, again := 0, 0
			for _, c := range o.calls() {
				reasons := strings.Join(c.Reasons, "; ")
				said := strings.Contains(reasons, "the weather is from "+tt.kind+", since open-meteo has failed since ")
				switch {
				case c.Made.Before(down.Add(3*time.Hour)) || c.Made.After(up):
					if said {
						t.Errorf("%s at %s: %s", c.Job, c.Made, reasons)
					} else if c.Made.After(up) {
						again++
					}
				case !said:
					t.Errorf("%s at %s says nothing of the other source: %s", c.Job, c.Made, reasons)
				default:
					standingIn++
				}
			}
			if standingIn == 0 || again == 0 {
				t.Errorf("%d calls by the second source and %d by the first again show too little", standingIn, again)
			}
			if other.asked(time.Time{}, down) > 0 || other.asked(down, up) == 0 || other.asked(up.Add(2*time.Hour), up.AddDate(1, 0, 0)) > 0 {
				t.Errorf("asked %d times before, %d in the outage, %d after it", other.asked(time.Time{}, down), other.asked(down, up), other.asked(up.Add(2*time.Hour), up.AddDate(1, 0, 0)))
			}
			if other.same == 0 {
				t.Error("never asked whether anything was modified")
			}
			credited := 0
			for _, text := range o.flatMails() {
				if strings.Contains(text, tt.credit) {
					credited++
				}
			}
			if credited == 0 {
				t.Error("no mail credits the source that was used")
			}
			n := 0
			_, subjects := o.troubles(down, up)
			for _, s := range subjects {
				if strings.HasSuffix(s, "from open-meteo") {
					n++
				}
			}
			if n < 1 || n > 2 { // once for each endpoint
				t.Errorf("the owner heard %q", subjects)
			}
		})
	}
}

// A source that answers 403 is left alone for a day, and the owner hears at once
// (pitfall 19).
func TestBarredSourceIsLeftAlone(t *testing.T) {
	t.Parallel()
	other := newOther(t)
	other.bar = true
	o := officeWith(t, fmt.Sprintf(`  - {kind: met-norway, url: "%s", contact: office@quay.example}`, other.URL), "")
	o.takeIn(bookOf(2, "2027-10-25"))
	from := moment(t, "2027-10-25T12:00:00Z")
	o.source.always(badPage)
	o.rehearse("2027-10-25T12:00:00Z", "2027-10-26T11:00:00Z")
	if n := other.asked(from, from.AddDate(0, 0, 1)); n != 1 {
		t.Errorf("asked %d times within a day of the 403", n)
	}
	_, subjects := o.troubles(from, from.AddDate(0, 0, 1))
	n := 0
	for _, s := range subjects {
		if s == "met-norway refuses laycast" {
			n++
		}
	}
	if n != 1 {
		t.Errorf("the owner heard %q", subjects)
	}
}

// An allowance holds over restarts: two processes that share a day spend no
// more than one, and the next day there is a new one (pitfall 12).
func TestAllowanceHoldsOverRestarts(t *testing.T) {
	t.Parallel()
	spent := func(parts ...string) (first, second int) {
		o := officeWith(t, "", ", per_day: 40")
		o.takeIn(bookOf(2, "2027-10-25"))
		midnight := moment(t, "2027-10-26T00:00:00Z")
		asked := 0
		for i := 1; i < len(parts); i++ {
			o.rehearse(parts[i-1], parts[i])
			if moment(t, parts[i]).Equal(midnight) {
				asked = o.source.asked()
			}
		}
		return asked, o.source.asked() - asked
	}
	one, next := spent("2027-10-25T12:00:00Z", "2027-10-26T00:00:00Z", "2027-10-26T03:00:00Z")
	parts, _ := spent("2027-10-25T12:00:00Z", "2027-10-25T12:30:00Z", "2027-10-25T14:00:00Z", "2027-10-25T19:00:00Z", "2027-10-26T00:00:00Z")
	// 40 calls: an ensemble of two cells costs 28.8, an hourly forecast of two 3
	if one < 2 || one > 4 || parts != one || next == 0 {
		t.Errorf("%d requests by one process, %d by four, %d the next day", one, parts, next)
	}
}

// A looking command falls back too, says so, and gives what it asked with back.
func TestCheckAsksTheNextSource(t *testing.T) {
	t.Parallel()
	other := newOther(t)
	o := officeWith(t, fmt.Sprintf(`  - {kind: met-norway, url: "%s", contact: office@quay.example}`, other.URL), "")
	o.takeIn(bookOf(2, "2027-06-01"))
	o.source.always(badPage)
	for range 2 { // the second finds the right to ask given back
		code, out, errs := o.run(t.Context(), "check", "Q-01", "--now", "2027-06-13T12:00:00Z")
		if code != 0 || !strings.Contains(errs, "open-meteo does not answer") || !strings.Contains(errs, "the weather is from met-norway") {
			t.Fatalf("exit %d\n%s%s", code, out, errs)
		}
	}
	other.bar = true
	o.fails(1, []string{"ask the weather source", "502"}, "check", "Q-01", "--now", "2027-06-13T12:00:00Z")
}
