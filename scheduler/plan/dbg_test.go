package plan

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

var t0 = time.Now()

func cpu() time.Duration { return time.Since(t0) }
func TestDbg(t *testing.T) {
	type agg struct {
		n, proven              int
		below, maxb, gap, maxg float64
		ms, maxms              float64
	}
	m := map[string]*agg{}
	var order []string
	for _, k := range instances(t) {
		if !strings.Contains(k.name, os.Getenv("INST")) {
			continue
		}
		in := k.in
		c := cpu()
		pl := Solve(in)
		ms := (cpu() - c).Seconds() * 1000
		gain := pl.Objective - pl.Base
		below := 100 * float64(k.Gain-gain) / float64(k.Gain)
		if os.Getenv("V") != "" {
			fmt.Printf("%-18s below %.4f gap %.4f proven %t %.0f ms\n", k.name, below, 100*pl.Gap(), pl.Proven, ms)
		}
		if err := Check(in, pl); err != nil || pl.Bound < k.Gain+k.Base || gain > k.Upper {
			fmt.Println("BAD", k.name, err)
		}
		r := k.name[:strings.Index(k.name, "_")]
		a := m[r]
		if a == nil {
			a = &agg{}
			m[r] = a
			order = append(order, r)
		}
		a.n++
		if pl.Proven {
			a.proven++
		}
		a.below += below
		a.maxb = max(a.maxb, below)
		a.gap += 100 * pl.Gap()
		a.maxg = max(a.maxg, 100*pl.Gap())
		a.ms += ms
		a.maxms = max(a.maxms, ms)
	}
	for _, r := range order {
		a := m[r]
		n := float64(a.n)
		fmt.Printf("%-4s n %d below %.4f/%.4f gap %.4f/%.4f proven %d ms %.0f/%.0f\n", r, a.n, a.below/n, a.maxb, a.gap/n, a.maxg, a.proven, a.ms/n, a.maxms)
	}
}
