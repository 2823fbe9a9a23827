package plan

// A pin is kept by a bonus: every column of a pinned job gains more by it than
// all else in the plan could. So the search needs to know nothing of pins: it
// keeps as many as it can, and of the plans that do, finds the best. The bonus is
// taken off again before anything is printed.

// pin gives the pin of job j; nil where it has none or is frozen.
func (p *problem) pin(j int) *Pin {
	if p.in.Jobs[j].Fixed != nil {
		return nil
	}
	return p.in.Jobs[j].Pin
}

// pinnedTo reports whether the job's pin, if any, lets crew c do it.
func (j *Job) pinnedTo(c *Crew) bool {
	return j.Pin == nil || j.Pin.Crew == "" || j.Pin.Crew == c.ID
}

// open reports whether a start on day d, slot s may be planned as far as the
// odds go: where they are known, and for a pin also where none are.
func (in *Input) open(job *Job, w *Way, d, s int) bool {
	blind := job.Pin != nil && !w.odds(d, 0).Known && (w.HalfDays != 1 || !w.odds(d, 1).Known)
	return w.odds(d, s).Known || blind
}

// pins raises the starts of the pinned jobs by the bonus.
func (b *builder) pins() {
	p := b.p
	most, least := make([]int64, p.jobs), make([]int64, p.jobs)
	far := int64(0) // the longest driving of one day
	any := false
	for c := range p.in.Crews {
		s := b.size(p.in.Crews[c].Size)
		for j, starts := range s.starts {
			any = any || p.pin(j) != nil
			for _, st := range starts {
				trip := p.in.drive(2*RoadHm(p.in.Jobs[j].At, p.in.Crews[c].Depot)) * int64(st.n)
				far = max(far, trip)
				for slot, ok := range st.ok {
					if ok {
						most[j], least[j] = max(most[j], st.gain[slot]), min(least[j], st.gain[slot])
					}
				}
			}
		}
	}
	if !any {
		return
	}
	bonus := int64(1)
	for j := range p.jobs {
		bonus += most[j] + 1 // a cent for the rounding of shared driving
		if p.pin(j) != nil {
			bonus += far - least[j]
		}
	}
	p.bonus = bonus
	for _, s := range b.sizes {
		for j, starts := range s.starts {
			for i := range starts {
				if p.pin(j) != nil {
					starts[i].gain[0] += bonus
					starts[i].gain[1] += bonus
				}
			}
		}
	}
}
