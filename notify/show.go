package notify

import (
	"time"

	"laycast/job"
	"laycast/rules"
)

// The pages say the same things in the same words as the mails.

// Percent prints a chance, never as a certainty.
func Percent(p float64) string { return percent(p) }

// StageWords names a stage as a crew says it.
func StageWords(s rules.Stage) string { return stageWords(s) }

// LimitWords names what a limit measures: "rain", "dew margin".
func LimitWords(l rules.Limit) string { return measureOf(l).name }

// Tightest says how near a stage comes to a limit, on the clock of one place
// and day; "" when there is nothing to say.
func Tightest(c rules.Check, loc *time.Location, day job.Date) string {
	return tightest(c, wall{loc: loc, day: day})
}

// SpanWords gives "08:00 to 09:50" on the clock of one place and day.
func SpanWords(from, to time.Time, loc *time.Location, day job.Date) string {
	return wall{loc: loc, day: day}.span(from, to)
}

// Clearing says what a customer is asked to clear before the crew comes.
func Clearing(j job.Booking) []string { return clearing(j).Items }
