package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/openmeteo"
	"laycast/forecast/skill"
)

// warmPast stands in for the API of past forecasts: each was 2 K too warm from the
// first day on, and beyond three days none was kept.
type warmPast struct {
	*httptest.Server
	asked atomic.Int64
	empty atomic.Bool // it has kept nothing
}

func newWarmPast(t testing.TB) *warmPast {
	p := &warmPast{}
	p.Server = httptest.NewServer(p)
	t.Cleanup(p.Close)
	return p
}

func (p *warmPast) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	p.asked.Add(1)
	q := r.URL.Query()
	now, err := http.ParseTime(r.Header.Get("Date"))
	days, err2 := strconv.Atoi(q.Get("past_days"))
	if err != nil || err2 != nil || q.Get("forecast_days") != "0" || r.URL.Path != "/past/v1/forecast" {
		http.Error(w, "not what is asked of it", http.StatusBadRequest)
		return
	}
	start := now.UTC().Truncate(24*time.Hour).AddDate(0, 0, -days)
	hours, units := obj{}, obj{"time": "unixtime"}
	stamps := make([]int64, 24*days)
	for i := range stamps {
		stamps[i] = start.Add(time.Duration(i) * time.Hour).Unix()
	}
	hours["time"] = stamps
	for _, name := range strings.Split(q.Get("hourly"), ",") {
		base, lead, _ := strings.Cut(name, "_previous_day")
		units[name] = map[string]string{"temperature_2m": "°C", "dew_point_2m": "°C", "precipitation": "mm", "wind_speed_10m": "m/s"}[base]
		col := make([]*float64, len(stamps))
		for i := range col {
			x := map[string]float64{"temperature_2m": 12 + 4*math.Sin(float64(i)/24*2*math.Pi), "dew_point_2m": 6, "wind_speed_10m": 4}[base]
			if lead != "" && base == "temperature_2m" {
				x += 2
			}
			if lead <= "3" && !p.empty.Load() || lead == "" {
				col[i] = &x
			}
		}
		hours[name] = col
	}
	var all []obj
	for i, lat := range strings.Split(q.Get("latitude"), ",") {
		x, _ := strconv.ParseFloat(lat, 64)
		y, _ := strconv.ParseFloat(strings.Split(q.Get("longitude"), ",")[i], 64)
		place := obj{"latitude": x, "longitude": y, "elevation": 20, "utc_offset_seconds": 0, "timezone": "GMT", "hourly_units": units, "hourly": hours}
		if i > 0 {
			place["location_id"] = i
		}
		all = append(all, place)
	}
	body, err := json.Marshal(all)
	if len(all) == 1 {
		body, err = json.Marshal(all[0])
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(body)
}

// stats reads what is known of the errors at the places of a book.
func (o *office) stats(cells []forecast.Cell) map[forecast.Cell]skill.Stats {
	o.t.Helper()
	h := o.house()
	defer h.close()
	ss, err := h.db.Skill(o.t.Context(), openmeteo.Source, cells)
	if err != nil {
		o.t.Fatal(err)
	}
	out := map[forecast.Cell]skill.Stats{}
	for _, s := range ss {
		out[s.Cell] = s.Stats
	}
	return out
}

// What a source forecast in the past is learned from at once, place by place, by
// one request of the booked cost; again it teaches nothing, and a place that comes
// later is learned about alone. An own record of a few nights is begun anew.
func TestLearningFromThePast(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	past := newWarmPast(t)
	o := officeWith(t, "", fmt.Sprintf(`, previous_url: "%s/past", per_minute: 480`, past.URL))
	o.fails(exitFail, []string{"no booked job"}, "skill", "--learn-past", "40")
	o.takeIn(bookOf(2, "2027-10-25"))
	o.rehearse("2027-10-24T12:00:00Z", "2027-10-26T12:00:00Z") // two nights of its own
	cells := []forecast.Cell{forecast.CellOf(53.35, -6.26, 20), forecast.CellOf(53.41, -6.26, 20)}
	own := o.stats(cells)
	if len(own) != 2 || own[cells[0]].Days == 0 || own[cells[0]].Days > 3 {
		t.Fatalf("two nights left a record of %d places, %d days", len(own), own[cells[0]].Days)
	}

	if text := o.must("skill", "--learn-past", "40"); text != "open-meteo: learned from its forecasts of the last 40 days at 2 places.\n" || past.asked.Load() != 1 {
		t.Errorf("%d requests: %s", past.asked.Load(), text)
	}
	got := o.stats(cells)
	for _, c := range cells {
		s := got[c]
		// forty days that count half beside a prior worth thirty, fading: about 0.4 of
		// the error
		for lead := 1; lead <= 3; lead++ {
			if e := s.Lead[lead][skill.Air][2].Error; e > -0.5 || e < -1.2 {
				t.Errorf("%v, %d days ahead: the air is corrected by %.2f K, want about -0.8", c, lead, e)
			}
		}
		if e := s.Lead[5][skill.Air][2].Error; e != 0 || s.Days != 40 || !s.Through.Equal(moment(t, "2027-10-26T00:00:00Z")) {
			t.Errorf("%v: %.2f K at a lead of which nothing is kept, %d days through %s", c, e, s.Days, s.Through)
		}
	}

	if text := o.must("skill", "--learn-past", "40"); !strings.Contains(text, "2 places left as known") || past.asked.Load() != 1 {
		t.Errorf("again, %d requests: %s", past.asked.Load(), text)
	}
	if again := o.stats(cells); again[cells[0]] != got[cells[0]] || again[cells[1]] != got[cells[1]] {
		t.Error("what was learned counts twice")
	}

	book := bookOf(3, "2027-10-25")
	last := book["jobs"].([]any)[2].(map[string]any)
	last["site"].(map[string]any)["lat"] = 53.6
	o.takeIn(book)
	past.empty.Store(true)
	if text := o.must("skill", "--learn-past", "40"); !strings.Contains(text, "nothing is kept of its forecasts for 1 place") {
		t.Errorf("of a place without past forecasts: %s", text)
	}
	past.empty.Store(false)
	l := decode[[]pastLearned](t, o.must("skill", "--learn-past", "40", "--json"))
	if len(l) != 1 || l[0].Learned != 1 || l[0].Known != 2 || l[0].Nothing != 0 || l[0].Waiting != 0 {
		t.Errorf("a place that came later: %+v", l)
	}

	// the daemon goes on from it, by the same statistics
	o.rehearse("2027-10-26T12:00:00Z", "2027-10-27T12:00:00Z")
	if s := o.stats(cells)[cells[0]]; s.Days != 41 || s.Lead[1][skill.Air][2].Error > -0.4 {
		t.Errorf("a night later: %d days, %.2f K", s.Days, s.Lead[1][skill.Air][2].Error)
	}
}

// More places than one minute's allowance bears are learned about over several
// runs; what was learned is kept.
func TestLearningFromThePastKeepsToTheAllowance(t *testing.T) {
	t.Parallel()
	past := newWarmPast(t)
	o := officeWith(t, "", fmt.Sprintf(`, previous_url: "%s/past", per_day: 100`, past.URL)) // ten places cost 91
	book := bookOf(14, "2027-10-25")
	for i, j := range book["jobs"].([]any) {
		j.(map[string]any)["site"].(map[string]any)["lat"] = 52.5 + 0.1*float64(i)
	}
	o.rehearse("2027-10-24T11:59:00Z", "2027-10-24T12:00:00Z") // sets the virtual clock, and has nothing to ask for
	o.takeIn(book)
	first := decode[[]pastLearned](t, o.must("skill", "--learn-past", "40", "--json"))[0]
	if first.Learned > 10 || first.Learned+first.Waiting != 14 || first.Waiting == 0 || first.Until == nil {
		t.Fatalf("the first run: %+v", first)
	}
	o.fails(exitFail, []string{"not to be asked before 2027-10-25T00:00:10Z"}, "skill", "--learn-past", "40")
	if asked := past.asked.Load(); asked != 1 {
		t.Errorf("%d requests in one day", asked)
	}
}

func TestLearnPastRefuses(t *testing.T) {
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	o.fails(exitUsage, []string{"1 to 40"}, "skill", "--learn-past", "41")
	o.fails(exitUsage, []string{"leave out"}, "skill", "--learn-past", "10", "--weather", "x.csv")
	other := newOther(t)
	x := openOffice(t, "Europe/Dublin", "")
	x.write("laycast.yaml", "firm: {name: Quay Roofs, zone: Europe/Dublin, email: office@quay.example}\nlisten: 127.0.0.1:0\n"+
		"database: sqlite:"+x.dir+"/laycast.db\nsource: {kind: met-norway, url: \""+other.URL+"\", contact: office@quay.example}\n")
	x.takeIn(bookOf(1, "2027-10-25"))
	x.fails(exitFail, []string{"none of the firm's sources tells its past forecasts"}, "skill", "--learn-past", "10")
}

var _ pastSource = (*openmeteo.Client)(nil)
