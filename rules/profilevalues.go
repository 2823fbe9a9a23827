package rules

import (
	"strconv"

	"laycast/job"
)

// field is one number of a profile: where it stands in the file, what it may
// be, and where it goes.
type field struct {
	section, key string
	into         *float64
	lo, hi       float64
	unit         string
}

// fields lists the numbers of a profile in the order of its file. The ranges
// are those of sense, not of practice: beyond them a digit has slipped.
func (p *Profile) fields() []field {
	return []field{
		{"day", "set_up", &p.Setup, 0, 240, "min"},
		{"day", "break", &p.Break, 0, 240, "min"},
		{"day", "clear_up", &p.ClearUp, 0, 240, "min"},
		{"day", "night_joint", &p.NightJoint, 0, 240, "min"},
		{"day", "third_hand", &p.ThirdHand, 0, 1, "of a pair's pace"},
		{"day", "slow_median", &p.SlowMedian, 0.2, 5, "times"},
		{"day", "slow_sd", &p.SlowSD, 0, 1, "of the logarithm"},
		{"day", "fit_share", &p.FitShare, 0.5, 0.99, "of members"},
		{"day", "heat_before", &p.HeatBefore, 0, 90, "°C"},
		{"work", "strip", &p.StripRate, 0.5, 500, "m²/h"},
		{"work", "prepare", &p.PrepareRate, 0.5, 500, "m²/h"},
		{"work", "deck", &p.DeckRate, 0.5, 500, "m²/h"},
		{"work", "trim", &p.TrimMin, 0, 120, "min/m"},
		{"work", "outlet", &p.OutletMin, 0, 480, "min"},
		{"work", "primer", &p.PrimerRate, 0.5, 500, "m²/h"},
		{"work", "bandage", &p.BandageMin, 0, 120, "min/m"},
		{"work", "joint", &p.JointPerM2, 0, 20, "m/m²"},
		{"work", "laminate", &p.LaminateRate, 0.5, 500, "m²/h"},
		{"work", "sand", &p.SandRate, 0.5, 500, "m²/h"},
		{"work", "abrade", &p.AbradeRate, 0.5, 500, "m²/h"},
		{"work", "topcoat", &p.TopcoatRate, 0.5, 500, "m²/h"},
		{"cure", "energy", &p.CureE, 0, 200, "kJ/mol"},
		{"cure", "gel", &p.GelMin, 1, 600, "min"},
		{"cure", "gel_at", &p.GelAt, 0, 40, "°C"},
		{"cure", "primed", &p.PrimedAge, 0, 48, "h at 20 °C"},
		{"cure", "sealed", &p.SealedAge, 0, 48, "h at 20 °C"},
		{"cure", "sandable", &p.SandableAge, 0, 96, "h at 20 °C"},
		{"cure", "rainproof", &p.RainproofAge, 0, 96, "h at 20 °C"},
		{"cure", "overcoat", &p.OvercoatHours, 0, 1000, "h"},
		{"cure", "frost_free", &p.FrostHours, 0, 240, "h"},
		{"cure", "slab_age", &p.SlabAgeDays, 0, 1000, "days"},
	}
}

// limitSet is a set of bounds with its name in the file.
type limitSet struct {
	name   string
	bounds *[]Bound
}

// The sets of limits, one for each kind of span, in the order of sets.
const (
	setOpen = iota
	setPrepare
	setPrimer
	setPrimerCure
	setLaminate
	setCure
	setSand
	setTopcoat
	setTopcoatCure
	stageSets
)

// sets gives the bounds of every set, in order.
func (p *Profile) sets() [stageSets]limitSet {
	return [stageSets]limitSet{
		{"strip and deck", &p.Opening}, {"prepare", &p.Preparing}, {"primer", &p.Priming}, {"primer cure", &p.PrimerCure},
		{"laminate", &p.Laminating}, {"cure", &p.Curing}, {"sand", &p.Sanding}, {"topcoat", &p.Topcoating}, {"topcoat cure", &p.TopcoatCure},
	}
}

// bounds gives the bounds of a set.
func (p *Profile) bounds(set int) []Bound {
	switch set {
	case setOpen:
		return p.Opening
	case setPrepare:
		return p.Preparing
	case setPrimer:
		return p.Priming
	case setPrimerCure:
		return p.PrimerCure
	case setLaminate:
		return p.Laminating
	case setCure:
		return p.Curing
	case setSand:
		return p.Sanding
	case setTopcoat:
		return p.Topcoating
	}
	return p.TopcoatCure
}

// LimitSet is the bounds of one kind of span, by name.
type LimitSet struct {
	Name   string
	Bounds []Bound
}

// Sets gives the limits of the profile, by the span in which they hold.
func (p Profile) Sets() []LimitSet {
	var out []LimitSet
	for _, s := range p.sets() {
		out = append(out, LimitSet{s.name, *s.bounds})
	}
	return out
}

// Side says on which side of its value a bound lets a measure be.
func (b Bound) Side() string {
	switch {
	case b.Least && b.Strict:
		return "more than"
	case b.Least:
		return "at least"
	case b.Strict:
		return "less than"
	}
	return "at most"
}

// Value is one effective value of a profile with its source.
type Value struct {
	Key    string // as in the file: "work.strip"
	Value  string // a number, or a time of day
	Unit   string
	Source string
}

// Values gives every value of the profile that is no limit, in the order of
// its file.
func (p Profile) Values() []Value {
	var out []Value
	for _, f := range p.fields() {
		if f.key == "heat_before" {
			out = append(out, p.value("day."+sealedByKey, p.SealedBy.String(), ""))
		}
		out = append(out, p.value(f.section+"."+f.key, strconv.FormatFloat(*f.into, 'g', 6, 64), f.unit))
	}
	return out
}

const sealedByKey = "sealed_by"

func (p Profile) value(key, value, unit string) Value {
	v := Value{Key: key, Value: value, Unit: unit, Source: p.sources[key]}
	if v.Source == "" {
		v.Source = p.Source
	}
	return v
}

// measure is what may be asked of a limit in a file.
type measure struct {
	limit  Limit
	unit   string
	lo, hi float64 // sane bounds
}

// limitMeasures lists the limits that a file may set.
func limitMeasures() []measure {
	return []measure{
		{LimitRain, "mm", 0, 50}, {LimitWind, "m/s", 0, 60}, {LimitGust, "m/s", 0, 80}, {LimitAir, "°C", -40, 60},
		{LimitFrost, "°C", -20, 20}, {LimitDeck, "°C", -40, 90}, {LimitDewMargin, "K", -5, 20}, {LimitRH, "%", 0, 100},
		{LimitDry, "mm", 0, 0},
	}
}

// lastMinute is the latest time of day.
const lastMinute job.TimeOfDay = 24*60 - 1
