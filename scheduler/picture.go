package scheduler

import (
	"time"

	"laycast/notify"
	"laycast/scheduler/call"
)

// picture draws the hours that a call was made from. There is none where nothing
// is known of them; one that cannot be drawn keeps no mail back, for every mail
// says in words what its picture shows.
func (w *work) picture(in call.Input, hands int) *notify.Picture {
	c, err := w.s.caseOf(w.book.Firm, in.Job, hands, w.zone)
	if err != nil || in.Day.Members == 0 {
		return nil
	}
	zone, err := time.LoadLocation(in.Job.Site.Zone)
	if err != nil || in.Job.Site.Zone == "" {
		zone = w.zone
	}
	from, to := notify.Axis(in.Day, in.Date, zone)
	lanes := w.s.grounds.get(in.Issue, in.Job.Job, c.Profile).Lanes(c, in.Day, from, to)
	if len(lanes) == 0 {
		return nil
	}
	p, err := notify.DayView{Job: in.Job.Job, Date: in.Date, Day: in.Day, Lanes: lanes, Zone: zone}.Picture()
	if err != nil {
		w.s.Log.Error().Err(err).Str("job", in.Job.ID).Msg("hour ribbon could not be drawn")
		return nil
	}
	return p
}
