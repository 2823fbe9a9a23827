package ledger

import "laycast/job"

// MoveWaits reports whether a visit's new date is one that the owner may still
// stop: a told date that the plan has moved.
func MoveWaits(v job.Visit, today job.Date) bool {
	first := v.First()
	return v.State == job.Planned && v.Done == 0 && !v.Told.IsZero() && !first.IsZero() && first != v.Told && first.After(today)
}

// MoveAsked reports whether a visit's new date waits and has no answer yet.
func MoveAsked(v job.Visit, today job.Date) bool {
	return MoveWaits(v, today) && v.AskedFor == v.First() && !v.Approved && !v.Declined
}
