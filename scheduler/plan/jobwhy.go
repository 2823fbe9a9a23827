package plan

import "laycast/job"

// JobWhy says where a job stands in the plan, what it adds and what each other day
// would cost. All of it is planned again with the change, not guessed.
type JobWhy struct {
	Job    string     `json:"job"`
	Day    job.Date   `json:"day"` // first day of its visit; none where it has no place
	Crew   string     `json:"crew"`
	Chance *float64   `json:"chance"`
	Stands string     `json:"stands"` // where it stands and why, in words
	Adds   *WeekPrice `json:"adds"`   // null where it has no place
	Needs  string     `json:"needs"`  // what a place would take, in words, where it has none
	Days   []WhyDay   `json:"days"`
}

// WhyDay is one day on which a job could begin.
type WhyDay struct {
	Day    job.Date   `json:"day"`
	Can    bool       `json:"can"`
	Here   bool       `json:"here"` // it begins here in the plan
	Crew   string     `json:"crew"`
	Chance *float64   `json:"chance"`
	Cost   *WeekPrice `json:"cost"`   // against the plan; below 0: it would gain
	Own    job.Money  `json:"own"`    // of the cost, what the job itself earns less
	Move   job.Money  `json:"move"`   // of that, for moving the told date
	Others job.Money  `json:"others"` // of the cost, what other jobs earn less
	Needed *float64   `json:"needed"` // the chance at which the day would cost nothing; null where none would do
	Words  string     `json:"words"`
}
