package job

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// promiseDays is how long after its earliest date a job is promised where the
// file does not say: two weeks, common practice, no source.
const promiseDays = 14

func (d *importDecoder) crew(o *object) {
	c := Crew{
		ID:    d.id(o, d.crewIDs, "crew"),
		Name:  o.text("name", required),
		Size:  o.whole("size", required, 1, 50, "a crew size; give a whole number of hands from 1"),
		Email: o.email("email"),
	}
	o.texts("skills", func(_, t string) {
		if t != "" {
			c.Skills = append(c.Skills, t)
		}
	})
	o.texts("plan_b", func(_, t string) {
		if t != "" {
			c.PlanB = append(c.PlanB, t)
		}
	})
	c.Absences = o.dates("absences")
	if depot, there := o.sub("depot", optional); there {
		c.Depot.Lat, c.Depot.Lon = depot.point()
		depot.done()
	}
	o.done()
	d.out.Crews = append(d.out.Crews, c)
}

func (d *importDecoder) job(o *object) {
	j := Job{
		ID:    d.id(o, d.jobIDs, "job"),
		Title: o.text("title", required),
		Phone: o.text("phone", optional), HoldReason: o.text("hold_reason", optional), Skill: o.text("skill", optional),
		Value: o.money("value", required), AbortCost: o.money("abort_cost", optional),
		LateCostPerDay: o.money("late_cost_per_day", optional),
		Blackout:       o.dates("blackout"),
		Profile:        o.text("profile", optional),
		Invite:         o.flag("invite"),
	}
	if j.Profile == "" {
		j.Profile = "polyester"
	}
	if c, there := o.sub("customer", required); there {
		j.Customer = Customer{Name: c.text("name", required), Email: strings.ToLower(c.email("email"))}
		c.done()
	}
	if s, there := o.sub("site", required); there {
		j.Site = s.site(d.firm.Zone)
	}
	if n, there := o.sub("notes", optional); there {
		j.Notes = Notes{
			Access: n.text("access", optional), Parking: n.text("parking", optional),
			PowerWater: n.text("power_water", optional), Neighbours: n.text("neighbours", optional),
			RoomBelow: n.text("room_below", optional),
		}
		n.done()
	}
	o.each("needs", func(n *object) {
		j.Needs = append(j.Needs, Need{
			What: n.text("what", required), Ordered: n.flag("ordered"),
			LeadDays: n.whole("lead_days", optional, 0, 1000, "a lead time; give whole days from 0 to 1000"),
		})
	})
	if r, there := o.sub("roof", required); there {
		j.Roof = r.roof()
	}
	o.term(&j)
	o.done()
	d.out.Jobs = append(d.out.Jobs, j)
}

// id reads the row's id and sees to it that no row before it has the same.
func (d *importDecoder) id(o *object, seen map[string]int, what string) string {
	id := o.text("id", required)
	if id == "" {
		return ""
	}
	if err := checkID(id); err != nil {
		o.complain("id", "%v", err)
	}
	if d.noun != "" {
		what = d.noun
	}
	if first, twice := seen[id]; twice {
		o.complain("id", "%q is already the id of %s %d; every id stands once", cut(id, 60), what, first)
	} else {
		seen[id] = o.row.n
	}
	return id
}

// checkID refuses ids that could be mistaken for something else: in an address,
// on a command line or in the names of messages, whose parts "|" divides.
func checkID(id string) error {
	switch {
	case len([]rune(id)) > 64:
		return fmt.Errorf("longer than 64 characters")
	case strings.Contains(id, "|"):
		return fmt.Errorf(`%q holds a "|"; leave it out`, id)
	case id == "." || id == ".." || id[0] == '-':
		return fmt.Errorf("%q cannot be an id; begin with a letter or a digit", id)
	}
	return nil
}

func (o *object) point() (lat, lon float64) {
	lat, _ = o.number("lat", required, -90, 90, "a latitude; give degrees from -90 to 90")
	lon, _ = o.number("lon", required, -180, 180, "a longitude; give degrees from -180 to 180")
	return lat, lon
}

func (o *object) site(firmZone string) Site {
	s := Site{Address: o.text("address", optional), Zone: o.text("zone", optional)}
	s.Lat, s.Lon = o.point()
	// from the shore of the Dead Sea to above the highest town
	s.ElevationM, _ = o.number("elevation_m", optional, -430, 9000, "an elevation; give metres above the sea from -430 to 9000")
	if s.Zone == "" {
		s.Zone = firmZone
	}
	if _, err := LoadZone(s.Zone); err != nil {
		o.complain("zone", "%v", err)
	}
	o.done()
	return s
}

// LoadZone gives the time zone of an IANA name such as Europe/London. Unlike
// time.LoadLocation it refuses "" and "Local": which zone holds must not depend
// on the machine.
func LoadZone(name string) (*time.Location, error) {
	if name != "" && name != "Local" {
		if loc, err := time.LoadLocation(name); err == nil {
			return loc, nil
		}
	}
	return nil, fmt.Errorf("%q is not a time zone; give an IANA name such as Europe/London", cut(name, 60))
}

func (o *object) roof() Roof {
	r := Roof{
		Work:    Work(o.oneOf("work", words(Replace, Overboard, Relaminate, Balcony))),
		Deck:    Deck(o.oneOf("deck", words(NewBoard, OldBoard, Concrete, GRP, Felt, Asphalt, Metal))),
		Outlets: o.whole("outlets", optional, 0, 1000, "a number of outlets; give a whole number from 0"),
	}
	// the least area that is not 0, so that 0 itself is refused
	r.AreaM2, _ = o.number("area_m2", required, math.SmallestNonzeroFloat64, 100_000, "an area; give m² above 0 and up to 100000")
	r.Shade, _ = o.number("shade", optional, 0, 1, "a share of shade; give 0 (none) to 1")
	r.Exposure, _ = o.number("exposure", optional, 0, 3, "an exposure; give 0 to 3 (1 is open country)")
	o.each("edges", func(e *object) {
		kind := EdgeKind(e.oneOf("kind", words(Drip, Raised, Wall, Valley)))
		length, _ := e.number("length_m", required, 0, 100_000, "a length; give metres from 0")
		r.Edges = append(r.Edges, Edge{kind, length})
	})
	if s, there := o.sub("shape", optional); there {
		if r.Shape = s.shape(); r.checkShape() != nil {
			o.complain("shape", "%v", r.checkShape())
		}
	}
	if r.Work != "" && r.Deck != "" {
		if err := r.CheckWork(); err != nil {
			o.complain("deck", "%v", err)
		}
	}
	o.done()
	return r
}

// CheckWork says whether the roof's kind of work may go onto its deck.
// Straight onto bitumen is not offered: resin does not hold on it.
func (r Roof) CheckWork() error {
	switch {
	case r.Work == Relaminate && r.Deck != GRP:
		return fmt.Errorf("%s cannot be relaminated, only sound grp can; choose replace or overboard", r.Deck)
	case r.Work == Balcony && r.Deck != Concrete:
		return fmt.Errorf("a balcony is laid on concrete, not on %s", r.Deck)
	}
	return nil
}

// term reads the dates between which the job is to be laid.
func (o *object) term(j *Job) {
	j.Earliest, j.Deadline = o.date("earliest", required), o.date("deadline", required)
	j.Promised = o.date("promised", optional)
	given := !j.Promised.IsZero()
	if !given && !j.Earliest.IsZero() {
		j.Promised = j.Earliest.AddDays(promiseDays)
		if !j.Deadline.IsZero() && j.Promised.After(j.Deadline) {
			j.Promised = j.Deadline
		}
	}
	if !j.Earliest.IsZero() && !j.Deadline.IsZero() && j.Deadline.Before(j.Earliest) {
		o.complain("deadline", "%s lies before the earliest date %s", j.Deadline, j.Earliest)
		return // where the promised date lies against these two says nothing
	}
	if given && j.Promised.Before(j.Earliest) {
		o.complain("promised", "%s lies before the earliest date %s", j.Promised, j.Earliest)
	}
	if given && !j.Deadline.IsZero() && j.Promised.After(j.Deadline) {
		o.complain("promised", "%s lies after the deadline %s", j.Promised, j.Deadline)
	}
}

// oneOf gives the word under a key if it is one of the known ones, else "".
func (o *object) oneOf(key string, known []string) string {
	t := o.text(key, required)
	if t == "" || hasWord(known, t) {
		return t
	}
	o.complain(key, "%q is not known%s", cut(t, 40), suggest(t, known))
	return ""
}

func words[S ~string](of ...S) []string {
	out := make([]string, len(of))
	for i, s := range of {
		out[i] = string(s)
	}
	return out
}

func (o *object) email(key string) string {
	t := o.text(key, required)
	if t == "" {
		return ""
	}
	if err := CheckEmail(t); err != nil {
		o.complain(key, "%v", err)
		return ""
	}
	return t
}

// CheckEmail accepts the plain shape of an address, name@domain.tld in ASCII,
// and nothing else: no quotes, comments or display names. It is narrower than
// RFC 5321, so that whatever passes is safe in a header.
func CheckEmail(s string) error {
	bad := fmt.Errorf("%q is not an e-mail address; write it as name@example.org", cut(s, 60))
	local, domain, ok := strings.Cut(s, "@")
	if !ok || local == "" || len(local) > 64 || len(s) > 254 {
		return bad
	}
	if strings.HasPrefix(local, ".") || strings.HasSuffix(local, ".") || strings.Contains(local, "..") {
		return bad
	}
	for _, r := range local {
		if !alphanumeric(r) && !strings.ContainsRune(".!#$%&'*+/=?^_`{}~-", r) {
			return bad
		}
	}
	labels := strings.Split(domain, ".")
	if len(labels) < 2 {
		return bad
	}
	for _, l := range labels {
		if !domainLabel(l) {
			return bad
		}
	}
	if top := labels[len(labels)-1]; strings.Trim(top, "0123456789") == "" {
		return bad // a number is not a top-level domain
	}
	return nil
}

func domainLabel(l string) bool {
	if l == "" || len(l) > 63 || l[0] == '-' || l[len(l)-1] == '-' {
		return false
	}
	for _, r := range l {
		if !alphanumeric(r) && r != '-' {
			return false
		}
	}
	return true
}

func alphanumeric(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9'
}
