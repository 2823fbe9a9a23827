package web

import (
	"cmp"
	"slices"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// diaryDay is what a crew noted on one day.
type diaryDay struct {
	When, Crew string
	Lines      []string
}

// diaryDaysOf gives what crews noted of a job, the newest day first, each day's
// lines in the order in which it was so.
func diaryDaysOf(b ledger.Book, j job.Booking, at moment) []diaryDay {
	type line struct {
		job.Entry
		words string
	}
	var lines []line
	d := b.Diary.Of(j.ID, job.Date{})
	for _, r := range d.Reports {
		words := reportWords(r)
		if r.What == job.Seen {
			words = "has seen the call"
		}
		lines = append(lines, line{r.Entry, words})
	}
	for _, r := range d.Readings {
		lines = append(lines, line{r.Entry, readingWords(r)})
	}
	for _, x := range d.Batches {
		lines = append(lines, line{x.Entry, batchWords(x)})
	}
	slices.SortStableFunc(lines, func(p, q line) int {
		return cmp.Or(q.Date.Compare(p.Date), cmp.Compare(p.Crew, q.Crew), p.At.Compare(q.At))
	})
	zone := siteZone(j.Job, at.zone)
	var out []diaryDay
	for i, l := range lines {
		if i == 0 || l.Date != lines[i-1].Date || l.Crew != lines[i-1].Crew {
			out = append(out, diaryDay{When: l.Date.Words(), Crew: crewName(b, l.Crew)})
		}
		day := &out[len(out)-1]
		clock := l.At.In(zone).Format("15:04")
		if job.DateOf(l.At.In(zone)) != l.Date { // a call is read the evening before
			clock = l.At.In(zone).Format("2 Jan 15:04")
		}
		day.Lines = append(day.Lines, clock+" "+notify.Clean(l.words))
	}
	return out
}
