package job

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Setting is one setting of a firm that may be changed by hand, as text.
type Setting struct {
	Key   string // as in the configuration file: "bounds.go"
	Group string
	Label string // in plain words
	Unit  string // after the value; "" for none
	Kind  SettingKind
	get   func(Firm) string
	set   func(*Firm, string) error
}

// SettingKind says how a setting's text is made up; "" is one plain value.
type SettingKind string

// The kinds of setting.
const (
	KindWeekdays SettingKind = "weekdays" // "mon tue wed"
	KindDates    SettingKind = "dates"    // "2027-07-01 2027-12-25"
	KindMoves    SettingKind = "moves"    // a line a step: days, a tab, the amount
	KindAsk      SettingKind = "ask"      // "strict" or "until-morning"
	KindStandBy  SettingKind = "stand-by" // "yes" or "no"
	KindTimes    SettingKind = "times"    // "09:00 16:00"
	KindWeekly   SettingKind = "weekly"   // "Monday 06:00"
	KindGiveWay  SettingKind = "give way" // percent of the way from the bounds of a go to those of a no-go
)

// Of gives the setting's value at a firm, as it would be typed.
func (s Setting) Of(f Firm) string { return s.get(f) }

// Plain gives a text as the setting would show it, so that two ways to type one value
// are no difference; one that is no value of it stays as typed.
func (s Setting) Plain(f Firm, typed string) string {
	typed = strings.TrimSpace(typed)
	if s.set(&f, typed) != nil {
		return typed
	}
	return s.get(f)
}

// Edits are settings changed by hand: by key, as typed.
type Edits map[string]string

// SettingProblem is one thing wrong with an edit.
type SettingProblem struct{ Key, Reason string }

// With gives the firm with edits applied, save those whose key is locked, and
// everything wrong with them; where something is, the firm is as it was.
//
// Laying limits made by the pages are always in force: their texts were right when
// they were kept, and jobs are laid by them.
func (f Firm) With(e Edits, locked []string) (Firm, []SettingProblem) {
	f.Profiles = e.profiles()
	out := f
	var bad []SettingProblem
	for _, s := range Settings() {
		v, ok := e[s.Key]
		if !ok || slices.Contains(locked, s.Key) {
			continue
		}
		if err := s.set(&out, strings.TrimSpace(v)); err != nil {
			bad = append(bad, SettingProblem{s.Key, err.Error()})
		}
	}
	if len(bad) == 0 {
		bad = append(out.contradictions(), out.untimely(func(key string) bool {
			_, ok := e[key]
			return ok && !slices.Contains(locked, key)
		})...)
	}
	if len(bad) > 0 {
		return f, bad
	}
	return out, nil
}

// profilePrefix begins the keys of edits that are not one setting but a whole
// profile of laying limits.
const profilePrefix = "profile:"

// ProfileKey gives the key of a profile that the pages made.
func ProfileKey(name string) string { return profilePrefix + name }

func (e Edits) profiles() map[string]string {
	out := map[string]string{}
	for k, text := range e {
		if name, ok := strings.CutPrefix(k, profilePrefix); ok {
			out[name] = text
		}
	}
	if len(out) == 0 {
		return nil
	}
	return out
}

// contradictions gives what in a firm's settings cannot be together.
func (f Firm) contradictions() []SettingProblem {
	var bad []SettingProblem
	say := func(wrong bool, key, reason string) {
		if wrong {
			bad = append(bad, SettingProblem{key, reason})
		}
	}
	say(f.Work.To <= f.Work.From, "work.to", "work would end before it begins")
	say(f.Notice > f.TellAhead, "notice", "a date would be frozen before it is told; make it smaller")
	say(f.Bounds.Go <= 0, "bounds.go", "0 would call go in any weather")
	say(f.Bounds.NoGo > f.Bounds.Go, "bounds.no_go", "it is above the chance for a go; make it smaller")
	say(f.Bounds.NoGoRain < f.Bounds.GoRainOpen, "bounds.no_go_rain", "it is below the risk that a go allows; make it larger")
	return bad
}

// The groups of settings.
const (
	groupTimes   = "Times of day"
	groupTelling = "Telling customers"
	groupBounds  = "What makes a call"
	groupWork    = "Work"
	groupCosts   = "Costs"
)

// Settings gives every setting that may be changed by hand, group by group.
func Settings() []Setting {
	return slices.Concat(workSettings(), timeSettings(), tellingSettings(), boundSettings(), costSettings())
}

func workSettings() []Setting {
	return []Setting{
		{"firm.phone", groupWork, "Telephone that crews ring", "", "", func(f Firm) string { return f.Phone }, func(f *Firm, v string) error {
			if len(v) > 40 || strings.ContainsFunc(v, unicode.IsControl) {
				return errors.New("give at most 40 characters")
			}
			f.Phone = v
			return nil
		}},
		clockSetting("work.from", "Work begins", func(f *Firm) *TimeOfDay { return &f.Work.From }),
		clockSetting("work.to", "Work ends", func(f *Firm) *TimeOfDay { return &f.Work.To }),
		{"work.days", groupWork, "Working days", "", KindWeekdays, func(f Firm) string { return weekdayNames(f.Work.Days) }, setWeekdays},
		{"work.off", groupWork, "Days on which nobody works", "", KindDates, func(f Firm) string { return dateWords(f.Work.Off) }, setDaysOff},
	}
}

func tellingSettings() []Setting {
	return []Setting{
		wholeSetting("tell_ahead", "A date is told at most so long ahead", func(f *Firm) *int { return &f.TellAhead }),
		wholeSetting("notice", "Nearer than this a told date is not moved, save by a no-go", func(f *Firm) *int { return &f.Notice }),
		percentSetting("bounds.tell", groupTelling, "Least chance at which a day is told", func(f *Firm) *float64 { return &f.Bounds.Tell }),
		choiceSetting("ask_before_move", "A new date is told without your yes", KindAsk, "strict", "until-morning", func(f *Firm) *bool { return &f.AskStrict }),
		choiceSetting("stand_by", "A customer who was told no day is asked to stand by", KindStandBy, "yes", "no", func(f *Firm) *bool { return &f.StandBy }),
	}
}

func boundSettings() []Setting {
	return []Setting{
		percentSetting("bounds.go", groupBounds, "Go: least chance of a sealed roof", func(f *Firm) *float64 { return &f.Bounds.Go }),
		percentSetting("bounds.go_rain_open", groupBounds, "Go: most risk of rain while the roof is open", func(f *Firm) *float64 { return &f.Bounds.GoRainOpen }),
		percentSetting("bounds.no_go", groupBounds, "No-go: below this chance", func(f *Firm) *float64 { return &f.Bounds.NoGo }),
		percentSetting("bounds.no_go_rain", groupBounds, "No-go: above this risk of rain", func(f *Firm) *float64 { return &f.Bounds.NoGoRain }),
		afterHoldSetting(),
	}
}

func afterHoldSetting() Setting {
	x := percentSetting("bounds.after_hold", groupBounds, "Morning after a hold: how far a go gives way", func(f *Firm) *float64 { return &f.Bounds.AfterHold })
	x.Kind = KindGiveWay
	return x
}

func costSettings() []Setting {
	return []Setting{
		{"costs.currency", groupCosts, "Currency", "", "", func(f Firm) string { return f.Costs.Currency }, func(f *Firm, v string) error {
			if len(v) != 3 || strings.Trim(v, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
				return errors.New("give three capital letters such as EUR")
			}
			f.Costs.Currency = v
			return nil
		}},
		{"costs.move", groupCosts, "Moving a told date", "money", KindMoves, func(f Firm) string { return moveLines(f.Costs.Move) }, setMoves},
		moneySetting("costs.return_cost", "Coming back for the topcoat", func(f *Firm) *Money { return &f.Costs.ReturnCost }),
		moneySetting("costs.short_notice", "Moving a date to within two days, on top", func(f *Firm) *Money { return &f.Costs.ShortNotice }),
		moneySetting("costs.week_late", "A week late, for jobs that name no figure", func(f *Firm) *Money { return &f.Costs.WeekLate }),
		moneySetting("costs.km", "A kilometre of road", func(f *Firm) *Money { return &f.Costs.Km }),
		{"costs.pair_km", groupCosts, "Two half-day jobs of one crew lie at most so far apart", "km", "", func(f Firm) string { return strconv.FormatFloat(f.Costs.PairKm, 'g', 6, 64) }, func(f *Firm, v string) error {
			x, err := strconv.ParseFloat(v, 64)
			if err != nil || !(x >= 0 && x <= 1000) {
				return errors.New("give a number of kilometres from 0 to 1000")
			}
			f.Costs.PairKm = x
			return nil
		}},
		percentSetting("costs.later_share", groupCosts, "What a job left for later is still worth", func(f *Firm) *float64 { return &f.Costs.LaterShare }),
	}
}

func clockSetting(key, label string, of func(*Firm) *TimeOfDay) Setting {
	return Setting{key, groupWork, label, "", "", func(f Firm) string { return of(&f).String() }, func(f *Firm, v string) error {
		t, err := ParseTimeOfDay(v)
		if err != nil {
			return errors.New("write a time of day such as 07:30")
		}
		*of(f) = t
		return nil
	}}
}

func wholeSetting(key, label string, of func(*Firm) *int) Setting {
	const most = 14
	return Setting{key, groupTelling, label, "days", "", func(f Firm) string { return strconv.Itoa(*of(&f)) }, func(f *Firm, v string) error {
		n, err := strconv.Atoi(v)
		if err != nil || n < 0 || n > most {
			return fmt.Errorf("give a whole number from 0 to %d", most)
		}
		*of(f) = n
		return nil
	}}
}

// choiceSetting is one of two words about telling.
func choiceSetting(key, label string, kind SettingKind, yes, no string, of func(*Firm) *bool) Setting {
	return Setting{key, groupTelling, label, "", kind, func(f Firm) string {
		if *of(&f) {
			return yes
		}
		return no
	}, func(f *Firm, v string) error {
		if v != yes && v != no {
			return errors.New("choose one of the two")
		}
		*of(f) = v == yes
		return nil
	}}
}

// percentSetting is a share, typed in percent.
func percentSetting(key, group, label string, of func(*Firm) *float64) Setting {
	return Setting{key, group, label, "%", "", func(f Firm) string { return strconv.FormatFloat(*of(&f)*100, 'g', 6, 64) }, func(f *Firm, v string) error {
		x, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(v, "%")), 64)
		if err != nil || !(x >= 0 && x <= 100) {
			return errors.New("give a number from 0 to 100")
		}
		*of(f) = x / 100
		return nil
	}}
}

func moneySetting(key, label string, of func(*Firm) *Money) Setting {
	return Setting{key, groupCosts, label, "money", "", func(f Firm) string { return of(&f).String() }, func(f *Firm, v string) error {
		m, err := ParseMoney(v)
		if err != nil || m < 0 {
			return errors.New("give an amount of 0 or more, such as 12.50")
		}
		*of(f) = m
		return nil
	}}
}
