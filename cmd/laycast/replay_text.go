package main

import (
	"fmt"
	"strings"

	"laycast/job"
	"laycast/scheduler/replay"
)

// The JSON of `replay`.
type replayJSON struct {
	Season   string             `json:"season"`
	Bound    job.Money          `json:"bound"`                      // of the gain with perfect foresight
	Found    job.Money          `json:"found"`                      // a clairvoyant plan that was found
	Knowing  job.Money          `json:"bound_of_perfect,omitempty"` // the bound of the perfect forecast: no roof is opened to heat
	Policies []replayPolicyJSON `json:"policies"`
}

type replayPolicyJSON struct {
	Policy      string    `json:"policy"`
	Share       float64   `json:"share"`
	Gain        job.Money `json:"gain"`
	Jobs        int       `json:"jobs"`
	Done        int       `json:"done"`
	Finished    int       `json:"finished"`
	Lays        int       `json:"lays"`
	NotSealed   int       `json:"not_sealed"`
	Foreseen    float64   `json:"not_sealed_foreseen"`
	Within      float64   `json:"not_sealed_within"` // 95 % of seasons lie so near the foreseen
	Rained      int       `json:"rained_open"`
	Pulled      int       `json:"pulled"`
	Moves       int       `json:"moves"`
	ShortMoves  int       `json:"moves_short"`
	ReturnMoves int       `json:"moves_return"`
	StandBys    int       `json:"stand_bys"`         // customers who were told no day and asked to stand by for one
	InVain      int       `json:"stand_bys_in_vain"` // of them, those to whom nobody came
	Notice      float64   `json:"notice_days"`
	SealedGain  job.Money `json:"sealed_gain"`
	CoatedGain  job.Money `json:"topcoat_gain"`
	Aborts      job.Money `json:"abort_cost"`
	Late        job.Money `json:"late_cost"` // over doing nothing: below zero where lateness was saved
	Moved       job.Money `json:"move_cost"`
	Road        job.Money `json:"road_cost"`

	CrewDays []crewDaysJSON `json:"crew_days,omitempty"` // with --losses
}

type crewDaysJSON struct {
	Fate   string `json:"fate"`
	Days   int    `json:"days"`
	Could  int    `json:"would_have_held"`
	Likely int    `json:"seen_the_evening_before"`
}

func (c *replayCmd) json(rs []replay.Result) []replayJSON {
	out := []replayJSON{}
	for _, r := range rs {
		j := replayJSON{Season: r.Season, Bound: job.Money(r.Foresight.Bound), Found: job.Money(r.Foresight.Found), Knowing: job.Money(r.Knowing.Bound)}
		for _, p := range c.policies() {
			x := r.Scores[p]
			j.Policies = append(j.Policies, replayPolicyJSON{
				Policy: string(p), Share: r.Share(p), Gain: job.Money(x.Money), Jobs: x.Jobs, Done: x.Done, Finished: x.Finished,
				Lays: x.Lays, NotSealed: x.Failed, Foreseen: x.Foreseen, Within: x.Sure, Rained: x.Rained, Pulled: x.Pulled,
				Moves: x.Moves, ShortMoves: x.ShortMoves, ReturnMoves: x.ReturnMoves, StandBys: x.StandBys, InVain: x.InVain, Notice: x.Notice,
				SealedGain: job.Money(x.Sealed), CoatedGain: job.Money(x.Coated), Aborts: job.Money(x.Aborts),
				Late: job.Money(x.Late), Moved: job.Money(x.Moved), Road: job.Money(x.Road),
				CrewDays: c.crewDays(r.Spent[p]),
			})
		}
		out = append(out, j)
	}
	return out
}

// table prints a season after the other, in columns or as Markdown.
func (c *replayCmd) table(s *session, rs []replay.Result) {
	head := []string{"policy", "share", "done", "topcoated", "lays", "rained on", "not sealed", "foreseen", "pulled", "moves/job", "short", "return", "in vain", "notice"}
	for _, r := range rs {
		best := 100 * (1 - float64(r.Foresight.Found)/float64(r.Foresight.Bound))
		title := fmt.Sprintf("%s: the clairvoyant gains %s at most (a plan within %.1f %% of it was found)", r.Season, job.Money(r.Foresight.Bound), best)
		if k := r.Knowing.Bound; k > 0 && k != r.Foresight.Bound {
			title += fmt.Sprintf("; who knows each day's heat opens no roof to it, and gains %s", job.Money(k))
		}
		if c.Markdown {
			s.printf("#### %s\n\n| %s |\n|%s\n", title, strings.Join(head, " | "), strings.Repeat("---|", len(head)))
		} else {
			s.printf("%s\n", title)
			s.printf("%-17s%7s%6s%10s%6s%10s%11s%12s%7s%10s%6s%7s%8s%7s\n", toAny(head)...)
		}
		for _, p := range c.policies() {
			x := r.Scores[p]
			per := func(n int) string { return fmt.Sprintf("%.2f", float64(n)/float64(max(x.Jobs, 1))) }
			row := []string{
				string(p), fmt.Sprintf("%.3f", r.Share(p)), fmt.Sprintf("%d", x.Done), fmt.Sprintf("%d", x.Finished), fmt.Sprintf("%d", x.Lays),
				fmt.Sprintf("%.1f %%", percentOf(x.Rained, x.Lays)), fmt.Sprintf("%.1f %%", percentOf(x.Failed, x.Lays)),
				fmt.Sprintf("%.0f±%.0f", x.Foreseen, x.Sure), fmt.Sprintf("%d", x.Pulled), per(x.Moves), per(x.ShortMoves), per(x.ReturnMoves), per(x.InVain), fmt.Sprintf("%.1f", x.Notice),
			}
			if c.Markdown {
				s.printf("| %s |\n", strings.Join(row, " | "))
			} else {
				s.printf("%-17s%7s%6s%10s%6s%10s%11s%12s%7s%10s%6s%7s%8s%7s\n", toAny(row)...)
			}
		}
		s.printf("\n")
		c.lossTable(s, r)
	}
}

// crewDays gives what became of the crews' days, nothing where nobody asked.
func (c *replayCmd) crewDays(spent map[replay.Fate]replay.Spent) []crewDaysJSON {
	var out []crewDaysJSON
	for _, f := range replay.Fates() {
		if n := spent[f]; c.Losses && spent != nil {
			out = append(out, crewDaysJSON{string(f), n.Days, n.Could, n.Likely})
		}
	}
	return out
}

// lossTable prints what became of the crews' days.
func (c *replayCmd) lossTable(s *session, r replay.Result) {
	for _, p := range c.policies() {
		rows := c.crewDays(r.Spent[p])
		if len(rows) == 0 {
			continue
		}
		if c.Markdown {
			s.printf("| crew-days of %s | days | would have held | and were seen so |\n|---|---|---|---|\n", p)
		} else {
			s.printf("%-34s%6s%17s%18s\n", "crew-days of "+string(p), "days", "would have held", "and were seen so")
		}
		for _, x := range rows {
			if c.Markdown {
				s.printf("| %s | %d | %d | %d |\n", x.Fate, x.Days, x.Could, x.Likely)
			} else {
				s.printf("  %-32s%6d%17d%18d\n", x.Fate, x.Days, x.Could, x.Likely)
			}
		}
		s.printf("\n")
	}
}

func toAny(xs []string) []any {
	out := make([]any, len(xs))
	for i, x := range xs {
		out[i] = x
	}
	return out
}

// percentOf gives n as a percentage of all, 0 where there are none.
func percentOf(n, all int) float64 { return 100 * float64(n) / float64(max(all, 1)) }
