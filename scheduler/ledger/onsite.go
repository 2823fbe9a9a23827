package ledger

import (
	"time"

	"laycast/rules"
	"laycast/rules/load"
	"laycast/rules/mix"
)

// OnSite is what a crew needs on site for one job and day beside its call.
type OnSite struct {
	Bay     rules.Bay // zero where nothing of the roof is left to do on the day
	Hands   int
	Profile rules.Profile
	Recipe  mix.Recipe   // no bands where no materials are configured
	Load    []load.Item  // what the roof takes
	Kit     []load.Item  // tools and gear
	Notes   []string     // what the load list does not know
	Hours   []rules.Hour // the day's, from midnight to midnight on the firm's clock; none without a forecast
	Mix     []mix.Line   // for the same hours; Stage says where the call has something mixed
	Seen    time.Time    // when the forecast of the hours was last fetched
}
