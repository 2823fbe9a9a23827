// Package load makes the load list: what goes on the van for a roof or for a
// visit's bay, rounded up to packs, and the plan of the mat's strips that it
// rests on. Every ratio is a value in a file of materials, with its source. It
// is pure.
package load

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"laycast/job"
	"laycast/rules/datafile"
	"laycast/rules/mix"
)

// Materials are what a firm buys and how much of it a roof takes. Materials
// are a value and are not changed once made. Lengths are metres, shares 0 to 1.
type Materials struct {
	Name   string
	Source string // of every value that names none of its own

	BoardLength, BoardWidth float64
	BoardWaste              float64
	Screws                  float64 // for a square metre of board

	TrimPiece, TrimWaste float64
	AdhesiveM            float64 // metres of trim that a cartridge fixes
	TrimNails            float64 // for a metre

	MatWeight  float64 // g/m²
	MatWidth   float64
	Lap        float64 // by which strips overlap at the least
	LeastStrip float64
	MatRoll    float64
	MatWaste   float64
	NightLap   float64

	BandageRoll, BandageWidth float64
	BandageWeight             float64 // g/m²

	ResinToGlass, ResinWaste, ResinBatch float64
	Hot, Cold                            float64 // °C of the deck
	TopcoatPerM2                         float64 // kg/m²
	TopcoatWaste, TopcoatBatch           float64
	PrimerPerM2, PrimerWaste             float64

	Density  float64 // kg/l of the catalyst
	Measured float64 // % of catalyst with which the gel time was measured
	Use      float64 // share of the gel time in which a batch must be down

	Bands []mix.Band
	Packs map[string]Pack // by item; never changed
	Kit   []Kit

	sources map[string]string // of single values, by key; never changed
}

// Pack is how an item is bought.
type Pack struct {
	Size  float64   // in the item's unit
	Price job.Money // of a pack, 0 where it is not known
}

// Kit is a tool, a piece of gear or a means of cleaning, and how many are
// taken: the sum of what the job, each hand, each hand and day and each square
// metre take.
type Kit struct {
	Item, Unit, Note, Source           string
	PerJob, PerHand, PerHandDay, PerM2 float64
	Pack                               Pack
	When                               string // WhenLay, WhenCoat, WhenBoth
}

// When kit is taken along.
const (
	WhenLay  = "lay"
	WhenCoat = "coat"
	WhenBoth = "both"
)

//go:embed materials.yaml
var builtInYAML []byte

// builtIn decodes the built-in materials the first time they are asked for.
var builtIn = sync.OnceValue(func() Materials {
	m, err := Decode("materials.yaml", builtInYAML)
	if err != nil {
		panic(err) // the program was built with a broken file, which its tests refuse
	}
	return m
})

// YAML gives the text of the built-in materials, to be copied and changed.
func YAML() []byte { return slices.Clone(builtInYAML) }

// BuiltIn are the built-in materials. Every figure is common practice, no
// source, unless the file says otherwise; the maker's data sheet governs.
func BuiltIn() Materials {
	m := builtIn()
	m.Bands, m.Kit, m.Packs = slices.Clone(m.Bands), slices.Clone(m.Kit), maps.Clone(m.Packs)
	return m
}

// field is one number of the materials: where it stands in the file, what it
// may be, and where it goes.
type field struct {
	section, key string
	into         *float64
	lo, hi       float64
	unit         string
}

// leastLap is the least overlap of strips that a file may ask for: 50 mm,
// common practice, no source.
const leastLap = 0.05

// fields lists the numbers in the order of the file. The ranges are those of
// sense: beyond them a digit has slipped.
func (m *Materials) fields() []field {
	return []field{
		{"board", "length", &m.BoardLength, 0.3, 10, "m"},
		{"board", "width", &m.BoardWidth, 0.1, 3, "m"},
		{"board", "waste", &m.BoardWaste, 0, 1, "share"},
		{"board", "screws", &m.Screws, 0, 100, "for a m²"},
		{"trim", "piece", &m.TrimPiece, 0.5, 10, "m"},
		{"trim", "waste", &m.TrimWaste, 0, 1, "share"},
		{"trim", "adhesive", &m.AdhesiveM, 0.5, 100, "m for a cartridge"},
		{"trim", "nails", &m.TrimNails, 0, 50, "for a m"},
		{"mat", "weight", &m.MatWeight, 50, 2000, "g/m²"},
		{"mat", "width", &m.MatWidth, 0.3, 3, "m"},
		{"mat", "lap", &m.Lap, leastLap, 0.14, "m"},
		{"mat", "least_strip", &m.LeastStrip, 0.15, 0.3, "m"},
		{"mat", "roll", &m.MatRoll, 5, 500, "m"},
		{"mat", "waste", &m.MatWaste, 0, 1, "share"},
		{"mat", "night_lap", &m.NightLap, leastLap, 1, "m"},
		{"bandage", "roll", &m.BandageRoll, 5, 500, "m of joint"},
		{"bandage", "width", &m.BandageWidth, 0.03, 0.5, "m"},
		{"bandage", "weight", &m.BandageWeight, 50, 2000, "g/m²"},
		{"resin", "to_glass", &m.ResinToGlass, 1, 6, "kg for a kg of glass"},
		{"resin", "waste", &m.ResinWaste, 0, 1, "share"},
		{"resin", "batch", &m.ResinBatch, 0.1, 10, "m²"},
		{"resin", "hot", &m.Hot, 20, 60, "°C"},
		{"resin", "cold", &m.Cold, 0, 20, "°C"},
		{"topcoat", "per_m2", &m.TopcoatPerM2, 0.1, 3, "kg/m²"},
		{"topcoat", "waste", &m.TopcoatWaste, 0, 1, "share"},
		{"topcoat", "batch", &m.TopcoatBatch, 0.1, 20, "m²"},
		{"primer", "per_m2", &m.PrimerPerM2, 0, 3, "kg/m²"},
		{"primer", "waste", &m.PrimerWaste, 0, 1, "share"},
		{"catalyst", "density", &m.Density, 0.9, 1.4, "kg/l"},
		{"catalyst", "measured", &m.Measured, leastDose, mostDose, "%"},
		{"catalyst", "use", &m.Use, 0.1, 0.9, "share of the gel time"},
	}
}

// the doses that a table may hold, % by mass: common practice, no source.
const (
	leastDose = 1
	mostDose  = 4
)

// Value is one effective value of the materials with its source.
type Value struct{ Key, Value, Unit, Source string }

// Values gives every single value of the materials, in the order of the file.
func (m Materials) Values() []Value {
	var out []Value
	for _, f := range m.fields() {
		key := f.section + "." + f.key
		out = append(out, Value{key, strconv.FormatFloat(*f.into, 'g', 6, 64), f.unit, m.sourceOf(m.sources[key])})
	}
	for _, b := range m.Bands {
		out = append(out, Value{"dose", strconv.FormatFloat(b.Pct, 'g', 6, 64), fmt.Sprintf("%% at %g to %g °C", b.From, b.To), m.sourceOf(m.sources["dose"])})
	}
	for _, k := range m.Kit {
		out = append(out, Value{"kit." + k.Item, k.rate(), k.Unit, m.sourceOf(k.Source)})
	}
	return out
}

func (m Materials) sourceOf(own string) string {
	if own == "" {
		return m.Source
	}
	return own
}

// rate says how many are taken: "2 + 0.1 a m²".
func (k Kit) rate() string {
	var s []string
	for _, p := range []struct {
		n    float64
		what string
	}{{k.PerJob, ""}, {k.PerHand, " a hand"}, {k.PerHandDay, " a hand and day"}, {k.PerM2, " a m²"}} {
		if p.n > 0 {
			s = append(s, strconv.FormatFloat(p.n, 'g', 6, 64)+p.what)
		}
	}
	return strings.Join(s, " + ")
}

// Recipe gives how resin and topcoat are mixed.
func (m Materials) Recipe() mix.Recipe {
	return mix.Recipe{
		Bands: m.Bands, Measured: m.Measured, Density: m.Density, UseShare: m.Use, Hot: m.Hot, Cold: m.Cold,
		Resin:   mix.Batch{KgPerM2: m.MatWeight / 1000 * m.ResinToGlass, AreaM2: m.ResinBatch},
		Topcoat: mix.Batch{KgPerM2: m.TopcoatPerM2, AreaM2: m.TopcoatBatch},
	}
}

// Decode reads materials from YAML; file names it in complaints. Every key
// must be there, and no other. The error is a *datafile.Error that tells all
// that is wrong at once.
func Decode(file string, data []byte) (Materials, error) {
	d := decoder{Reader: datafile.NewReader("file of materials", "laycast load --yaml")}
	d.m.sources = d.Sources
	d.file(data)
	if err := d.Err(file); err != nil {
		return Materials{}, err
	}
	return d.m, nil
}
