package scheduler

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/scheduler/ledger"
)

// tellAfter is how long a source may fail before the owner hears of it.
const tellAfter = 3 * time.Hour

// instead says what comes of a source that gives no weather: which later one is
// used, or that nothing will be a go.
func (w *work) instead(r *round, k int) string {
	for _, n := range w.s.Sources[k+1:] {
		if st := r.state(n, forecast.Deterministic); st.Failures == 0 && !st.Good.IsZero() {
			return fmt.Sprintf("Meanwhile the weather is taken from %s, and calls say so. laycast goes back to %s by itself when it works again.", n.Name, w.s.Sources[k].Name)
		}
	}
	return "laycast goes on trying. Until it works again no call will be a go."
}

// tellFailing tells the owner of a source that has failed for hours: once a day,
// and only once where another source stands in for it.
func (w *work) tellFailing(r *round, k int, st ledger.SourceState) {
	end := w.instead(r, k)
	about, subject := "source "+st.Source+" "+string(st.Endpoint), "no new "+endpointWords(st.Endpoint)
	lines := []string{
		fmt.Sprintf("The weather source %s has failed since %s.", st.Source, st.Since.In(w.zone).Format("15:04 on Monday 2 January")),
		"The last answer was: " + st.Note,
		end,
	}
	if k > 0 {
		end, lines[2] = "", fmt.Sprintf("It is asked only in place of %s.", w.s.Sources[0].Name)
	}
	if k > 0 || strings.HasPrefix(end, "Meanwhile") {
		w.troubleOnce(about+" "+st.Since.UTC().Format(time.RFC3339), st.Since, subject+" from "+st.Source, lines)
		return
	}
	w.trouble(about, subject, lines)
}

// tellBarred tells the owner at once of a source that bars laycast for a time.
func (w *work) tellBarred(r *round, k int, st ledger.SourceState) {
	w.troubleOnce("barred "+st.Source+" "+st.Until.UTC().Format(time.RFC3339), w.now, st.Source+" refuses laycast", []string{
		"The weather source answered: " + st.Note,
		fmt.Sprintf("It is not asked again before %s. Going on would make it worse. See that the contact in the configuration is right, and write to the source if it is.",
			st.Until.In(w.zone).Format("15:04 on Monday 2 January")),
		w.instead(r, k),
	})
}

// tellInstead tells the owner once that a later source stands in for the first
// one, where nothing else tells it: the first is barred, or answers with old
// weather. Of one that fails tellFailing tells, of refused places tellRefused.
func (w *work) tellInstead(r *round, k int, c forecast.Cell) {
	first := w.s.Sources[0]
	for _, ep := range first.endpoints() {
		x := r.heads[cellKey{endKey{first.Name, ep}, c}]
		if x == nil || !stuck(x) || r.state(first, ep).Failures > 0 {
			continue
		}
		w.troubleOnce("stuck "+first.Name+" "+x.Changed.UTC().Format(time.RFC3339), x.Changed, first.Name+" sends nothing new", []string{
			fmt.Sprintf("The %s of %s answers, but its content is that of %s.", endpointWords(ep), first.Name, x.Changed.In(w.zone).Format("15:04 on Monday 2 January")),
			fmt.Sprintf("Meanwhile the weather is taken from %s, and calls say so. laycast goes back to %s by itself when it sends something new.", w.s.Sources[k].Name, first.Name),
		})
	}
}

// tellRefused tells the owner, once, which of the firm's sites a source refuses,
// when it has been asked for all of them. A place may have been refused when
// another firm asked.
func (w *work) tellRefused(r *round) {
	for k, n := range w.s.Sources {
		if len(r.due(k)) > 0 {
			continue
		}
		sites, key, note, since := []string{}, "", "", time.Time{}
		for _, c := range r.cells {
			mark := r.refused[cellKey{endKey{n.Name, r.ep}, c}]
			if mark.Since.IsZero() {
				continue
			}
			key += c.String() + " " + mark.Since.UTC().Format(time.RFC3339) + "|"
			if note = mark.Note; mark.Since.After(since) {
				since = mark.Since
			}
			for _, b := range w.book.Jobs {
				if b.State == job.Booked && CellOf(b.Site) == c {
					sites = append(sites, fmt.Sprintf("%s (%s), %s", b.Title, b.ID, b.Site.Address))
				}
			}
		}
		if key == "" {
			continue
		}
		lines := append([]string{n.Name + " refuses to give weather for the place of:"}, sites...)
		lines = append(lines, "It answered: "+note,
			"Please see whether the coordinates are right. If it refuses every site, see the source's settings: laycast doctor. A refused place is asked for again every day; all others go on as usual.")
		if k+1 < len(w.s.Sources) {
			lines = append(lines, "Meanwhile the next source is asked for it.")
		} else {
			lines = append(lines, "Without weather a job is never called go.")
		}
		sum := sha256.Sum256([]byte(key))
		w.troubleOnce(fmt.Sprintf("refused %s %s %x", n.Name, r.ep, sum[:8]), since, "no weather for a site", lines)
	}
}
