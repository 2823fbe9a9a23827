package job

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"unicode/utf8"
)

// Longest texts of a diary, in characters, as long as imported text may be or
// shorter. Ours, no source.
const (
	mostNote = 500
	mostLot  = 60
)

// Check says what is wrong with a report, nil where nothing is.
func (r Report) Check() error {
	switch r.What {
	case Seen, Begun, Sealed, Topcoated:
		if r.Cause != "" || r.Because != "" || r.Tight {
			return errors.New("only stopped has a reason")
		}
	case Halted:
		switch {
		case !slices.Contains(Causes(), r.Cause):
			return errors.New("say why the work stopped: rain, wind, damp, cold, heat, time or something else")
		case r.Cause == ByOthers && r.Because == "":
			return errors.New("say in a few words why the work stopped")
		case utf8.RuneCountInString(r.Because) > mostNote:
			return fmt.Errorf("say it in at most %d characters", mostNote)
		}
	default:
		return errors.New("say what happened: seen, started, sealed, topcoated or stopped")
	}
	return nil
}

// FieldError is what is wrong with one field of a form.
type FieldError struct{ Field, Reason string }

// Error gives both.
func (e FieldError) Error() string { return e.Field + ": " + e.Reason }

// Fields of readings and batches, as forms name them.
const (
	FieldAir      = "air"
	FieldRH       = "rh"
	FieldSurface  = "surface"
	FieldMoisture = "moisture"
	FieldNote     = "note"
	FieldResin    = "resin"
	FieldResinLot = "resin_lot"
	FieldLot      = "lot"
	FieldDose     = "dose"
	FieldArea     = "area"
)

// span bounds what is believed of a reading or a batch: wide enough for any roof
// that is worked on, narrow enough to find a slip of the finger. Ours, no source.
type span struct {
	from, to float64
	unit     string
}

func (s span) check(field string, v float64) []FieldError {
	if math.IsNaN(v) || v < s.from || v > s.to {
		return []FieldError{{field, fmt.Sprintf("give %g to %g %s", s.from, s.to, s.unit)}}
	}
	return nil
}

// Check gives what is wrong with a reading, field by field.
func (r Reading) Check() []FieldError {
	var bad []FieldError
	any, percent := false, span{0, 100, "%"}
	for _, x := range []struct {
		field string
		v     *float64
		in    span
	}{{FieldAir, r.AirC, span{-40, 55, "°C"}}, {FieldRH, r.RHPct, percent}, {FieldSurface, r.SurfaceC, span{-40, 90, "°C"}}, {FieldMoisture, r.MoisturePct, percent}} {
		if x.v != nil {
			any = true
			bad = append(bad, x.in.check(x.field, *x.v)...)
		}
	}
	if !any {
		bad = append(bad, FieldError{FieldSurface, "give at least one number"})
	}
	if utf8.RuneCountInString(r.Note) > mostNote {
		bad = append(bad, FieldError{FieldNote, fmt.Sprintf("at most %d characters", mostNote)})
	}
	return bad
}

// Check gives what is wrong with a batch, field by field.
func (b Batch) Check() []FieldError {
	bad := span{0.05, 200, "kg"}.check(FieldResin, b.ResinKg)
	bad = append(bad, span{0.1, 10, "%"}.check(FieldDose, b.DosePct)...)
	bad = append(bad, span{0, 1000, "m²"}.check(FieldArea, b.AreaM2)...)
	for _, x := range []struct {
		field, text string
		most        int
	}{{FieldLot, b.Lot, mostLot}, {FieldResinLot, b.ResinLot, mostLot}, {FieldNote, b.Note, mostNote}} {
		if utf8.RuneCountInString(x.text) > x.most {
			bad = append(bad, FieldError{x.field, fmt.Sprintf("at most %d characters", x.most)})
		}
	}
	return bad
}
