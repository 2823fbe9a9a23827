package scheduler

import (
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
)

// HourView gives what the hour ribbon of a verdict is drawn from. Without
// forecasts for the day it has no lanes.
func (s *Scheduler) HourView(f job.Firm, b job.Booking, hands int, day rules.Day, is forecast.Issue) (notify.DayView, error) {
	zone, err := job.LoadZone(f.Zone)
	if err != nil {
		return notify.DayView{}, fmt.Errorf("load the zone of %s: %w", f.UID, err)
	}
	c, err := s.caseOf(f, b, hands, zone)
	if err != nil {
		return notify.DayView{}, err
	}
	v := notify.DayView{Job: b.Job, Date: day.Date, Day: day, Zone: zone}
	if site, err := job.LoadZone(b.Site.Zone); err == nil {
		v.Zone = site
	}
	if day.Members > 0 {
		from, to := notify.Axis(day, day.Date, v.Zone)
		v.Lanes = s.grounds.day(is, c, day.Date).Lanes(c, day, from, to)
	}
	return v, nil
}

// picture draws the hours that a call was made from. There is none where nothing
// is known of them; one that cannot be drawn keeps no mail back, for every mail
// says in words what its picture shows.
func (w *work) picture(in call.Input, hands int) *notify.Picture {
	v, err := w.s.HourView(w.book.Firm, in.Job, hands, in.Day, in.Issue)
	if err == nil && len(v.Lanes) == 0 {
		return nil
	}
	var p *notify.Picture
	if err == nil {
		p, err = v.Picture()
	}
	if err != nil {
		w.s.Log.Error().Err(err).Str("job", in.Job.ID).Msg("hour ribbon could not be drawn")
		return nil
	}
	return p
}

// provide puts load list and mix card into a letter about a go or a hold.
func (w *work) provide(l *notify.CallLetter, in call.Input, bay rules.Bay) {
	m := w.s.Materials
	c, err := w.s.caseOf(w.book.Firm, in.Job, l.Crew.Size, w.zone)
	if m.Name == "" || bay.AreaM2 <= 0 || err != nil {
		return
	}
	l.Load, l.Kit, l.Notes = w.s.supplies(in.Job, bay, c.Profile, l.Crew.Size)
	stages := in.Day.Stages
	if l.Call.Outcome != call.Go || len(stages) == 0 {
		return
	}
	hours := w.s.grounds.day(in.Issue, c, in.Date).HourTable(stages[0].From.Truncate(time.Hour), stages[len(stages)-1].To)
	for _, x := range m.Recipe().Card(c.Profile, l.Crew.Size, hours, stages) {
		if x.Stage != "" {
			l.Mix = append(l.Mix, x)
		}
	}
}
