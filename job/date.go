package job

import (
	"fmt"
	"time"
)

// Date is a civil date: a day on somebody's calendar, without a zone. The zero
// Date means "none".
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// ParseDate reads "2027-04-14". It refuses days that do not exist.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse("2006-01-02", s)
	if err != nil {
		return Date{}, fmt.Errorf("%q is not a date; write it as 2027-04-14", s)
	}
	return DateOf(t), nil
}

// DateOf gives the civil date of t in t's own location.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// IsZero reports whether d is "none".
func (d Date) IsZero() bool { return d == Date{} }

// String gives "2027-04-14", or "" for none.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day)
}

// MarshalText makes a Date a JSON string (and a JSON object key).
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText wrote; "" is none.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Date{}
		return nil
	}
	v, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// noon is the date at 12:00 UTC, a safe place for calendar arithmetic.
func (d Date) noon() time.Time { return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC) }

// AddDays gives the date n days later (earlier for n < 0), by the calendar.
func (d Date) AddDays(n int) Date { return DateOf(d.noon().AddDate(0, 0, n)) }

// DaysSince gives the number of calendar days from e to d.
func (d Date) DaysSince(e Date) int {
	// both stand at noon UTC, so the difference is a whole number of UTC days
	return int(d.noon().Sub(e.noon()) / (24 * time.Hour))
}

// Before reports whether d lies before e.
func (d Date) Before(e Date) bool { return d.Compare(e) < 0 }

// After reports whether d lies after e.
func (d Date) After(e Date) bool { return d.Compare(e) > 0 }

// Compare gives -1, 0 or 1 as d lies before, on or after e.
func (d Date) Compare(e Date) int {
	switch {
	case d == e:
		return 0
	case d.Year != e.Year:
		return sign(d.Year - e.Year)
	case d.Month != e.Month:
		return sign(int(d.Month - e.Month))
	}
	return sign(d.Day - e.Day)
}

func sign(n int) int {
	if n < 0 {
		return -1
	}
	return 1
}

// Weekday gives the day of the week.
func (d Date) Weekday() time.Weekday { return d.noon().Weekday() }

// Words gives "Wednesday 14 April".
func (d Date) Words() string { return d.noon().Format("Monday 2 January") }

// Short gives "Wed 14 Apr".
func (d Date) Short() string { return d.noon().Format("Mon 2 Jan") }

// TimeOfDay is a wall-clock time, in minutes since midnight (0 to 1439).
type TimeOfDay int

// ParseTimeOfDay reads "07:30".
func ParseTimeOfDay(s string) (TimeOfDay, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a time of day; write it as 07:30", s)
	}
	return TimeOfDay(t.Hour()*60 + t.Minute()), nil
}

// String gives "07:30".
func (t TimeOfDay) String() string { return fmt.Sprintf("%02d:%02d", int(t)/60, int(t)%60) }

// MarshalText makes a TimeOfDay a JSON string.
func (t TimeOfDay) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (t *TimeOfDay) UnmarshalText(b []byte) error {
	v, err := ParseTimeOfDay(string(b))
	if err != nil {
		return err
	}
	*t = v
	return nil
}

// Instant gives the moment at which a wall clock in loc shows t on date d. A
// time that the clock change leaves out gives the end of the gap; one that
// occurs twice gives its first occurrence.
func Instant(d Date, t TimeOfDay, loc *time.Location) time.Time {
	want := time.Date(d.Year, d.Month, d.Day, int(t)/60, int(t)%60, 0, 0, time.UTC)
	// The moment sought lies at most 14 h before want read as UTC (UTC+14) and
	// 12 h after it, so the offsets in force around it are those of a day before
	// and a day after: no zone changes twice within two days.
	_, before := want.Add(-24 * time.Hour).In(loc).Zone()
	_, after := want.Add(24 * time.Hour).In(loc).Zone()
	// before is larger where the clock goes back: its candidate is the first
	first := want.Add(-time.Duration(before) * time.Second)
	second := want.Add(-time.Duration(after) * time.Second)
	switch {
	case sameWall(first, loc, want):
		return first.In(loc)
	case sameWall(second, loc, want):
		return second.In(loc)
	}
	// Inside a gap: with the old offset the candidate lands after the change by
	// as much as t lies inside the gap; the change itself is the gap's end.
	_, end := second.In(loc).ZoneBounds()
	if end.IsZero() {
		return first.In(loc)
	}
	return end.In(loc)
}

func sameWall(t time.Time, loc *time.Location, want time.Time) bool {
	l := t.In(loc)
	return l.Hour() == want.Hour() && l.Minute() == want.Minute() && l.Day() == want.Day()
}
