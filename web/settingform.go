package web

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/notify"
)

// settingRow is one setting of the form.
type settingRow struct {
	Key, Label, Value, Unit, Hint, Wrong string
	Shown                                string // in words, where it is not to be changed
	Now                                  string // in force, where something else was typed meanwhile
	Locked                               bool   // set by the configuration file
	Choice                               []choice
	Ticks                                []choice // any number of them
	Steps                                []moveStep
	Size                                 int  // of the field, in characters
	Long                                 bool // more than a line
}

// moveStep is one step of what moving a told date costs.
type moveStep struct{ N, Days, Cost string }

// settingRow makes the row of a setting. stale says that it is shown because the
// settings are not as they were when it was typed.
func (s *site) settingRow(x job.Setting, f job.Firm, typed job.Edits, wrong []job.SettingProblem, stale bool) settingRow {
	row := settingRow{Size: 10, Key: x.Key, Label: x.Label, Value: x.Of(f), Unit: x.Unit, Locked: slices.Contains(s.Locked, x.Key), Hint: settingHint(x, f)}
	if row.Unit == "money" {
		row.Unit = f.Costs.Currency
	}
	row.Shown = strings.TrimSpace(cmp.Or(settingWords(x, row.Value, f), "not set"))
	if t, ok := typed[x.Key]; ok {
		if stale && x.Plain(f, t) != row.Value {
			row.Now = row.Shown
		}
		row.Value = t
	}
	for _, b := range wrong {
		if b.Key == x.Key {
			row.Wrong = notify.Sentence(b.Reason)
		}
	}
	switch x.Kind {
	case job.KindAsk:
		for _, v := range []string{"until-morning", "strict"} {
			row.Choice = append(row.Choice, choice{v, settingWords(x, v, f), row.Value == v})
		}
	case job.KindStandBy:
		for _, v := range []string{"yes", "no"} {
			row.Choice = append(row.Choice, choice{v, settingWords(x, v, f), row.Value == v})
		}
	case job.KindWeekdays:
		on := strings.Fields(row.Value)
		for d := time.Monday; d <= time.Saturday+1; d++ {
			name := (d % 7).String()
			short := strings.ToLower(name[:3])
			row.Ticks = append(row.Ticks, choice{short, name, slices.Contains(on, short)})
		}
	case job.KindMoves:
		row.Steps = moveSteps(row.Value)
	case job.KindTimes, job.KindWeekly:
		row.Size = 16
	case job.KindDates:
		row.Long = true
	}
	return row
}

// settingHint says how a setting is typed.
func settingHint(x job.Setting, f job.Firm) string {
	switch x.Kind {
	case job.KindGiveWay:
		m := f.Bounds.Morning()
		return fmt.Sprintf("0: not at all; 100: all the way to the no-go. As it is, a go asks for %.0f %% then and allows %.0f %% risk of rain.", m.Go*100, m.GoRainOpen*100)
	case job.KindDates:
		return "dates such as 2027-12-24 2027-12-27"
	case job.KindTimes:
		return "one or more, with the same minutes: 09:00 16:00"
	case job.KindWeekly:
		return "a weekday and a time of day"
	case job.KindMoves:
		return "The nearer the date, the dearer; the last step holds for all that is farther. A step with both fields empty goes."
	}
	return ""
}

// settingWords says a setting's text in words, with its unit.
func settingWords(x job.Setting, v string, f job.Firm) string {
	switch {
	case v == "":
		return ""
	case x.Kind == job.KindAsk && v == "strict":
		return "never"
	case x.Kind == job.KindAsk:
		return "in the morning, if you say nothing"
	case x.Kind == job.KindStandBy && v == "no":
		return "no"
	case x.Kind == job.KindStandBy:
		return "when the evening is not sure"
	case x.Kind == job.KindMoves:
		var parts []string
		for _, m := range moveSteps(v) {
			if m.Days+m.Cost != "" {
				parts = append(parts, fmt.Sprintf("up to %s days ahead %s %s", m.Days, m.Cost, f.Costs.Currency))
			}
		}
		return notify.Clean(strings.Join(parts, ", "))
	case x.Unit == "money":
		return notify.Clean(v) + " " + f.Costs.Currency
	case x.Unit != "":
		return notify.Clean(v) + " " + x.Unit
	}
	return notify.Clean(v)
}

// mostSteps bounds the steps of a form; what is more is no step of ours.
const mostSteps = 20

// moveSteps gives the steps of a text, and an empty one to add another.
func moveSteps(text string) []moveStep {
	var steps []moveStep
	for _, line := range strings.Split(text, "\n") {
		days, cost, _ := strings.Cut(line, "\t")
		if line != "" {
			steps = append(steps, moveStep{fmt.Sprint(len(steps) + 1), days, cost})
		}
	}
	return append(steps, moveStep{N: fmt.Sprint(len(steps) + 1)})
}

// typedSettings gives what a form says of settings that may be changed, as typed.
func typedSettings(form url.Values, locked []string) job.Edits {
	typed := job.Edits{}
	for _, x := range job.Settings() {
		if slices.Contains(locked, x.Key) {
			continue
		}
		switch {
		case x.Kind == job.KindMoves && form.Has(x.Key+".days"):
			typed[x.Key] = typedSteps(form[x.Key+".days"], form[x.Key+".cost"])
		case form.Has(x.Key): // ticks have one empty value beside them, for none to be ticked
			typed[x.Key] = strings.TrimSpace(strings.Join(form[x.Key], " "))
		}
	}
	return typed
}

func typedSteps(days, costs []string) string {
	var lines []string
	for i := range min(len(days), len(costs), mostSteps) {
		d, c := strings.TrimSpace(notify.Clean(days[i])), strings.TrimSpace(notify.Clean(costs[i]))
		if d+c != "" {
			lines = append(lines, d+"\t"+c)
		}
	}
	return strings.Join(lines, "\n")
}
