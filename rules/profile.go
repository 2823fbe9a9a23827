package rules

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"
	"sync"

	"laycast/job"
)

// Bound is one limit on one measure, in force during a stage.
type Bound struct {
	Limit  Limit
	Least  bool    // true: the value must be at least Value; false: at most
	Strict bool    // the value itself already breaks the limit
	Value  float64 // in Unit
	Unit   string
	Source string // where the value comes from
}

// Profile is what a resin system and a way of working ask for: how fast each
// stage goes, which limits hold in it, and how long the work must be protected
// after it. A Profile is a value and is not changed once made. Values of the
// built-in one stand, with their sources, in profiles/polyester.yaml.
type Profile struct {
	Name   string
	Source string // of every value that names none of its own

	// minutes
	Setup      float64 // on arrival, before any stage
	Break      float64 // taken during the deck stage, so that the roof is not left wet and open
	ClearUp    float64 // after the last work of the day
	NightJoint float64 // for each bay that ends at a joint for the night

	ThirdHand  float64 // share by which each hand beyond the pair speeds the work
	SlowMedian float64 // the work takes this multiple of its nominal time, in the middle member
	SlowSD     float64 // standard deviation of the logarithm of that multiple
	FitShare   float64 // a bay is cut so that it is laid within the day in this share of members

	StripRate    float64 // m²/h for a pair
	PrepareRate  float64 // m²/h, old laminate abraded and wiped, a slab ground and swept
	DeckRate     float64 // m²/h
	TrimMin      float64 // minutes for a metre of trim
	OutletMin    float64 // minutes for an outlet
	PrimerRate   float64 // m²/h
	BandageMin   float64 // minutes for a metre of joint
	JointPerM2   float64 // metres of board joint for a square metre of deck
	LaminateRate float64 // m²/h
	SandRate     float64 // m²/h
	AbradeRate   float64 // m²/h, when the overcoat window was missed
	TopcoatRate  float64 // m²/h

	// hours of equivalent age at 20 °C
	PrimedAge    float64 // from the end of priming until the laminate may go on
	SealedAge    float64 // from the end of laminating until the roof is sealed
	SandableAge  float64
	RainproofAge float64 // of the topcoat
	CureE        float64 // activation energy, kJ/mol

	// The firm's own measured gel time of its laminating resin, in minutes, and
	// the temperature it was measured at, in °C: the ages above are those of a
	// resin that gels in StandardGel minutes at 20 °C, and go with it.
	GelMin float64
	GelAt  float64

	OvercoatHours float64       // hours after sealing in which topcoat goes on without abrading
	FrostHours    float64       // after the topcoat, the deck must stay at 0 °C or above
	SlabAgeDays   float64       // least age of a balcony's slab; for people to ask, no verdict looks at it
	SealedBy      job.TimeOfDay // the roof must be sealed by then: nobody leaves an open roof to the night
	HeatBefore    float64       // °C: with the deck forecast hotter than this at the laminate, the roof is not opened

	Opening     []Bound // strip, and the deck stage on an open roof
	Preparing   []Bound
	Priming     []Bound
	PrimerCure  []Bound
	Laminating  []Bound
	Curing      []Bound
	Sanding     []Bound
	Topcoating  []Bound
	TopcoatCure []Bound

	sources map[string]string // of single values, by key; never changed
	digest  string            // of the text it was read from
}

// Key tells a profile from every other, also from one of its name that was read
// from another text.
func (p Profile) Key() string { return p.Name + "#" + p.digest }

//go:embed profiles/polyester.yaml
var polyesterYAML []byte

// polyester decodes the built-in profile the first time it is asked for.
var polyester = sync.OnceValue(func() Profile {
	p, err := DecodeProfile("profiles/polyester.yaml", polyesterYAML)
	if err != nil {
		panic(err) // the program was built with a broken file, which its tests refuse
	}
	return p
})

// PolyesterYAML gives the text of the built-in profile, to be copied and
// changed.
func PolyesterYAML() []byte { return slices.Clone(polyesterYAML) }

// Polyester is the built-in profile. Every figure is common practice, no
// source, unless the profile's file says otherwise; the resin maker's data
// sheet governs.
func Polyester() Profile {
	p := polyester()
	for _, set := range p.sets() { // the caller's own, whatever he does with them
		*set.bounds = slices.Clone(*set.bounds)
	}
	return p
}

// ProfileNamed gives the built-in profile of that name ("" means polyester).
func ProfileNamed(name string) (Profile, error) { return Profiles(nil).Named(name) }

// Profiles are a house's own profiles by name. The built-in one need not be
// among them, and counts before one of its name.
type Profiles map[string]Profile

// Named gives the profile of that name; "" means polyester.
func (ps Profiles) Named(name string) (Profile, error) {
	if name == "" || name == builtIn {
		return Polyester(), nil
	}
	if p, ok := ps[name]; ok {
		return p, nil
	}
	return Profile{}, fmt.Errorf("there is no profile %q; known: %s", name, strings.Join(ps.Names(), ", "))
}

// Names gives the names of all profiles, the built-in one among them, in order.
func (ps Profiles) Names() []string {
	names := []string{builtIn}
	for n := range ps {
		if n != builtIn {
			names = append(names, n)
		}
	}
	sort.Strings(names)
	return names
}

// With gives profiles and those of some texts beside them. A text whose name is
// taken is passed over.
func (ps Profiles) With(texts map[string]string) (Profiles, error) {
	if len(texts) == 0 {
		return ps, nil
	}
	out := maps.Clone(ps)
	if out == nil {
		out = Profiles{}
	}
	for name, text := range texts {
		if _, err := ps.Named(name); err == nil {
			continue
		}
		p, err := DecodeProfile("profile "+name, []byte(text))
		if err != nil {
			return nil, err
		}
		out[name] = p
	}
	return out, nil
}

const builtIn = "polyester"

// margin gives how far value lies inside the bound, negative outside it.
func (b Bound) margin(value float64) float64 {
	if b.Least {
		return value - b.Value
	}
	return b.Value - value
}

// tolerance keeps a value that equals its bound on the right side of it: hours
// are stored in steps of 0.01.
const tolerance = 1e-3

// holds reports whether value keeps the bound.
func (b Bound) holds(value float64) bool {
	if b.Strict {
		return b.margin(value) > tolerance
	}
	return b.margin(value) >= -tolerance
}

// errorOf is about one standard error of a forecast for the next day, by which
// margins in different units are compared: T, Td and wind from 3,095 pairs at
// one station (NWS point forecasts, KMLE 2019: 1.8 K for the dew margin, 1.7
// m/s for wind); the others are guesses in proportion, common practice, no
// source.
func errorOf(l Limit) float64 {
	switch l {
	case LimitRain, LimitDry:
		return 0.1 // mm
	case LimitWind:
		return 1.7
	case LimitGust:
		return 2.5
	case LimitDeck:
		return 3
	case LimitRH:
		return 8
	}
	return 1.8 // K or °C
}

// Tighter reports whether check a leaves less room than b, in standard errors.
func Tighter(a, b Check) bool { return room(a) < room(b) }

// room gives the margin of a check in standard errors. An hour without any rain
// leaves more room than its 0.1 mm: rain that is not forecast rarely falls a
// tenth at a time. It counts as two, a guess.
func room(c Check) float64 {
	if c.Limit == LimitRain && c.Value == 0 {
		return 2
	}
	return c.Margin / errorOf(c.Limit)
}

// quantile gives the q-quantile (nearest rank) of xs, which it sorts.
func quantile(xs []float64, q float64) float64 {
	sort.Float64s(xs)
	i := int(q * float64(len(xs)))
	if i >= len(xs) {
		i = len(xs) - 1
	}
	return xs[i]
}
