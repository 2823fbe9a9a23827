package scheduler

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"

	"laycast/forecast"
	"laycast/job"
)

// sideBySide does n things, as many at a time as there are processors. A panic of one
// is the caller's, so that a page that fails takes nothing else down.
func sideBySide(n int, do func(i int)) {
	broke := make([]string, n)
	one := func(i int) {
		defer func() {
			if r := recover(); r != nil {
				broke[i] = fmt.Sprintf("%v\n%s", r, debug.Stack())
			}
		}()
		do(i)
	}
	var taken atomic.Int64
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := int(taken.Add(1)) - 1; i < n; i = int(taken.Add(1)) - 1 {
				one(i)
			}
		})
	}
	wg.Wait()
	for _, words := range broke {
		if words != "" {
			panic(words)
		}
	}
}

// warm works out the grounds of some visits on a day side by side, before they are
// judged one after the other. What cannot be judged is told by who judges it.
func (w *work) warm(vs []job.Visit, d job.Date, is map[forecast.Cell]forecast.Issue) {
	sideBySide(len(vs), func(i int) {
		b, ok := w.booking(vs[i].Job)
		c, err := w.s.caseOf(w.book.Firm, b, w.crew(vs[i].Crew).Size, w.zone)
		if ok && err == nil {
			w.s.grounds.day(is[CellOf(b.Site)], c, d)
		}
	})
}
