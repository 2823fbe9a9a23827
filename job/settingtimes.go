package job

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// CronTimes reads a cron expression that names some times of a day, on every day or
// on one weekday, as the pages write them; false for any other.
func CronTimes(expr string) (times []TimeOfDay, on time.Weekday, daily, ok bool) {
	f := strings.Fields(expr)
	if len(f) != 5 || f[2] != "*" || f[3] != "*" {
		return nil, 0, false, false
	}
	minute, err := strconv.Atoi(f[0])
	if err != nil || minute < 0 || minute > 59 {
		return nil, 0, false, false
	}
	for _, h := range strings.Split(f[1], ",") {
		hour, err := strconv.Atoi(h)
		if err != nil || hour < 0 || hour > 23 {
			return nil, 0, false, false
		}
		times = append(times, TimeOfDay(hour*60+minute))
	}
	slices.Sort(times)
	if f[4] == "*" {
		return times, 0, true, true
	}
	d, err := strconv.Atoi(f[4])
	if err != nil || d < 0 || d > 7 {
		return nil, 0, false, false
	}
	return times, time.Weekday(d % 7), false, true
}

// cronWords says an expression in the words in which it is typed; one that has none
// stays as it is.
func cronWords(expr string) string {
	times, on, daily, ok := CronTimes(expr)
	if !ok {
		return expr
	}
	var words []string
	if !daily {
		words = append(words, on.String())
	}
	for _, t := range times {
		words = append(words, t.String())
	}
	return strings.Join(words, " ")
}

// cronOf gives the expression of times of a day that have one minute in common.
func cronOf(times []TimeOfDay, weekday string) string {
	hours := make([]string, len(times))
	for i, t := range times {
		hours[i] = strconv.Itoa(int(t) / 60)
	}
	return fmt.Sprintf("%d %s * * %s", int(times[0])%60, strings.Join(hours, ","), weekday)
}

// timeOf reads a time of day at which something is done. The hours in which the
// clock is changed are left out: in spring they are skipped, in autumn they come
// twice.
func timeOf(v string) (TimeOfDay, error) {
	t, err := ParseTimeOfDay(v)
	switch {
	case err != nil:
		return 0, errors.New("write a time of day such as 18:00")
	case t >= 60 && t < 180:
		return 0, errors.New("between 01:00 and 02:59 the clock is changed twice a year; choose another hour")
	}
	return t, nil
}

// timeSettings are the times of the day's work, in the order in which they come.
func timeSettings() []Setting {
	return []Setting{
		dailySetting("times.evening_fetch", "Weather is fetched for the evening call", func(f *Firm) *string { return &f.Times.EveningFetch }),
		callSetting(),
		dailySetting("times.absence", "Was every crew told? If not, you hear", func(f *Firm) *string { return &f.Times.Absence }),
		dailySetting("times.close", "Today's roofs are closed: laid or not", func(f *Firm) *string { return &f.Times.Close }),
		dailySetting("times.unseen", "You hear which crews have not seen their call", func(f *Firm) *string { return &f.Times.Unseen }),
		dailySetting("times.morning_fetch", "Weather is fetched for the second look", func(f *Firm) *string { return &f.Times.MorningFetch }),
		dailySetting("times.second_look", "Second look at today", func(f *Firm) *string { return &f.Times.SecondLook }),
		{"times.tell", groupTimes, "Customers are told their dates", "", KindTimes, func(f Firm) string { return cronWords(f.Times.Tell) }, setTell},
		{"times.week_mail", groupTimes, "Your week by mail", "", KindWeekly, func(f Firm) string { return cronWords(f.Times.WeekMail) }, setWeekMail},
	}
}

func dailySetting(key, label string, of func(*Firm) *string) Setting {
	return Setting{key, groupTimes, label, "", "", func(f Firm) string { return cronWords(*of(&f)) }, func(f *Firm, v string) error {
		t, err := timeOf(v)
		if err != nil {
			return err
		}
		*of(f) = cronOf([]TimeOfDay{t}, "*")
		return nil
	}}
}

// callSetting is the evening call: in the afternoon or evening, and in time for those
// who go to bed. From 23:00 on it counts as missed.
func callSetting() Setting {
	const first, last = 12 * 60, 22*60 + 30
	s := dailySetting("times.call", "Evening call for tomorrow", func(f *Firm) *string { return &f.Times.Call })
	daily := s.set
	s.set = func(f *Firm, v string) error {
		if t, err := timeOf(v); err == nil && (t < first || t > last) {
			return fmt.Errorf("choose a time from %s to %s: later, crews are asleep", TimeOfDay(first), TimeOfDay(last))
		}
		return daily(f, v)
	}
	return s
}

func setTell(f *Firm, v string) error {
	var times []TimeOfDay
	for _, w := range strings.FieldsFunc(v, divides) {
		t, err := timeOf(w)
		if err != nil {
			return err
		}
		if len(times) > 0 && t%60 != times[0]%60 {
			return errors.New("give times with the same minutes, such as 09:00 16:00")
		}
		times = append(times, t)
	}
	slices.Sort(times)
	times = slices.Compact(times)
	if len(times) == 0 {
		return errors.New("give at least one time of day, such as 09:00 16:00")
	}
	f.Times.Tell = cronOf(times, "*")
	return nil
}

func setWeekMail(f *Firm, v string) error {
	day, clock, _ := strings.Cut(v, " ")
	t, err := timeOf(strings.TrimSpace(clock))
	on := slices.IndexFunc(weekdays(), func(d time.Weekday) bool {
		return strings.EqualFold(d.String(), day) || strings.EqualFold(weekdayNames([]time.Weekday{d}), day)
	})
	if err != nil || on < 0 {
		return errors.New("write a weekday and a time of day, such as Monday 06:00")
	}
	f.Times.WeekMail = cronOf([]TimeOfDay{t}, strconv.Itoa(int(weekdays()[on])))
	return nil
}

// divides reports whether a rune stands between the parts of a list.
func divides(r rune) bool {
	return r == ' ' || r == ',' || r == ';' || r == '\n' || r == '\r' || r == '\t'
}

// freshFor is how long after its fetch weather is good enough for a go: 3 hours.
const freshFor = 180

// turn is two times of a day in the order in which they have to come.
type turn struct {
	first, then     string // keys
	is, was         string // what is done, in words
	a, b            TimeOfDay
	known           bool // both are plain times of day
	touch, farthest int  // least and most minutes between
}

// untimely gives the times of a firm that stand in the wrong order, as far as the
// pages made one of the two: the configuration file may say what it likes. edited
// tells the keys that the pages made.
func (f Firm) untimely(edited func(key string) bool) []SettingProblem {
	var bad []SettingProblem
	for _, x := range f.turns() {
		gap := int(x.b - x.a)
		key := x.then
		if !edited(key) {
			key = x.first
		}
		switch {
		case !x.known || !edited(key):
		case gap < x.touch:
			bad = append(bad, SettingProblem{key, fmt.Sprintf("%s (%s) has to come before %s (%s)", x.is, x.a, x.was, x.b)})
		case gap > x.farthest:
			bad = append(bad, SettingProblem{key, fmt.Sprintf("%s (%s) has to come at most %d hours before %s (%s): older weather is never a go", x.is, x.a, freshFor/60, x.was, x.b)})
		}
	}
	return bad
}

func (f Firm) turns() []turn {
	const any = 24 * 60
	of := func(expr string) (TimeOfDay, bool) {
		times, _, _, ok := CronTimes(expr)
		if !ok || len(times) != 1 {
			return 0, false
		}
		return times[0], true
	}
	evening, ok1 := of(f.Times.EveningFetch)
	call, ok2 := of(f.Times.Call)
	absence, ok3 := of(f.Times.Absence)
	unseen, ok4 := of(f.Times.Unseen)
	morning, ok5 := of(f.Times.MorningFetch)
	look, ok6 := of(f.Times.SecondLook)
	closed, ok7 := of(f.Times.Close)
	return []turn{
		{"times.evening_fetch", "times.call", "the fetch", "the evening call", evening, call, ok1 && ok2, 1, freshFor},
		{"times.call", "times.absence", "the evening call", "the question whether every crew was told", call, absence, ok2 && ok3, 1, any},
		{"times.call", "times.unseen", "the evening call", "the word on crews that have not seen it", call, unseen, ok2 && ok4, 1, any},
		{"times.morning_fetch", "times.second_look", "the fetch", "the second look", morning, look, ok5 && ok6, 1, freshFor},
		{"times.second_look", "work.from", "the second look", "the beginning of work", look, f.Work.From, ok6, 1, any},
		{"work.to", "times.close", "the end of work", "the closing of the day", f.Work.To, closed, ok7, 0, any},
	}
}

// weekdays are the days of a week as people count them.
func weekdays() []time.Weekday {
	return []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday, time.Sunday}
}

// weekdayNames gives days as the configuration file writes them: "mon tue wed".
func weekdayNames(days []time.Weekday) string {
	var names []string
	for _, d := range weekdays() {
		if slices.Contains(days, d) {
			names = append(names, strings.ToLower(d.String()[:3]))
		}
	}
	return strings.Join(names, " ")
}

func setWeekdays(f *Firm, v string) error {
	var days []time.Weekday
	for _, w := range strings.FieldsFunc(v, divides) {
		i := slices.IndexFunc(weekdays(), func(d time.Weekday) bool { return weekdayNames([]time.Weekday{d}) == strings.ToLower(w) })
		if i < 0 {
			return errors.New("give weekdays as mon tue wed thu fri sat sun")
		}
		if d := weekdays()[i]; !slices.Contains(days, d) {
			days = append(days, d)
		}
	}
	if len(days) == 0 {
		return errors.New("nobody would ever work; choose at least one day")
	}
	f.Work.Days = days
	return nil
}

// mostOff is the most days off that the pages keep: some years of feasts.
const mostOff = 200

func dateWords(days []Date) string {
	words := make([]string, len(days))
	for i, d := range days {
		words[i] = d.String()
	}
	return strings.Join(words, " ")
}

func setDaysOff(f *Firm, v string) error {
	var days []Date
	for _, w := range strings.FieldsFunc(v, divides) {
		d, err := ParseDate(w)
		if err != nil {
			return fmt.Errorf("%q is not a date; write dates such as 2027-12-24 2027-12-27", short(w))
		}
		days = append(days, d)
	}
	slices.SortFunc(days, Date.Compare)
	days = slices.Compact(days)
	if len(days) > mostOff {
		return fmt.Errorf("that is more than %d days; leave out those that are past", mostOff)
	}
	f.Work.Off = days
	return nil
}

// moveLines gives what moving a told date costs, a line a step: days, a tab, the
// amount.
func moveLines(steps []MoveTier) string {
	lines := make([]string, len(steps))
	for i, m := range steps {
		lines[i] = fmt.Sprintf("%d\t%s", m.Days, m.Cost)
	}
	return strings.Join(lines, "\n")
}

func setMoves(f *Firm, v string) error {
	const mostSteps, mostDays = 12, 999
	var steps []MoveTier
	for _, line := range strings.Split(v, "\n") {
		ahead, amount, _ := strings.Cut(line, "\t")
		ahead, amount = strings.TrimSpace(ahead), strings.TrimSpace(amount)
		if ahead == "" && amount == "" {
			continue
		}
		days, err := strconv.Atoi(ahead)
		cost, wrong := ParseMoney(amount)
		switch {
		case err != nil || days < 0 || days > mostDays:
			return fmt.Errorf("%q is not a number of days from 0 to %d", short(ahead), mostDays)
		case wrong != nil || cost < 0:
			return fmt.Errorf("%q for %d days is not an amount; give 0 or more, such as 12.50", short(amount), days)
		case len(steps) > 0 && days <= steps[len(steps)-1].Days:
			return fmt.Errorf("%d days come after %d; put the shortest notice first", days, steps[len(steps)-1].Days)
		}
		steps = append(steps, MoveTier{Days: days, Cost: cost})
	}
	switch {
	case len(steps) == 0:
		return errors.New("give at least one step: so many days ahead, and what a move then costs")
	case len(steps) > mostSteps:
		return fmt.Errorf("give at most %d steps", mostSteps)
	}
	f.Costs.Move = steps
	return nil
}

// short cuts a value for a message.
func short(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
