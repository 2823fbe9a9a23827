package scheduler

import (
	"slices"
	"time"

	"laycast/notify"
	"laycast/rules"
	"laycast/rules/load"
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

// provide puts load list and mix card into a letter about a go or a hold.
func (w *work) provide(l *notify.CallLetter, in call.Input, bay rules.Bay) {
	m := w.s.Materials
	c, err := w.s.caseOf(w.book.Firm, in.Job, l.Crew.Size, w.zone)
	if m.Name == "" || bay.AreaM2 <= 0 || err != nil {
		return
	}
	list := m.Bay(in.Job, bay, c.Profile, l.Crew.Size)
	for _, x := range list.Items {
		if slices.ContainsFunc(m.Kit, func(k load.Kit) bool { return k.Item == x.Item }) {
			l.Kit = append(l.Kit, x)
		} else {
			l.Load = append(l.Load, x)
		}
	}
	l.Notes = list.Notes
	stages := in.Day.Stages
	if l.Call.Outcome != call.Go || len(stages) == 0 {
		return
	}
	hours := w.s.grounds.get(in.Issue, in.Job.Job, c.Profile).HourTable(stages[0].From.Truncate(time.Hour), stages[len(stages)-1].To)
	for _, x := range m.Recipe().Card(c.Profile, l.Crew.Size, hours, stages) {
		if x.Stage != "" {
			l.Mix = append(l.Mix, x)
		}
	}
}
