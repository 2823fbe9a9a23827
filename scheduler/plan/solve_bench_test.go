package plan

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// made is a problem of a size, drawn with a fixed seed; its figures mean nothing.
func made(crews, jobs, days int) Input {
	rng := rand.New(rand.NewPCG(uint64(crews), uint64(jobs)))
	in := input(days)
	in.Crews = nil
	for i := range crews {
		in.Crews = append(in.Crews, Crew{ID: fmt.Sprint("crew", i), Size: 2, Skills: []string{"std"}, Off: make([]bool, days)})
		in.Crews[i].Off[rng.IntN(days)] = true
	}
	for i := range jobs {
		j := simple(fmt.Sprint("job", i), []int{1, 1, 2, 2, 4, 6}[rng.IntN(6)], 0)
		j.At = Place{rng.Int64N(400) - 200, rng.Int64N(400) - 200}
		j.Value = 60_000 * (2 + rng.Int64N(4))
		j.Later = j.Value * 8 / 10
		j.Promised, j.LatePerDay = rng.IntN(days), 500*rng.Int64N(10)
		w := Way{HalfDays: j.Ways[2].HalfDays}
		for range days {
			p := 500 + rng.Int64N(500)
			w.Odds = append(w.Odds, [2]Odds{{p, p, true}, {p, p - rng.Int64N(200), true}})
		}
		j.Ways = map[int]Way{2: w}
		in.Jobs = append(in.Jobs, j)
	}
	return in
}

func BenchmarkSolve(b *testing.B) {
	for _, n := range [][3]int{{3, 25, 14}, {5, 60, 14}, {10, 150, 14}, {20, 400, 28}} {
		in := made(n[0], n[1], n[2])
		b.Run(fmt.Sprintf("crews%d_jobs%d", n[0], n[1]), func(b *testing.B) {
			b.ReportAllocs()
			var pl Plan
			for b.Loop() {
				pl = Solve(in)
			}
			if err := Check(in, pl); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(100*pl.Gap(), "gap%")
		})
	}
}

func BenchmarkColumns(b *testing.B) {
	in := made(20, 400, 28)
	for b.Loop() {
		newProblem(&in)
	}
}
