package aslaid

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"laycast/job"
)

// Day is what a record is about: one job on one day. It names no customer and no
// address: what names people stays where it can be erased.
type Day struct {
	Firm    string    `json:"firm"` // its name
	Visit   int       `json:"visit"`
	Crew    string    `json:"crew"` // its name
	Hands   int       `json:"hands"`
	Task    string    `json:"task"` // lay, or coat: the topcoat over what was laid before
	Work    string    `json:"work"`
	Deck    string    `json:"deck"`
	RoofM2  float64   `json:"roof_m2"`
	AreaM2  float64   `json:"area_m2"` // of the day's bay
	Profile string    `json:"profile"` // of limits
	Outcome string    `json:"outcome"` // laid, laid and topcoated, topcoated, not laid, not known
	SaidBy  string    `json:"said_by"` // who says so: the crew, or the weather's past rows
	Source  string    `json:"source"`  // of the weather
	Closed  time.Time `json:"closed"`  // when the record was closed
}

// Call is one decision about the day.
type Call struct {
	Occasion string    `json:"occasion"`
	Outcome  string    `json:"outcome"`
	Made     time.Time `json:"made"`
	By       string    `json:"by"`
	Chance   *float64  `json:"chance"` // that it is sealed; null: not known
	RainOpen *float64  `json:"p_rain_open"`
	Reasons  []string  `json:"reasons"`
}

// Hour is one hour of the weather: a model's past row at the site, not measured
// there, and the deck worked out from it. Nulls are not known.
type Hour struct {
	At       time.Time `json:"at"`
	AirC     *float64  `json:"air_c"`
	DewC     *float64  `json:"dew_c"`
	RHPct    *float64  `json:"rh_pct"`
	SurfaceC *float64  `json:"surface_c"`
	MarginK  *float64  `json:"dew_margin_k"`
	RainMM   *float64  `json:"rain_mm"`
	WindMs   *float64  `json:"wind_ms"`
	GustMs   *float64  `json:"gust_ms"`
}

// Reading is what was measured on site, and how far it lies from the model's hour
// (measured minus modelled).
type Reading struct {
	job.Reading
	DewC     *float64 `json:"dew_c"` // from air and humidity as measured
	MarginK  *float64 `json:"dew_margin_k"`
	OffAirK  *float64 `json:"off_air_k"`
	OffDewK  *float64 `json:"off_dew_k"`
	OffDeckK *float64 `json:"off_surface_k"`
}

// Use is what was mixed against what was planned, kg/m².
type Use struct {
	ResinKg     float64 `json:"resin_kg"`
	ResinPlan   float64 `json:"resin_plan_kg_m2"`
	ResinPerM2  float64 `json:"resin_kg_m2"` // over the day's bay
	TopcoatKg   float64 `json:"topcoat_kg"`
	TopcoatPlan float64 `json:"topcoat_plan_kg_m2"`
	TopcoatPer  float64 `json:"topcoat_kg_m2"`
}

// Photo is a picture of the day: one that is kept, by its hash, or a link.
type Photo struct {
	ID   string    `json:"id"`             // SHA-256 of its bytes, hexadecimal; of a link's text where it is one
	Link string    `json:"link,omitempty"` // https address
	By   string    `json:"by"`
	At   time.Time `json:"at"`
	Note string    `json:"note,omitempty"`
}

// Record is one day's record.
type Record struct {
	Job      string       `json:"job"`
	Date     job.Date     `json:"date"`
	Day      Day          `json:"day"`
	Calls    []Call       `json:"calls"`
	Reports  []job.Report `json:"reports"`
	Hours    []Hour       `json:"hours"`
	Readings []Reading    `json:"readings"`
	Batches  []job.Batch  `json:"batches"`
	Photos   []Photo      `json:"photos"`
	Use      Use          `json:"use"`
	First    int64        `json:"first_row"` // of the chain
	Last     int64        `json:"last_row"`
	Hash     string       `json:"hash"` // of the last row; "" where it is not closed
}

// Rows takes a record apart into rows that are not linked yet.
func (r Record) Rows() ([]Row, error) {
	var out []Row
	add := func(k Kind, v any) error {
		body, err := Canonical(v)
		if err != nil {
			return err
		}
		out = append(out, Row{Job: r.Job, Date: r.Date, Kind: k, Body: body})
		return nil
	}
	err := add(KindDay, r.Day)
	err = each(err, r.Calls, func(x Call) error { return add(KindCall, x) })
	err = each(err, r.Reports, func(x job.Report) error { return add(KindReport, x) })
	err = each(err, r.Hours, func(x Hour) error { return add(KindHour, x) })
	err = each(err, r.Readings, func(x Reading) error { return add(KindReading, x) })
	err = each(err, r.Batches, func(x job.Batch) error { return add(KindBatch, x) })
	err = each(err, r.Photos, func(x Photo) error { return add(KindPhoto, x) })
	if err == nil {
		err = add(KindUse, r.Use)
	}
	return out, err
}

func each[T any](err error, xs []T, do func(T) error) error {
	for _, x := range xs {
		if err != nil {
			return err
		}
		err = do(x)
	}
	return err
}

// Made gives when a record was closed, the noon of its day where it is not: the
// same record on paper bears the same time.
func (r Record) Made() time.Time {
	if !r.Day.Closed.IsZero() {
		return r.Day.Closed
	}
	return time.Date(r.Date.Year, r.Date.Month, r.Date.Day, 12, 0, 0, 0, time.UTC)
}

// Assemble puts the rows of one job's records together again, by day.
func Assemble(rows []Row) ([]Record, error) {
	var out []Record
	for _, row := range rows {
		n := len(out) - 1
		if n < 0 || out[n].Job != row.Job || out[n].Date != row.Date {
			out = append(out, Record{Job: row.Job, Date: row.Date, First: row.Seq})
			n++
		}
		r := &out[n]
		r.Last, r.Hash = row.Seq, row.Hash
		if err := r.take(row); err != nil {
			return nil, fmt.Errorf("row %d of the records (job %s): %w", row.Seq, row.Job, err)
		}
	}
	return out, nil
}

func (r *Record) take(row Row) error {
	body := []byte(row.Body)
	switch row.Kind {
	case KindDay:
		return json.Unmarshal(body, &r.Day)
	case KindUse:
		return json.Unmarshal(body, &r.Use)
	case KindCall:
		return onto(&r.Calls, body)
	case KindReport:
		return onto(&r.Reports, body)
	case KindHour:
		return onto(&r.Hours, body)
	case KindReading:
		return onto(&r.Readings, body)
	case KindBatch:
		return onto(&r.Batches, body)
	case KindPhoto:
		return onto(&r.Photos, body)
	}
	return fmt.Errorf("there is no kind %q", row.Kind)
}

func onto[T any](list *[]T, body []byte) error {
	var v T
	if err := json.Unmarshal(body, &v); err != nil {
		return err
	}
	*list = append(*list, v)
	return nil
}

// Known gives a number to the hundredth, nil where it is not known.
func Known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	x = math.Round(100*x) / 100
	return &x
}

// Used reckons what was mixed over a day's area (m²) against the plan in kg/m².
func Used(batches []job.Batch, areaM2, resinPlan, topcoatPlan float64) Use {
	u := Use{ResinPlan: resinPlan, TopcoatPlan: topcoatPlan}
	for _, b := range batches {
		if b.Topcoat {
			u.TopcoatKg += b.ResinKg
		} else {
			u.ResinKg += b.ResinKg
		}
	}
	u.ResinKg, u.TopcoatKg = math.Round(100*u.ResinKg)/100, math.Round(100*u.TopcoatKg)/100
	if areaM2 > 0 {
		u.ResinPerM2, u.TopcoatPer = math.Round(100*u.ResinKg/areaM2)/100, math.Round(100*u.TopcoatKg/areaM2)/100
	}
	return u
}
