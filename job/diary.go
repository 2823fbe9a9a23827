package job

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"
)

// Entry is what every line of the diary of a visit bears. Lines are only ever
// added: a correction is a line of its own.
type Entry struct {
	ID   string `json:"id"`   // the same id is the same line, however often it is sent; see EntryID
	Job  string `json:"job"`  // its id
	N    int    `json:"n"`    // of the visit
	Date Date   `json:"date"` // the day of the visit it is about
	Crew string `json:"crew"` // id
	By   string `json:"by"`   // who noted it: "crew", or the office by name

	At    time.Time `json:"at"`    // when it was so
	Noted time.Time `json:"noted"` // when it was noted; what was noted later counts
}

// What is what a crew says of its day.
type What string

// What a crew may say.
const (
	Seen      What = "seen"      // the call was read
	Begun     What = "started"   // work began: a roof that is opened is open from then on
	Sealed    What = "sealed"    // the day's bay is laid and tack-free: the building is sealed
	Topcoated What = "topcoated" // and its topcoat is on; of a visit for the topcoat alone, that it is on
	Halted    What = "stopped"   // the work ended before that
)

// Cause is why a crew stopped.
type Cause string

// The causes.
const (
	ByRain   Cause = "rain"
	ByWind   Cause = "wind"
	ByDamp   Cause = "damp" // dew, a wet deck, humid air
	ByCold   Cause = "cold"
	ByHeat   Cause = "heat"
	ByTime   Cause = "time"  // the day ran out
	ByOthers Cause = "other" // not the weather: people, material, what was found under the roof
)

// Causes gives all causes.
func Causes() []Cause { return []Cause{ByRain, ByWind, ByDamp, ByCold, ByHeat, ByTime, ByOthers} }

// Weather reports whether it was the weather.
func (c Cause) Weather() bool {
	return c == ByRain || c == ByWind || c == ByDamp || c == ByCold || c == ByHeat
}

// Report is what a crew says of its day.
type Report struct {
	Entry
	What    What   `json:"what"`
	Cause   Cause  `json:"cause,omitempty"`   // why stopped
	Because string `json:"because,omitempty"` // and in words
	// Tight, with Halted: the bay is laid and sealed all the same, only what was
	// to follow is left.
	Tight bool `json:"tight,omitempty"`
}

// Reading is what a crew measured on the roof. What was not measured is nil.
type Reading struct {
	Entry
	AirC        *float64 `json:"air_c,omitempty"`        // °C
	RHPct       *float64 `json:"rh_pct,omitempty"`       // %, relative humidity of the air
	SurfaceC    *float64 `json:"surface_c,omitempty"`    // °C of the deck
	MoisturePct *float64 `json:"moisture_pct,omitempty"` // %, of the deck, as its meter reads
	Note        string   `json:"note,omitempty"`
}

// Batch is one bucket that was mixed and laid.
type Batch struct {
	Entry
	Topcoat  bool    `json:"topcoat"`           // topcoat; else laminating resin
	ResinKg  float64 `json:"resin_kg"`          // kg of resin or topcoat, without the catalyst
	ResinLot string  `json:"resin_lot"`         // as its tin says
	Lot      string  `json:"lot"`               // of the catalyst
	DosePct  float64 `json:"dose_pct"`          // % of catalyst by mass of resin
	AreaM2   float64 `json:"area_m2,omitempty"` // that it went over; 0: not noted
	Note     string  `json:"note,omitempty"`
}

// EntryID names a line by what it says and by how many lines its writer had
// seen: sending the same form twice is the same line, saying the same once more
// later is not.
func EntryID(parts ...string) string {
	sum := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(sum, "%d:%s|", len(p), p)
	}
	return hex.EncodeToString(sum.Sum(nil)[:16])
}

// Anchor names the place of a job's day on its crew's page.
func Anchor(id string, d Date) string { return "d" + EntryID(id, d.String())[:10] }

// Diary is what crews noted, oldest first as it was noted.
type Diary struct {
	Reports  []Report  `json:"reports"`
	Readings []Reading `json:"readings"`
	Batches  []Batch   `json:"batches"`
}

// Len counts the lines.
func (d Diary) Len() int { return len(d.Reports) + len(d.Readings) + len(d.Batches) }

// Entries gives what every line bears: reports, readings, batches.
func (d Diary) Entries() []Entry {
	out := make([]Entry, 0, d.Len())
	for _, r := range d.Reports {
		out = append(out, r.Entry)
	}
	for _, r := range d.Readings {
		out = append(out, r.Entry)
	}
	for _, b := range d.Batches {
		out = append(out, b.Entry)
	}
	return out
}

// Of gives the lines about one job on one day; a zero date: on all its days.
func (d Diary) Of(id string, on Date) Diary {
	var out Diary
	is := func(e Entry) bool { return e.Job == id && (on.IsZero() || e.Date == on) }
	for _, r := range d.Reports {
		if is(r.Entry) {
			out.Reports = append(out.Reports, r)
		}
	}
	for _, r := range d.Readings {
		if is(r.Entry) {
			out.Readings = append(out.Readings, r)
		}
	}
	for _, b := range d.Batches {
		if is(b.Entry) {
			out.Batches = append(out.Batches, b)
		}
	}
	return out
}

// Word is what a crew's reports of one day come to: the later word counts.
type Word struct {
	Seen                                       bool
	Begun, Sealed, Coated, Halted              bool
	BegunAt, SealedAt, CoatedAt, HaltedAt, Saw time.Time // when; Saw: seen
	Cause                                      Cause
	Because                                    string
}

// Open reports whether the crew began and has not said that it ended.
func (w Word) Open() bool { return w.Begun && !w.Sealed && !w.Halted }

// Ended reports whether the crew said how its work ended.
func (w Word) Ended() bool { return w.Sealed || w.Halted }

// Said reports whether the crew said anything of its work.
func (w Word) Said() bool { return w.Begun || w.Sealed || w.Halted }

// Word gives what the crew says of a job on a day.
func (d Diary) Word(id string, on Date) Word {
	var w Word
	for _, r := range d.Reports {
		if r.Job != id || r.Date != on {
			continue
		}
		switch r.What {
		case Seen:
			w.Seen, w.Saw = true, r.At
		case Begun: // also: at work again, whatever was said meanwhile
			w.Begun, w.Sealed, w.Coated, w.Halted = true, false, false, false
			if w.BegunAt.IsZero() {
				w.BegunAt = r.At
			}
		case Sealed:
			w.Begun, w.Sealed, w.Coated, w.Halted = true, true, false, false
			w.SealedAt = r.At
		case Topcoated:
			if !w.Sealed {
				w.SealedAt = time.Time{} // nobody said when
			}
			w.Begun, w.Sealed, w.Coated, w.Halted = true, true, true, false
			w.CoatedAt = r.At
		case Halted:
			if !r.Tight || !w.Sealed {
				w.SealedAt = time.Time{}
			}
			w.Sealed, w.Coated, w.Halted = r.Tight, r.Tight && w.Coated, true
			w.HaltedAt, w.Cause, w.Because = r.At, r.Cause, r.Because
		}
	}
	return w
}

// Closing is how the last closed day of a job was closed, and what stood before
// it, so that a crew's late word can still change it.
type Closing struct {
	Day      Date    `json:"day"`
	Visit    Visit   `json:"visit"` // before the day was closed
	LaidM2   float64 `json:"laid_m2"`
	CoatedM2 float64 `json:"coated_m2"`
	SealedOn Date    `json:"sealed_on"`
	Sealed   bool    `json:"sealed"` // how it was closed
	Coated   bool    `json:"coated"`
}
