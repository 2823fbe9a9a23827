// Package replay is the rolling benchmark: whole seasons lived through on
// recorded weather, by the daemon itself and by simpler ways of booking, all on
// the same jobs and forecasts, and set against what perfect foresight could at
// most have earned.
//
// It drives scheduler.Scheduler with a book in memory and a virtual clock, so
// what is measured is the daemon's own code, task by task. It may import
// scheduler and everything below it.
package replay

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"time"

	"laycast/forecast"
	"laycast/job"
)

// Weather is a record of what was, and the forecasts that were made of it.
type Weather interface {
	// Fetch gives the runs that stand at the time of asking.
	Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error)
	// Truth gives n hourly slots of the record from start on, for one member.
	Truth(start time.Time, n int) forecast.Hours
}

// Season is one stream of weather and jobs that every policy lives through.
type Season struct {
	Name    string
	Weather Weather
	// Calibrated says that the members are as wide as the errors. They are then
	// judged as they come, else dressed first.
	Calibrated bool
	Firm       job.Firm
	Zone       *time.Location
	From       job.Date // first day
	Days       int
	Crews      []job.Crew
	Jobs       []Arrival // by day of arrival
}

// Arrival is a job and the day on whose morning it is booked.
type Arrival struct {
	On  job.Date
	Job job.Job
}

// Last gives the season's last day.
func (s *Season) Last() job.Date { return s.From.AddDays(s.Days - 1) }

// bold gives the season with a firm that goes from the bounds of its no-go. The fixed
// calendar goes from the same chance, whatever the risk of rain: beside it a firm's go
// tells planning from caution.
func (s *Season) bold() *Season {
	b := *s
	b.Firm.Bounds.Go, b.Firm.Bounds.GoRainOpen = s.Firm.Bounds.NoGo, s.Firm.Bounds.NoGoRain
	return &b
}

// Plot says what firm and jobs are invented for a season.
type Plot struct {
	Seed            uint64
	Jobs, Crews     int
	Lat, Lon, ElevM float64 // of the depot
}

// hands is the size of every crew: the larger roofs then take three bays at
// the most, and one price of a crew-day holds for all.
const hands = 4

// Invent invents crews and jobs. Sites lie in a few hamlets up to 25 km from the
// depot. A seventh of the jobs are there at the start, the others arrive evenly
// over the first four fifths of the season. Areas run from 8 to 64 m², most of
// them small. Values, costs and times allowed lie as in the planner's benchmark
// files. All amounts are common practice, no source.
func Invent(p Plot, f job.Firm, from job.Date, days int) (crews []job.Crew, jobs []Arrival) {
	rng := rand.New(rand.NewPCG(p.Seed, 0x6a6f6273))
	depot := job.Point{Lat: p.Lat, Lon: p.Lon}
	for i := range p.Crews {
		crews = append(crews, job.Crew{
			ID: fmt.Sprintf("crew-%d", i+1), Name: fmt.Sprintf("Crew %d", i+1), Size: hands,
			Email: fmt.Sprintf("crew%d@replay.example", i+1), Depot: depot,
		})
	}
	var hamlets []job.Point
	for range 6 {
		km, turn := 25*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
		hamlets = append(hamlets, job.Point{
			Lat: p.Lat + km/111.2*math.Cos(turn),
			Lon: p.Lon + km/111.2*math.Sin(turn)/math.Cos(p.Lat*math.Pi/180),
		})
	}
	for i := range p.Jobs {
		on := from
		if i >= p.Jobs/7 {
			on = from.AddDays(rng.IntN(days * 4 / 5))
		}
		jobs = append(jobs, Arrival{On: on, Job: invent(rng, f, hamlets[rng.IntN(len(hamlets))], p.ElevM, on)})
	}
	sort.SliceStable(jobs, func(a, b int) bool { return jobs[a].On.Before(jobs[b].On) })
	for i := range jobs {
		j := &jobs[i].Job
		j.ID = fmt.Sprintf("J-%03d", i+1)
		j.Title = "Roof " + j.ID
		j.Customer = job.Customer{Name: "Customer " + j.ID, Email: fmt.Sprintf("c%03d@replay.example", i+1)}
	}
	return crews, jobs
}

// invent invents one job that is booked on day on.
func invent(rng *rand.Rand, f job.Firm, at job.Point, elev float64, on job.Date) job.Job {
	area := math.Round(math.Min(64, 8*math.Exp(0.8*math.Abs(rng.NormFloat64()))))
	j := job.Job{Profile: "polyester"}
	j.Site = job.Site{Address: "a hamlet", Lat: at.Lat, Lon: at.Lon, ElevationM: elev, Zone: f.Zone}
	j.Roof = job.Roof{AreaM2: area, Work: job.Replace, Deck: job.NewBoard, Outlets: 1,
		Edges: []job.Edge{{Kind: job.Drip, LengthM: 4 * math.Sqrt(area)}}}
	switch {
	case rng.Float64() < 0.15:
		j.Roof.Work, j.Roof.Deck = job.Relaminate, job.GRP
	case rng.Float64() < 0.15:
		j.Roof.Work, j.Roof.Deck = job.Overboard, job.Felt
	}
	j.Value = job.Money(100 * math.Round((600+75*area)*(0.7+0.6*rng.Float64())))
	j.AbortCost = 20000 + job.Money(float64(j.Value)*(0.1+0.25*rng.Float64()))
	j.LateCostPerDay = []job.Money{1500, 1500, 1500, 3000, 3000, 6000, 12000, 12000}[rng.IntN(8)]
	j.Earliest = on.AddDays(1 + rng.IntN(8))
	j.Promised = j.Earliest.AddDays(rng.IntN(14))
	j.Deadline = j.Promised.AddDays(3 + rng.IntN(18))
	return j
}
