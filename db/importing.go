package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"laycast/job"
)

// ImportReport says what an import did.
type ImportReport struct {
	CrewsNew, CrewsChanged, CrewsSame int
	JobsNew, JobsChanged, JobsSame    int
}

// changed reports whether the import wrote anything.
func (r ImportReport) changed() bool {
	return r.CrewsNew+r.CrewsChanged+r.JobsNew+r.JobsChanged > 0
}

// Import takes crews and jobs into the book, all or nothing, by their ids:
// what is there already and the same is left alone, a changed job gets a
// higher revision and keeps its progress, a new one gets its first visit. Doing
// it again does nothing. now is kept as the time of the change.
func (d *DB) Import(ctx context.Context, uid string, in job.Import, now time.Time) (ImportReport, error) {
	var rep ImportReport
	err := d.write(ctx, func(tx *sql.Tx) error {
		rep = ImportReport{}
		if _, err := firmOf(ctx, tx, uid, d.forUpdate()); err != nil {
			return err
		}
		if err := d.importCrews(ctx, tx, text(uid), in.Crews, now, &rep); err != nil {
			return fmt.Errorf("crews: %w", err)
		}
		if err := d.importJobs(ctx, tx, text(uid), in.Jobs, now, &rep); err != nil {
			return fmt.Errorf("jobs: %w", err)
		}
		if !rep.changed() {
			return nil
		}
		_, err := exec(ctx, tx, `UPDATE firms SET revision = revision + 1 WHERE uid = $1`, text(uid))
		return err
	})
	if err != nil {
		return ImportReport{}, fmt.Errorf("import into firm %q: %w", uid, err)
	}
	return rep, nil
}

func (d *DB) importCrews(ctx context.Context, tx *sql.Tx, uid string, in []job.Crew, now time.Time, rep *ImportReport) error {
	have, err := collect(ctx, tx, body[job.Crew], `SELECT body FROM crews WHERE firm = $1`, uid)
	if err != nil {
		return err
	}
	old, err := bodies(have, func(c job.Crew) string { return c.ID })
	if err != nil {
		return err
	}
	var write []string
	var ids []string
	seen := map[string]bool{}
	for _, c := range in {
		if seen[c.ID] {
			return fmt.Errorf("%q comes twice", c.ID)
		}
		seen[c.ID] = true
		b, err := encode(c)
		if err != nil {
			return fmt.Errorf("%q: %w", c.ID, err)
		}
		was, there := old[c.ID]
		switch {
		case !there:
			rep.CrewsNew++
		case was == b:
			rep.CrewsSame++
			continue
		default:
			rep.CrewsChanged++
		}
		write, ids = append(write, b), append(ids, text(c.ID))
	}
	_, err = d.each(ctx, tx, len(write), `INSERT INTO crews (firm, id, changed, body) VALUES ($1, $2, $3, $4)
		ON CONFLICT (firm, id) DO UPDATE SET changed = excluded.changed, body = excluded.body`,
		func(i int) ([]any, error) { return []any{uid, ids[i], ms(now), write[i]}, nil })
	return err
}

func (d *DB) importJobs(ctx context.Context, tx *sql.Tx, uid string, in []job.Job, now time.Time, rep *ImportReport) error {
	have, err := collect(ctx, tx, body[job.Booking], `SELECT body FROM jobs WHERE firm = $1`, uid)
	if err != nil {
		return err
	}
	old := make(map[string]job.Booking, len(have))
	orders := make([]job.Job, len(have))
	for i, b := range have {
		old[b.ID], orders[i] = b, b.Job
	}
	was, err := bodies(orders, func(j job.Job) string { return j.ID })
	if err != nil {
		return err
	}
	var bookings []job.Booking
	var visits []job.Visit
	seen := map[string]bool{}
	for _, j := range in {
		if seen[j.ID] {
			return fmt.Errorf("%q comes twice", j.ID)
		}
		seen[j.ID] = true
		b, err := encode(j)
		if err != nil {
			return fmt.Errorf("%q: %w", j.ID, err)
		}
		booking, there := old[j.ID]
		switch {
		case !there:
			rep.JobsNew++
			bookings = append(bookings, job.Booking{Job: j, Revision: 1, State: job.Booked, NextVisit: 1})
			visits = append(visits, job.Visit{Job: j.ID, N: 1, State: job.Planned})
			continue
		case was[j.ID] == b:
			rep.JobsSame++
			continue
		}
		rep.JobsChanged++
		booking.Job = j
		booking.Revision++
		bookings = append(bookings, booking)
	}
	if err := d.putBookings(ctx, tx, uid, bookings, now); err != nil {
		return err
	}
	return d.putVisits(ctx, tx, uid, visits)
}

// bodies gives the JSON of each thing by its id, written anew so that a field
// that this version added is no difference.
func bodies[T any](things []T, id func(T) string) (map[string]string, error) {
	out := make(map[string]string, len(things))
	for _, t := range things {
		b, err := encode(t)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", id(t), err)
		}
		out[id(t)] = b
	}
	return out, nil
}
