package ribbon

import (
	"math"
	"time"
)

// Width is the width of a picture in CSS pixels: that of a small telephone.
const Width = 360

// The measures of the picture, in CSS pixels.
const (
	margin   = 10.0
	titleAt  = 18.0
	bodySize = 12.0
	tinySize = 11.0
	markRow  = 15.0
	laneHead = 16.0 // name and note above a lane
	laneBand = 17.0 // the ribbon at its full width
	laneGap  = 9.0
	axisRow  = 19.0
	stageRow = 17.0
	stageBar = 8.0
	keyRow   = 16.0
	thread   = 1.4 // the least width of a ribbon that is open
)

// drawing lays out one day.
type drawing struct {
	scene
	day   Day
	faces measurer
	x0    float64 // left end of the axis
	x1    float64
	y     float64
	bands []float64 // upper edges of the lanes' bands
}

// measurer gives the width of a text in CSS pixels.
type measurer interface {
	width(s string, size float64, bold bool) float64
}

func layout(d Day, faces measurer) scene {
	g := drawing{day: d, faces: faces, x0: margin, x1: Width - margin}
	g.width = Width
	g.write(text, g.x0, titleAt, left, 14, true, d.Title)
	g.y = titleAt + 6
	g.markNames()
	for _, l := range d.Lanes {
		g.lane(l)
	}
	g.axis()
	g.stages()
	g.key()
	g.height = math.Ceil(g.y + 4)
	return g.scene
}

// x gives the place of an instant, kept within the axis.
func (g *drawing) x(t time.Time) float64 {
	share := t.Sub(g.day.From).Seconds() / g.day.To.Sub(g.day.From).Seconds()
	return g.x0 + (g.x1-g.x0)*math.Min(math.Max(share, 0), 1)
}

// on reports whether an instant lies on the axis.
func (g *drawing) on(t time.Time) bool {
	return !t.IsZero() && !t.Before(g.day.From) && !t.After(g.day.To)
}

// markNames writes the names of the marks over their lines, in as many rows as
// they need.
func (g *drawing) markNames() {
	var ends []float64 // right end of each row
	for _, m := range g.day.Marks {
		if !g.on(m.At) {
			continue
		}
		s := m.Name + " " + g.day.clock(m.At)
		w := g.faces.width(s, bodySize, false)
		x := math.Min(math.Max(g.x(m.At)-w/2, g.x0), g.x1-w)
		row := 0
		for row < len(ends) && ends[row]+8 > x {
			row++
		}
		if row == len(ends) {
			ends = append(ends, 0)
		}
		ends[row] = x + w
		g.write(text, x, g.y+markRow*float64(row+1)-3, left, bodySize, false, s)
	}
	g.y += markRow*float64(len(ends)) + 3
}

// lane draws one lane: its name and note, the night, the hours, the ribbon.
func (g *drawing) lane(l Lane) {
	g.write(text, g.x0, g.y+laneHead-5, left, bodySize, true, l.Name)
	g.write(soft, g.x1, g.y+laneHead-5, right, bodySize, false, l.Note)
	top := g.y + laneHead
	bottom := top + laneBand
	g.nights(top, bottom)
	g.eachHour(func(t time.Time, named bool) {
		if named {
			x := g.x(t)
			g.rect(rule, x-.5, top, x+.5, bottom)
		}
	})
	g.rooms(l, top)
	for _, a := range l.Asked {
		g.rect(text, g.x(a.From), bottom+2.5, g.x(a.To), bottom+4)
	}
	g.markLines(top, bottom)
	g.bands = append(g.bands, top)
	g.y = bottom + laneGap
}

// nights shades what is not daylight.
func (g *drawing) nights(top, bottom float64) {
	from := g.day.From
	for _, s := range g.day.Light {
		g.rect(night, g.x(from), top, g.x(s.From), bottom)
		from = s.To
	}
	g.rect(night, g.x(from), top, g.x(g.day.To), bottom)
}

// rooms draws the ribbon of a lane: runs of open hours, closed hours, and hours
// of which nothing is known.
func (g *drawing) rooms(l Lane, top float64) {
	mid := top + laneBand/2
	if len(l.Rooms) == 0 {
		g.dots(soft, g.x0, g.x1, mid, 1.5, 5)
	}
	var run []Room
	for k, r := range l.Rooms {
		open := r.known() && !r.Closed
		if open {
			run = append(run, r)
		}
		if len(run) > 0 && (!open || k == len(l.Rooms)-1 || !l.Rooms[k+1].From.Equal(r.To)) {
			g.strip(middle, run, mid, func(r Room) float64 { return g.thickness(math.Max(r.Middle, 1e-6)) })
			g.strip(careful, run, mid, func(r Room) float64 { return g.thickness(r.Careful) })
			run = nil
		}
		switch {
		case !r.known():
			g.dots(soft, g.x(r.From), g.x(r.To), mid, 1.5, 5)
		case r.Closed:
			g.rect(closedGround, g.x(r.From), top, g.x(r.To), top+laneBand)
			g.hatch(closedLine, g.x(r.From), top, g.x(r.To), top+laneBand, 5, 1.3)
		}
	}
}

// thickness gives the width of a ribbon with so much room.
func (g *drawing) thickness(room float64) float64 {
	if room <= 0 {
		return 0
	}
	return math.Max(thread, laneBand*math.Min(room, 1))
}

// strip draws a run of hours as one ribbon about the middle line. Its edges run
// smoothly from the middle of each hour to that of the next, and never beyond
// what the hours say.
func (g *drawing) strip(i ink, run []Room, mid float64, width func(Room) float64) {
	first, last := run[0], run[len(run)-1]
	pts := []point{{g.x(first.From), width(first)}}
	for _, r := range run {
		pts = append(pts, point{(g.x(r.From) + g.x(r.To)) / 2, width(r)})
	}
	pts = append(pts, point{g.x(last.To), width(last)})
	slopes := monotone(pts)
	at := func(k int, side, along float64) point { // a point beside node k, so far along its slope
		return point{pts[k].x + along, mid + side*(pts[k].y+slopes[k]*along)/2}
	}
	outline := []node{{p: at(0, -1, 0)}}
	for k := 1; k < len(pts); k++ {
		third := (pts[k].x - pts[k-1].x) / 3
		outline = append(outline, node{at(k, -1, 0), true, at(k-1, -1, third), at(k, -1, -third)})
	}
	outline = append(outline, node{p: at(len(pts)-1, 1, 0)})
	for k := len(pts) - 2; k >= 0; k-- {
		third := (pts[k+1].x - pts[k].x) / 3
		outline = append(outline, node{at(k, 1, 0), true, at(k+1, 1, -third), at(k, 1, third)})
	}
	g.fill(i, outline...)
}

// monotone gives slopes for a cubic curve through points in the order of x that
// rises and falls only where they do: harmonic means of the neighbouring chords
// (Fritsch and Butland 1984, from memory).
func monotone(pts []point) []float64 {
	chord := func(k int) float64 {
		if dx := pts[k+1].x - pts[k].x; dx > 0 {
			return (pts[k+1].y - pts[k].y) / dx
		}
		return 0
	}
	out := make([]float64, len(pts))
	for k := 1; k+1 < len(pts); k++ {
		if a, b := chord(k-1), chord(k); a*b > 0 {
			out[k] = 2 * a * b / (a + b)
		}
	}
	return out
}

// markLines draws the marks and the present through a band.
func (g *drawing) markLines(top, bottom float64) {
	for _, m := range g.day.Marks {
		switch {
		case !g.on(m.At):
		case m.Firm:
			g.halo(g.x(m.At), top, bottom)
			g.rect(text, g.x(m.At)-.75, top, g.x(m.At)+.75, bottom)
		default:
			g.halo(g.x(m.At), top, bottom)
			g.dashes(text, g.x(m.At), top, bottom, 1.5, 4, 4)
		}
	}
	if g.on(g.day.Now) {
		x := g.x(g.day.Now)
		g.halo(x, top, bottom)
		g.rect(soft, x-.5, top, x+.5, bottom)
	}
}

// halo keeps a line apart from the ribbon it crosses.
func (g *drawing) halo(x, top, bottom float64) { g.rect(paper, x-2, top, x+2, bottom) }

// eachHour calls for every whole hour of the clock on the axis; named are those
// that the axis names.
func (g *drawing) eachHour(f func(t time.Time, named bool)) {
	every := 2
	if g.day.To.Sub(g.day.From) > 17*time.Hour {
		every = 3
	}
	l := g.day.From.In(g.day.Zone)
	t := g.day.From
	if into := time.Duration(l.Minute())*time.Minute + time.Duration(l.Second())*time.Second; into > 0 {
		t = t.Add(time.Hour - into)
	}
	last := -every
	for ; !t.After(g.day.To); t = t.Add(time.Hour) {
		h := t.In(g.day.Zone).Hour()
		named := h%every == 0 && h != last // the clock that goes back names an hour once
		if named {
			last = h
		}
		f(t, named)
	}
}

// axis names the hours.
func (g *drawing) axis() {
	top := g.y - 2
	g.rect(text, g.x0, top, g.x1, top+1)
	g.eachHour(func(t time.Time, named bool) {
		x := g.x(t)
		length := 3.0
		if named {
			length = 5
			s := t.In(g.day.Zone).Format("15")
			w := g.faces.width(s, bodySize, false)
			at := math.Min(math.Max(x-w/2, g.x0), g.x1-w)
			g.write(text, at, top+axisRow-2, left, bodySize, false, s)
		}
		g.rect(text, x-.5, top, x+.5, top+length)
	})
	g.y = top + axisRow + 4
}

// stages lays the work under the hours, a row for each stage.
func (g *drawing) stages() {
	for _, w := range g.day.Windows {
		if a, b := g.x(w.From), g.x(w.To); w.To.After(g.day.From) && w.From.Before(g.day.To) {
			mid := g.y + stageRow/2
			b = math.Max(b, a+3)
			g.rect(text, a, mid-stageBar/2, a+1.5, mid+stageBar/2)
			g.rect(text, b-1.5, mid-stageBar/2, b, mid+stageBar/2)
			g.rect(text, a, mid-.75, b, mid+.75)
			when := g.day.clock(w.From)
			if w.To.After(w.From) {
				when += " to " + g.day.clock(w.To)
			}
			g.beside(a, b, "go if on site", when)
			g.y += stageRow
		}
	}
	for _, s := range g.day.Stages {
		if !s.To.After(g.day.From) || !s.From.Before(g.day.To) {
			continue
		}
		a, b, mid := g.x(s.From), g.x(s.To), g.y+stageRow/2
		b = math.Max(b, a+2)
		if s.Waits {
			g.rect(night, a, mid-stageBar/2, b, mid+stageBar/2)
			g.frame(text, a, mid-stageBar/2, b, mid+stageBar/2, 1)
		} else {
			g.rect(text, a, mid-stageBar/2, b, mid+stageBar/2)
		}
		g.beside(a, b, s.Name, g.day.clock(s.From))
		g.y += stageRow
	}
}

// beside names a bar and the time it begins: to its right where there is room,
// else to its left; where neither holds both, the name alone.
func (g *drawing) beside(a, b float64, name, at string) {
	const gap = 6
	base := g.y + stageRow/2 + 4
	for _, s := range []string{name + " " + at, name} {
		w := g.faces.width(s, bodySize, false)
		if b+gap+w <= g.x1 {
			g.write(text, b+gap, base, left, bodySize, false, s)
			return
		}
		if a-gap-w >= g.x0 {
			g.write(text, a-gap, base, right, bodySize, false, s)
			return
		}
	}
	// a bar nearly as long as the day: the name stands in it
	w := g.faces.width(name, bodySize, false)
	mid := (g.x0 + g.x1) / 2
	g.rect(paper, mid-w/2-gap, g.y, mid+w/2+gap, g.y+stageRow)
	g.write(text, mid-w/2, base, left, bodySize, false, name)
}

// key says what the marks mean.
func (g *drawing) key() {
	g.y += 5
	g.rect(rule, g.x0, g.y, g.x1, g.y+1)
	g.y += 4
	const swatch, half = 22.0, 175.0
	entry := func(x float64, draw func(x, y float64), s string) {
		draw(x, g.y+keyRow/2)
		g.write(soft, x+swatch+6, g.y+keyRow/2+4, left, tinySize, false, s)
	}
	entry(g.x0, func(x, y float64) { g.rect(careful, x, y-4, x+swatch, y+4) }, "room in 9 forecasts of 10")
	entry(g.x0+half, func(x, y float64) { g.rect(middle, x, y-4, x+swatch, y+4) }, "room in half of them")
	g.y += keyRow
	entry(g.x0, func(x, y float64) {
		g.rect(closedGround, x, y-4, x+swatch, y+4)
		g.hatch(closedLine, x, y-4, x+swatch, y+4, 5, 1.3)
	}, "closed: half or more fail")
	entry(g.x0+half, func(x, y float64) { g.rect(text, x, y-.75, x+swatch, y+.75) }, "the work asks for it")
	g.y += keyRow
}
