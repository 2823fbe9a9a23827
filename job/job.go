// Package job holds the nouns of the trade: jobs, crews, visits and the firm
// that owns them, with their rules of form. It is pure and imports nothing of
// ours.
package job

// Job is one roof to lay for one customer at one site.
type Job struct {
	ID         string   `json:"id"`
	Title      string   `json:"title"`
	Customer   Customer `json:"customer"`
	Site       Site     `json:"site"`
	Phone      string   `json:"phone,omitempty"`
	Notes      Notes    `json:"notes"`
	Needs      []Need   `json:"needs,omitempty"`
	HoldReason string   `json:"hold_reason,omitempty"` // not "": kept out of the plan, and why
	Roof       Roof     `json:"roof"`
	Skill      string   `json:"skill,omitempty"`

	Value          Money  `json:"value"`             // what the firm earns by laying it
	AbortCost      Money  `json:"abort_cost"`        // lost when an opened roof fails
	LateCostPerDay Money  `json:"late_cost_per_day"` // for each day after Promised
	Earliest       Date   `json:"earliest"`
	Promised       Date   `json:"promised"`
	Deadline       Date   `json:"deadline"` // the last day on which it may be laid
	Blackout       []Date `json:"blackout,omitempty"`

	Profile string `json:"profile"` // name of the laying limits
	Invite  bool   `json:"invite"`  // the customer wants invitations by mail
}

// Customer is known by the lower-cased e-mail address within a firm.
type Customer struct {
	Name  string `json:"name"`
	Email string `json:"email"`
}

// Site is where the roof is.
type Site struct {
	Address    string  `json:"address"`
	Lat        float64 `json:"lat"`         // degrees north, -90 to 90
	Lon        float64 `json:"lon"`         // degrees east, -180 to 180
	ElevationM float64 `json:"elevation_m"` // metres above sea level
	Zone       string  `json:"zone"`        // IANA name
}

// Notes are what a crew wants to know before it arrives.
type Notes struct {
	Access     string `json:"access,omitempty"`
	Parking    string `json:"parking,omitempty"`
	PowerWater string `json:"power_water,omitempty"`
	Neighbours string `json:"neighbours,omitempty"`
	RoomBelow  string `json:"room_below,omitempty"`
}

// Need is something to be ordered ahead: scaffold, skip, coloured topcoat.
type Need struct {
	What     string `json:"what"`
	LeadDays int    `json:"lead_days"`
	Ordered  bool   `json:"ordered"`
}

// Roof is the surface to be laid.
type Roof struct {
	AreaM2   float64 `json:"area_m2"`
	Shape    Shape   `json:"shape,omitzero"` // seen from above, where it is known
	Work     Work    `json:"work"`
	Deck     Deck    `json:"deck"`
	Shade    float64 `json:"shade,omitempty"`    // share of direct sun kept off the roof, 0 to 1
	Exposure float64 `json:"exposure,omitempty"` // wind on the roof as a multiple of the open-country wind; 0 means 1
	Edges    []Edge  `json:"edges,omitempty"`
	Outlets  int     `json:"outlets"`
}

// Work is the kind of work.
type Work string

// The kinds of work.
const (
	Replace    Work = "replace"    // strip to the joists or old boards: the building stands open
	Overboard  Work = "overboard"  // new boards over the old roof: never open
	Relaminate Work = "relaminate" // sound old GRP: abrade, wipe, primer
	Balcony    Work = "balcony"    // screed or concrete: age, reading, primer
)

// Deck is what the laminate goes on.
type Deck string

// The decks.
const (
	NewBoard Deck = "new-board"
	OldBoard Deck = "old-board"
	Concrete Deck = "concrete"
	GRP      Deck = "grp"
	Felt     Deck = "felt"
	Asphalt  Deck = "asphalt"
	Metal    Deck = "metal"
)

// Edge is one run of trim.
type Edge struct {
	Kind    EdgeKind `json:"kind"`
	LengthM float64  `json:"length_m"`
}

// EdgeKind is the kind of trim.
type EdgeKind string

// The kinds of edge.
const (
	Drip   EdgeKind = "drip"
	Raised EdgeKind = "raised"
	Wall   EdgeKind = "wall"
	Valley EdgeKind = "valley"
)

// EdgeLength gives the metres of trim on the whole roof.
func (r Roof) EdgeLength() float64 {
	sum := 0.0
	for _, e := range r.Edges {
		sum += e.LengthM
	}
	return sum
}

// Crew is a team with a van.
type Crew struct {
	ID       string   `json:"id"`
	Name     string   `json:"name"`
	Size     int      `json:"size"` // hands; nobody laminates alone
	Skills   []string `json:"skills,omitempty"`
	Email    string   `json:"email"`
	Absences []Date   `json:"absences,omitempty"`
	Depot    Point    `json:"depot"`

	// PlanB is work that needs no weather (a survey, a snag list, the yard): what a
	// no-go names for the crew, in this order.
	PlanB []string `json:"plan_b,omitempty"`
}

// Point is a place on the map, in degrees.
type Point struct {
	Lat float64 `json:"lat"`
	Lon float64 `json:"lon"`
}

// Has reports whether the crew has the skill ("" is always had).
func (c Crew) Has(skill string) bool {
	if skill == "" {
		return true
	}
	for _, s := range c.Skills {
		if s == skill {
			return true
		}
	}
	return false
}

// Away reports whether the crew is absent on d.
func (c Crew) Away(d Date) bool { return contains(c.Absences, d) }

// Barred reports whether the job may not be worked on at d: before its
// earliest date, after its deadline or on a blackout day.
func (j Job) Barred(d Date) bool {
	return d.Before(j.Earliest) || (!j.Deadline.IsZero() && d.After(j.Deadline)) || contains(j.Blackout, d)
}

func contains(ds []Date, d Date) bool {
	for _, x := range ds {
		if x == d {
			return true
		}
	}
	return false
}
