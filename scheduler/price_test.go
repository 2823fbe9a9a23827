package scheduler

import (
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/season"
)

// What a job of 1,800 with a return of 150 is worth later: 0.9 x 1,650 = 1,485
// where nothing is known of the season; the less, the fewer laying days its
// deadline leaves after the two weeks ahead; and a roof begun is finished.
func TestWhatLaterIsWorth(t *testing.T) {
	f := job.DefaultFirm()
	f.UID, f.Zone = "quay", "UTC"
	f.Costs.WeekLate = 350_00
	day := func(m time.Month, d int) job.Date { return job.Date{Year: 2027, Month: m, Day: d} }
	b := job.Booking{Job: job.Job{ID: "q", Value: 1800_00, Promised: day(time.September, 10), Deadline: day(time.December, 1)}, State: job.Booked}
	b.Roof = job.Roof{AreaM2: 8, Work: job.Replace, Deck: job.NewBoard}
	dry, wet := &season.Outlook{}, &season.Outlook{}
	for i := range dry.Share {
		dry.Share[i], wet.Share[i] = 1, 0.07/season.Caught // 0.07 of the days to count on
	}
	later := func(o *season.Outlook, b job.Booking) (plan.Job, string) {
		book := ledger.Book{Firm: f, Crews: []job.Crew{{ID: "gull", Size: 2}}, Jobs: []job.Booking{b}}
		p := &planner{w: &work{s: New(Config{Season: o}), book: book, zone: time.UTC}, day0: day(time.September, 1)}
		var j plan.Job
		j.Promised, j.Deadline = b.Promised.DaysSince(p.day0), b.Deadline.DaysSince(p.day0)
		if err := p.price(&j, b, f.Costs); err != nil {
			t.Fatal(err)
		}
		return j, p.waits(b)
	}
	if j, words := later(nil, b); j.Later != 1485_00 || j.LatePerDay != 50_00 || words != "; each week after Friday 10 September costs about 350\u00a0EUR" {
		t.Errorf("no record: %d, %d a day, %q", j.Later, j.LatePerDay, words)
	}
	if j, _ := later(dry, b); j.Later < 1484_00 || j.Later > 1485_00 {
		t.Errorf("a dry autumn: %d", j.Later)
	}
	poor, words := later(wet, b)
	if poor.Later >= 1485_00 || poor.Later < 1300_00 || !strings.Contains(words, "usual weather leaves about 5 laying days until Wednesday 1 December") { // 66 working days x 0.07
		t.Errorf("a wet autumn: %d, %q", poor.Later, words)
	}
	// 15 to 17 September: three working days at 0.07 give 1 - 0.93³ = 0.1956
	soon := b
	soon.Deadline = day(time.September, 17)
	if j, _ := later(wet, soon); j.Later != 290_52 { // 0.9 x 0.195643 x 1,650, down to the cent
		t.Errorf("a deadline close behind the two weeks: %d", j.Later)
	}
	// half laid: 900 left, later 0.9 x (900 - 150) whatever the season, 900/20 a
	// day from the day after its first bay on, and no deadline
	soon.LaidM2, soon.SealedOn = 4, day(time.August, 31)
	if j, _ := later(wet, soon); j.Value != 900_00 || j.Later != 675_00 || j.LatePerDay != 50_00 || j.Promised != 0 || j.Deadline < 100 {
		t.Errorf("a roof begun: %+v", j)
	}
	// its topcoat alone: a fifth of 1,800, and a fifth of its lateness
	soon.LaidM2 = 8
	if j, _ := later(wet, soon); j.Value != 360_00 || j.Later != 324_00 || j.LatePerDay != 10_00 || j.Promised != 1 || j.Return != 0 {
		t.Errorf("a topcoat of its own: %+v", j)
	}
	own := b
	own.LateCostPerDay = 80_00
	if j, _ := later(nil, own); j.LatePerDay != 80_00 {
		t.Errorf("its own lateness: %d", j.LatePerDay)
	}
}
