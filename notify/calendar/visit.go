package calendar

import (
	"fmt"
	"strconv"
	"time"

	"laycast/job"
	"laycast/notify"
)

// State is how far a visit's date has come.
type State string

// The states of a visit in a calendar.
const (
	Provisional State = "provisional" // on the plan; the customer knows a week at most
	Told        State = "told"        // the customer knows the date; it may still fall to the weather
	Going       State = "going"       // called go
	Off         State = "off"         // does not take place
)

// Visit is what the calendars are made from: a job's visit as it stands.
type Visit struct {
	Firm  job.Firm
	Job   job.Booking
	N     int
	Crew  job.Crew
	State State
	Week  job.Date      // Monday of the week told to the customer, or none
	Days  []job.Date    // the days it takes, first to last; those told where State is Told
	Start job.TimeOfDay // on site
	End   job.TimeOfDay // the crew leaves; 0 means the end of the firm's working day
	Why   string        // why it moved or is off, in plain words
}

// Event gives the visit as the reader sees it, without sequence and changed-at,
// which the book of published events holds. It gives ErrNothing where the reader
// may know nothing yet: a customer sees a week or a told date, never the plan.
func (v Visit) Event(a notify.Audience) (Event, error) {
	zone, err := time.LoadLocation(v.Firm.Zone)
	if err != nil || v.Firm.Zone == "" || v.Firm.Zone == "Local" {
		return Event{}, fmt.Errorf("the firm's zone %q is not a time zone", v.Firm.Zone)
	}
	e := Event{UID: UID(v.Firm.UID, v.Job.ID, v.N, a), Status: Confirmed, Location: notify.Clean(v.Job.Site.Address)}
	switch v.State {
	case Provisional:
		e.Status = Tentative
	case Off:
		e.Status = Cancelled
	case Told, Going:
	default:
		return Event{}, fmt.Errorf("the visit %d of job %s has the unknown state %q", v.N, v.Job.ID, v.State)
	}
	switch byWeek := a == notify.ToCustomer && (v.State == Provisional || len(v.Days) == 0); {
	case byWeek && v.Week.IsZero(), !byWeek && len(v.Days) == 0:
		return Event{}, ErrNothing
	case byWeek:
		e.From, e.To = v.Week, v.Week.AddDays(4)
	default:
		e.Start, e.End = v.hours(zone)
	}
	v.words(&e, a)
	return e, nil
}

// hours gives the first day's start and the last day's end.
func (v Visit) hours(zone *time.Location) (time.Time, time.Time) {
	start, end := v.Start, v.End
	if start <= 0 {
		start = v.Firm.Work.From
	}
	if end <= 0 {
		end = v.Firm.Work.To
	}
	from, to := job.Instant(v.Days[0], start, zone), job.Instant(v.Days[len(v.Days)-1], end, zone)
	if !to.After(from) {
		to = from.Add(time.Hour) // settings that contradict each other must not break a feed
	}
	return from, to
}

// words writes summary and description for one reader. The customer's hold
// nothing of the crew's business, and nobody's hold money.
func (v Visit) words(e *Event, a notify.Audience) {
	roof := notify.Roof(v.Job.Job)
	firm := notify.Clean(v.Firm.Name)
	permitting := ""
	if v.State == Told || v.State == Provisional && a != notify.ToCustomer {
		permitting = ", weather permitting"
	}
	add := func(label, text string) {
		if text = notify.Clean(text); text != "" {
			e.Description = append(e.Description, label+text)
		}
	}
	switch a {
	case notify.ToCustomer:
		e.Summary = firm + " lays your roof" + permitting
		if e.Start.IsZero() {
			add("", "The weather decides the day. You hear the date some days before.")
		} else if v.State == Told {
			add("", "The evening before, you hear by mail whether we come.")
		}
		add("The roof: ", roof)
	case notify.ToCrew:
		e.Summary = roof + permitting
		n := v.Job.Notes
		add("Access, gate: ", n.Access)
		add("Parking: ", n.Parking)
		add("Power, water: ", n.PowerWater)
		add("Neighbours: ", n.Neighbours)
		add("Room below: ", n.RoomBelow)
		add("Customer: ", v.Job.Customer.Name)
		add("Telephone: ", v.Job.Phone)
		if v.State != Off {
			add("", "Go only on a go by mail. The lead hand decides on site.")
		}
	default:
		e.Summary = notify.Clean(v.Crew.Name) + ": " + roof + permitting
		add("Customer: ", v.Job.Customer.Name)
	}
	if len(v.Days) > 1 && !e.Start.IsZero() {
		add("", strconv.Itoa(len(v.Days))+" working days: "+daysWords(v.Days)+".")
	}
	add("Why: ", v.Why)
	// two visits alike in all else must differ in something a client weighs
	// (INTEROP.md A)
	add("Reference: ", v.Job.ID+"/"+strconv.Itoa(v.N))
}

func daysWords(ds []job.Date) string {
	s := ""
	for i, d := range ds {
		if i > 0 {
			s += ", "
		}
		s += d.Words()
	}
	return s
}
