package ribbon_test

import (
	"bytes"
	"encoding/xml"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/notify/ribbon"
)

// The days here are invented.

func halifax(t testing.TB) *time.Location {
	t.Helper()
	z, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// room says how much room there is at an hour of the day.
type room func(h float64) (middle, careful float64)

func even(m, c float64) room { return func(float64) (float64, float64) { return m, c } }

// valley dips at an hour, so many hours wide.
func valley(at, wide, deep, base, spread float64) room {
	return func(h float64) (float64, float64) {
		m := base - deep*math.Exp(-(h-at)*(h-at)/(2*wide*wide))
		return m, m - spread
	}
}

// scenes are the days that the tests draw, by the kind of weather.
func scenes(t testing.TB) map[string]ribbon.Day {
	z := halifax(t)
	at := func(h float64) time.Time {
		return time.Date(2027, 4, 15, 0, 0, 0, 0, z).Add(time.Duration(h * float64(time.Hour)))
	}
	span := func(a, b float64) ribbon.Span { return ribbon.Span{From: at(a), To: at(b)} }
	lane := func(name, note string, f room, asked ...ribbon.Span) ribbon.Lane {
		l := ribbon.Lane{Name: name, Note: note, Asked: asked}
		for h := 6.0; h < 21; h++ {
			m, c := f(h)
			l.Rooms = append(l.Rooms, ribbon.Room{Span: span(h, h+1), Middle: m, Careful: c, Closed: m <= 0})
		}
		return l
	}
	stages := []ribbon.Stage{
		{Name: "strip", Span: span(8, 10.4)}, {Name: "deck", Span: span(10.4, 13)},
		{Name: "laminate", Span: span(13, 14.7)}, {Name: "cures", Span: span(14.7, 16), Waits: true},
		{Name: "topcoat", Span: span(16.3, 17.4)}, {Name: "topcoat cures", Span: span(17.4, 20.2), Waits: true},
	}
	day := func(title string, lanes ...ribbon.Lane) ribbon.Day {
		return ribbon.Day{
			Title: title, Zone: z, From: at(6), To: at(21), Light: []ribbon.Span{span(6.2, 20.4)}, Lanes: lanes, Stages: stages,
			Windows: []ribbon.Span{span(7.5, 9)},
			Marks:   []ribbon.Mark{{Name: "open by", At: at(11.25)}, {Name: "sealed", At: at(16), Firm: true}},
		}
	}
	all, wet := span(8, 20.2), span(13, 17.4)
	blind := day("Thursday 15 April", lane("Rain", "", even(math.NaN(), math.NaN())), ribbon.Lane{Name: "Wind"})
	blind.Stages, blind.Windows, blind.Marks = nil, nil, nil
	return map[string]ribbon.Day{
		"fine": day("Thursday 15 April, 24 m² garage roof",
			lane("Rain", "dry in all 51 forecasts", even(1, 1), all),
			lane("Wind", "gusts 9.6 of 15 m/s, 14:00", valley(14, 3, .3, 1.1, .25), span(8, 14.7), span(16.3, 17.4)),
			lane("Dew", "7.2 K above the dew point, least 3, 16:00", valley(6, 1.5, .9, 1.2, .2), wet),
			lane("Temperature", "deck 14 °C, least 5, 17:00", valley(6, 2, .6, 1.2, .15), wet)),
		"dewy": day("Friday 16 April, 24 m² garage roof",
			lane("Rain", "rain in 1 of 51 forecasts, 18:00", valley(18, 1, .2, 1, .3), all),
			lane("Wind", "wind 4.1 of 10 m/s, 15:00", even(1, .9), span(8, 14.7), span(16.3, 17.4)),
			lane("Dew", "4.4 K above the dew point, least 3, 13:00", func(h float64) (float64, float64) { m := (h - 8.6) * .22; return m, m - .35 }, wet),
			lane("Temperature", "deck 8.1 °C, least 5, 13:00", valley(6, 3, .9, 1, .2), wet),
			lane("Dry deck", "wet in 3 of 51 forecasts, 12:00", func(h float64) (float64, float64) { m := (h - 9) * .3; return math.Min(m, 1), math.Min(m-.8, 1) }, wet)),
		"showery": day("Saturday 17 April, 24 m² garage roof",
			lane("Rain", "rain in 29 of 51 forecasts, 15:00", func(h float64) (float64, float64) {
				m := .55 + .6*math.Sin(h*1.7)
				return m, m*5 - 4
			}, all),
			lane("Wind", "gusts 13.8 of 15 m/s, 15:00", valley(15, 3, .7, .9, .35), span(8, 14.7), span(16.3, 17.4)),
			lane("Dew", "3.1 K above the dew point, least 3, 15:00", valley(15, 4, .5, .6, .4), wet),
			lane("Temperature", "air 9.2 °C, least 5, 17:00", even(.7, .4), wet)),
		"windy": day("Sunday 18 April, 24 m² garage roof",
			lane("Rain", "dry in all 51 forecasts", even(1, 1), all),
			lane("Wind", "gusts 17.2 of 15 m/s, 13:00", valley(13, 3, 1.5, 1, .4), span(8, 14.7), span(16.3, 17.4)),
			lane("Dew", "6.0 K above the dew point, least 3, 16:00", even(1, .8), wet),
			lane("Temperature", "deck 31 °C, most 40, 13:00", valley(13, 2, .5, 1, .2), wet)),
		"no data": blind,
	}
}

func TestPicturesAreSmallAndTheSameEveryTime(t *testing.T) {
	dir := os.Getenv("LAYCAST_PICTURES") // to look at them
	for name, d := range scenes(t) {
		b, err := d.PNG()
		if err != nil {
			t.Fatal(err)
		}
		again, err := d.PNG()
		if err != nil || !bytes.Equal(b, again) {
			t.Errorf("%s: drawn twice, the bytes differ (%v)", name, err)
		}
		img, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if w := img.Bounds().Dx(); w != 2*ribbon.Width || len(b) > 40<<10 {
			t.Errorf("%s: %d dots wide and %d bytes, want %d and under 40 kB", name, w, len(b), 2*ribbon.Width)
		}
		t.Logf("%s: %d x %d, %d bytes", name, img.Bounds().Dx(), img.Bounds().Dy(), len(b))
		if dir != "" {
			if err := os.WriteFile(filepath.Join(dir, strings.ReplaceAll(name, " ", "-")+".png"), b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestSVGHoldsToAStrictPolicyAndSaysItsWords(t *testing.T) {
	d := scenes(t)["dewy"]
	d.Title = `<b>"Nell's" roof</b> & more`
	svg, err := d.SVG("r1")
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		XMLName xml.Name
		ViewBox string `xml:"viewBox,attr"`
		Title   string `xml:"title"`
		Desc    string `xml:"desc"`
		Paths   []struct {
			Class string `xml:"class,attr"`
			D     string `xml:"d,attr"`
		} `xml:"path"`
		Texts []string `xml:"text"`
	}
	if err := xml.Unmarshal([]byte(svg), &doc); err != nil {
		t.Fatalf("not well-formed: %v", err)
	}
	if doc.Title != "Hour ribbon: "+d.Title || !strings.Contains(doc.Desc, "Dew: closed 06:00 to 09:00") || !strings.Contains(doc.Desc, "Sealed 16:00") {
		t.Errorf("title %q, description %q", doc.Title, doc.Desc)
	}
	for _, bad := range []string{"style=", "<style", "<script", "href", "<b>", "NaN", "Inf", "url("} {
		if strings.Contains(svg, bad) {
			t.Errorf("the SVG holds %q", bad)
		}
	}
	classes := map[string]bool{}
	for _, p := range doc.Paths {
		classes[p.Class] = true
	}
	for _, c := range []string{"careful", "middle", "closed", "hatch", "night", "ink", "paper"} {
		if !classes["ribbon-"+c] {
			t.Errorf("nothing is drawn with ribbon-%s", c)
		}
	}
	if !slices.Contains(doc.Texts, "Dew") || !slices.Contains(doc.Texts, "strip 08:00") || !strings.HasPrefix(doc.ViewBox, "0 0 360 ") {
		t.Errorf("texts %q, view box %q", doc.Texts, doc.ViewBox)
	}
	alone := ribbon.Styled(svg)
	if err := xml.Unmarshal([]byte(alone), &doc); err != nil || !strings.Contains(alone, ".ribbon-careful{fill:#1b5a65}") {
		t.Errorf("standing alone it is not well-formed or has no colours: %v", err)
	}
	if len(svg) > 30<<10 {
		t.Errorf("the SVG has %d bytes", len(svg))
	}
	t.Logf("%d bytes", len(svg))
}

func TestWords(t *testing.T) {
	all := scenes(t)
	for _, c := range []struct{ scene, want string }{
		{"fine", "Rain: open all day; dry in all 51 forecasts."},
		{"fine", "Open by 11:15."},
		{"dewy", "Dew: closed 06:00 to 09:00; doubtful 09:00 to 11:00; 4.4 K above the dew point, least 3, 13:00."},
		{"windy", "Wind: closed 11:00 to 16:00; doubtful 09:00 to 11:00, 16:00 to 18:00; gusts 17.2 of 15 m/s, 13:00."},
		{"no data", "Rain: no data all day."},
		{"no data", "Wind: no data."},
	} {
		if got := all[c.scene].Words(); !slices.Contains(got, c.want) {
			t.Errorf("%s: want %q among %q", c.scene, c.want, got)
		}
	}
}

// TestClockChange draws the days on which Halifax (2027: 14 March, 7 November)
// changes its clock: 23 and 25 hours, each as wide as any other, and every name
// on the axis once.
func TestClockChange(t *testing.T) {
	z := halifax(t)
	for _, c := range []struct {
		month time.Month
		day   int
		hours int
	}{{3, 14, 23}, {11, 7, 25}, {6, 1, 24}} {
		from, to := time.Date(2027, c.month, c.day, 0, 0, 0, 0, z), time.Date(2027, c.month, c.day+1, 0, 0, 0, 0, z)
		d := ribbon.Day{Title: "clock", Zone: z, From: from, To: to}
		l := ribbon.Lane{Name: "Rain"}
		for h := from; h.Before(to); h = h.Add(time.Hour) {
			l.Rooms = append(l.Rooms, ribbon.Room{Span: ribbon.Span{From: h, To: h.Add(time.Hour)}, Middle: 1, Careful: 1})
		}
		d.Lanes = []ribbon.Lane{l}
		if len(l.Rooms) != c.hours {
			t.Fatalf("%d/%d has %d hours, want %d", c.month, c.day, len(l.Rooms), c.hours)
		}
		svg, err := d.SVG("x")
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"00", "03", "06", "12", "18", "21"} {
			want := 1
			if name == "00" { // both ends of the day
				want = 2
			}
			if n := strings.Count(svg, ">"+name+"</text>"); n != want {
				t.Errorf("%d/%d: the axis names %s %d times, want %d", c.month, c.day, name, n, want)
			}
		}
	}
}

// TestOddDays must draw without fault: zones off the hour, hours out of range,
// stages that run over the axis, marks beyond it, nothing at all.
func TestOddDays(t *testing.T) {
	z, err := time.LoadLocation("Asia/Kathmandu") // UTC+05:45
	if err != nil {
		t.Fatal(err)
	}
	at := func(h float64) time.Time {
		return time.Date(2027, 5, 4, 0, 0, 0, 0, time.UTC).Add(time.Duration(h * float64(time.Hour)))
	}
	span := func(a, b float64) ribbon.Span { return ribbon.Span{From: at(a), To: at(b)} }
	inf := math.Inf(1)
	d := ribbon.Day{
		Title: "odd", Zone: z, From: at(1), To: at(16), Now: at(5),
		Lanes: []ribbon.Lane{{Name: "Rain", Rooms: []ribbon.Room{
			{Span: span(1, 2), Middle: inf, Careful: -inf}, {Span: span(4, 5), Middle: 9, Careful: 8}, {Span: span(5, 6), Middle: 0, Careful: 0},
			{Span: span(6, 7), Middle: math.NaN(), Careful: 1}, {Span: span(15, 18), Middle: -1, Careful: -2, Closed: true},
		}}},
		Stages: []ribbon.Stage{
			{Name: "a stage with a very long name indeed", Span: span(0, 30)}, {Name: "gone", Span: span(-5, 0)}, {Name: "point", Span: span(5, 5.001)},
		},
		Windows: []ribbon.Span{span(2, 2)},
		Marks:   []ribbon.Mark{{Name: "open by", At: at(5)}, {Name: "sealed", At: at(5.2), Firm: true}, {Name: "beyond", At: at(40)}},
	}
	for name, x := range map[string]ribbon.Day{"odd": d, "empty": {Zone: z, From: at(1), To: at(16)}} {
		if b, err := x.PNG(); err != nil || len(b) == 0 {
			t.Errorf("%s: %v", name, err)
		}
		svg, err := x.SVG("x")
		if err != nil || strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || strings.Contains(svg, ">beyond") {
			t.Errorf("%s: %v, %s", name, err, svg)
		}
	}
	if dir := os.Getenv("LAYCAST_PICTURES"); dir != "" {
		b, _ := d.PNG()
		if err := os.WriteFile(filepath.Join(dir, "odd.png"), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
