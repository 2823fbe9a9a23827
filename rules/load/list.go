package load

import (
	"fmt"
	"math"

	"laycast/job"
	"laycast/rules"
)

// The items that are reckoned from the roof. How each is bought stands under
// packs in the file of materials.
const (
	board        = "board"
	screw        = "screw"
	trimNail     = "trim nail"
	trimAdhesive = "trim adhesive"
	bandage      = "bandage"
	mat          = "mat"
	resin        = "resin"
	topcoat      = "topcoat"
	primer       = "primer"
	catalyst     = "catalyst"
)

// trimOf names the trim of a kind of edge.
func trimOf(k job.EdgeKind) string { return string(k) + " trim" }

// edgeKinds are the kinds of edge in the order of the list.
func edgeKinds() []job.EdgeKind { return []job.EdgeKind{job.Drip, job.Raised, job.Wall, job.Valley} }

// packed gives the items that have a pack of their own in the file.
func packed() []string {
	out := []string{board, screw}
	for _, k := range edgeKinds() {
		out = append(out, trimOf(k))
	}
	return append(out, trimNail, trimAdhesive, bandage, mat, resin, topcoat, primer, catalyst)
}

// Item is one line of a load list.
type Item struct {
	Item  string
	Qty   float64 // what is loaded: whole packs
	Unit  string
	Note  string
	Need  float64   // what the roof takes, waste among it, before rounding up
	Pack  float64   // what a pack holds
	Price job.Money // of Qty; 0 where the owner set none
}

// Words gives the line as a reader wants it: "board: 15 pieces (2.4 by 0.6 m)".
func (i Item) Words() string {
	s := fmt.Sprintf("%s: %s %s", i.Item, number(i.Qty), i.Unit)
	if i.Note != "" {
		s += " (" + i.Note + ")"
	}
	return s
}

// List is a load list.
type List struct {
	Task   rules.Task
	AreaM2 float64 // of the roof or bay it is for
	Days   int     // working days that tools and gear are taken for
	Hands  int
	Items  []Item
	Strips Plan      // of the mat; none where only topcoat goes on
	Price  job.Money // of the items that have a price
	Priced int       // how many of the items have one
	Notes  []string
}

// part is what a list is made for.
type part struct {
	task  rules.Task
	roof  job.Roof
	area  float64
	edges map[job.EdgeKind]float64 // m
	shape job.Shape
	hands int
	days  int
	late  bool // the overcoat window was missed: abrade first
}

// Whole gives the load list of a whole roof, topcoat and all, for a crew that
// takes so many days.
func (m Materials) Whole(roof job.Roof, p rules.Profile, hands, days int) List {
	shape, assumed := shapeOf(roof)
	x := part{task: rules.Lay, roof: roof, area: roof.AreaM2, edges: edgesOf(roof, 1), shape: shape, hands: hands, days: max(days, 1)}
	return m.list(x, p, assumed)
}

// Bay gives the load list of a visit's next bay: what rules.Case.NextBay says.
func (m Materials) Bay(b job.Booking, bay rules.Bay, p rules.Profile, hands int) List {
	x := part{task: bay.Task, roof: b.Roof, area: bay.AreaM2, hands: hands, days: 1, late: bay.Late}
	if bay.Task == rules.Coat {
		return m.list(x, p, false)
	}
	shape, assumed := shapeOf(b.Roof)
	x.edges = edgesOf(b.Roof, bay.AreaM2/b.Roof.AreaM2)
	x.shape = m.bayShape(shape, b.LaidM2/b.Roof.AreaM2, bay.AreaM2/b.Roof.AreaM2)
	l := m.list(x, p, assumed)
	if bay.AreaM2 < b.Roof.AreaM2-0.005 { // areas are kept to the centimetre squared
		l.Notes = append(l.Notes, "The bay is cut across the longer side, and its share of every edge is by area: look which edges it truly has.")
	}
	return l
}

// edgesOf gives the metres of trim by kind on a share of the roof.
func edgesOf(r job.Roof, share float64) map[job.EdgeKind]float64 {
	out := map[job.EdgeKind]float64{}
	for _, e := range r.Edges {
		out[e.Kind] += e.LengthM * share
	}
	return out
}

func (m Materials) list(x part, p rules.Profile, assumed bool) List {
	l := List{Task: x.task, AreaM2: x.area, Days: x.days, Hands: x.hands}
	resinKg, primerKg := 0.0, 0.0
	if x.task == rules.Lay {
		m.boards(&l, x)
		trim := m.trims(&l, x)
		resinKg = m.glass(&l, x, p, trim)
		if x.roof.Primed() {
			primerKg = x.area * m.PrimerPerM2 * (1 + m.PrimerWaste)
			l.add(m, primer, primerKg, "kg", "")
		}
	}
	topcoatKg := x.area * m.TopcoatPerM2 * (1 + m.TopcoatWaste)
	l.add(m, topcoat, topcoatKg, "kg", fmt.Sprintf("%.3g kg/m²", m.TopcoatPerM2))
	m.catalyst(&l, resinKg+topcoatKg+primerKg)
	for _, k := range m.Kit {
		if k.When == WhenBoth || (k.When == WhenLay) == (x.task == rules.Lay) {
			need := k.PerJob + k.PerHand*float64(x.hands) + k.PerHandDay*float64(x.hands*x.days) + k.PerM2*x.area
			l.put(k.Item, need, k.Unit, k.Note, k.Pack)
		}
	}
	if assumed && x.task == rules.Lay {
		whole, _ := shapeOf(x.roof)
		l.Notes = append(l.Notes, fmt.Sprintf("The roof's shape is not told: a near square of %s is assumed for the mat. Give the job a roof.shape.", sides(whole)))
	}
	if x.late {
		l.Notes = append(l.Notes, "The overcoat window was missed: abrade and wipe first; discs enough for the whole of it.")
	}
	l.Notes = append(l.Notes, "Reckoned, not measured: upstands, details and hidden damage come on top. The maker's data sheet governs.")
	return l
}

func (m Materials) boards(l *List, x part) {
	if !x.roof.NewBoards() {
		return
	}
	l.add(m, board, x.area*(1+m.BoardWaste)/(m.BoardLength*m.BoardWidth), "pieces", fmt.Sprintf("18 mm tongue-and-groove, %.3g by %.3g m", m.BoardLength, m.BoardWidth))
	l.add(m, screw, x.area*m.Screws, "pieces", "")
}

// trims puts the trims on the list and gives their metres.
func (m Materials) trims(l *List, x part) float64 {
	sum := 0.0
	for _, k := range edgeKinds() {
		length := x.edges[k]
		sum += length
		l.add(m, trimOf(k), length*(1+m.TrimWaste)/m.TrimPiece, "lengths", fmt.Sprintf("of %.3g m, for %.1f m of edge", m.TrimPiece, length))
	}
	l.add(m, trimNail, sum*m.TrimNails, "pieces", "")
	l.add(m, trimAdhesive, sum/m.AdhesiveM, "cartridges", "")
	return sum
}

// glass puts bandage, mat and resin on the list and gives the resin in kg.
func (m Materials) glass(l *List, x part, p rules.Profile, trimM float64) float64 {
	joints := p.JointM(x.area, trimM, x.roof.NewBoards())
	l.add(m, bandage, joints/m.BandageRoll, "rolls", fmt.Sprintf("%.0f m of joint", joints))
	l.Strips = m.strips(x.shape)
	run := l.Strips.RunM * (1 + m.MatWaste)
	l.add(m, mat, run/m.MatRoll, "rolls", fmt.Sprintf("%.0f g/m², %.3g m wide; %.0f m of it, in %d strips", m.MatWeight, m.MatWidth, math.Ceil(run), len(l.Strips.Strips)))
	glassKg := (l.Strips.LaidM2*m.MatWeight + joints*m.BandageWidth*m.BandageWeight) / 1000
	kg := glassKg * m.ResinToGlass * (1 + m.ResinWaste)
	l.add(m, resin, kg, "kg", fmt.Sprintf("%.1f kg needed: %.1f kg of glass laid, times %.3g, and %.0f %% waste", kg, glassKg, m.ResinToGlass, m.ResinWaste*100))
	return kg
}

// catalyst puts enough on the list for the coldest deck of the table.
func (m Materials) catalyst(l *List, kg float64) {
	if len(m.Bands) == 0 {
		return
	}
	most, least := m.Bands[0].Pct, m.Bands[len(m.Bands)-1].Pct
	l.add(m, catalyst, kg*most/100, "kg", fmt.Sprintf("%.0f ml at %.3g %%, %.0f ml at %.3g %%: resin, topcoat and primer", kg*least*10/m.Density, least, kg*most*10/m.Density, most))
}

// add puts an item on the list, bought as the file says.
func (l *List) add(m Materials, item string, need float64, unit, note string) {
	l.put(item, need, unit, note, m.Packs[item])
}

// put rounds a need up to packs; what is not needed is left out.
func (l *List) put(item string, need float64, unit, note string, pack Pack) {
	if need <= 0 || pack.Size <= 0 {
		return
	}
	packs := math.Ceil(need/pack.Size - 1e-9)
	price := job.Money(packs) * pack.Price
	l.Items = append(l.Items, Item{Item: item, Qty: packs * pack.Size, Unit: unit, Note: note, Need: need, Pack: pack.Size, Price: price})
	if price > 0 {
		l.Price += price
		l.Priced++
	}
}

// number prints a quantity without trailing noughts.
func number(x float64) string { return fmt.Sprintf("%.6g", x) }
