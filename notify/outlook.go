package notify

import (
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/rules/mix"
	"laycast/scheduler/call"
)

// JobOutlook is what a page tells of one job's days ahead.
type JobOutlook struct {
	Hands    int // of the crew that would come
	Days     []DayAhead
	DewLeast float64 // K that the laminate asks for; 0 where the profile asks for none

	Load   *load.List // for the whole roof; nil where no materials are at hand
	MixDay job.Date   // the day that the mix card is for
	Mix    []mix.Line // of its working hours

	Source  string    // whose weather it is, "" where there is none
	Fetched time.Time // when it was last seen
	Note    string    // why it is not the first source's
}

// DayAhead is one day of it.
type DayAhead struct {
	DayView
	Hours     []rules.Hour // of the hours that the picture shows
	Rain, Dew []rules.Band // of the same, over the members: mm, and K above the dew point
	Outcome   call.Outcome // if it were called now
	Reasons   []string
}
