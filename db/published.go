package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"laycast/job"
	"laycast/notify/calendar"
	"laycast/scheduler/ledger"
)

const publishedColumns = `job, n, reader, person, digest, over, body`

func scanPublished(s scanner) (ledger.Published, error) {
	var p ledger.Published
	var e jsonText[calendar.Event]
	err := s.Scan(&p.Job, &p.N, &p.Reader, &p.Person, &p.Digest, (*dateText)(&p.Over), &e)
	p.Event = e.V
	return p, err
}

// PublishedFor reads what one reader's calendar shows, by job and number, of
// all jobs: reader "customer" with a mail address in any case, "crew/ID" with
// the crew's id, or "owner" with "".
func (d *DB) PublishedFor(ctx context.Context, uid, reader, person string) ([]ledger.Published, error) {
	ps, err := publishedOf(ctx, d.reader, ` WHERE firm = $1 AND reader = $2 AND person = $3`, text(uid), text(reader), personKey(reader, person))
	if err != nil {
		return nil, fmt.Errorf("read what firm %q published: %w", uid, err)
	}
	return ps, nil
}

func publishedOf(ctx context.Context, q querier, where string, args ...any) ([]ledger.Published, error) {
	ps, err := collect(ctx, q, scanPublished, `SELECT `+publishedColumns+` FROM published`+where, args...)
	slices.SortFunc(ps, func(x, y ledger.Published) int {
		return cmp.Or(strings.Compare(x.Job, y.Job), cmp.Compare(x.N, y.N), strings.Compare(x.Reader, y.Reader))
	})
	return ps, err
}

// personKey gives a reader's person as it is kept: mail addresses in lower case.
func personKey(reader, person string) string {
	if reader == "customer" {
		return text(strings.ToLower(person))
	}
	return text(person)
}

// putPublished adds rows and puts new ones in the place of old ones.
func (d *DB) putPublished(ctx context.Context, tx *sql.Tx, firm string, ps []ledger.Published) error {
	_, err := d.each(ctx, tx, len(ps), `INSERT INTO published (firm, `+publishedColumns+`)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT (firm, job, n, reader) DO UPDATE SET
		person = excluded.person, digest = excluded.digest, over = excluded.over, body = excluded.body`,
		func(i int) ([]any, error) {
			p := ps[i]
			b, err := encode(p.Event)
			if err != nil {
				return nil, fmt.Errorf("job %q: %w", p.Job, err)
			}
			return []any{firm, text(p.Job), p.N, text(p.Reader), personKey(p.Reader, p.Person), text(p.Digest), p.Over.String(), b}, nil
		})
	return err
}

// dropPublished deletes what is over before a day, none for the zero date.
func dropPublished(ctx context.Context, tx *sql.Tx, firm string, before job.Date) error {
	if before.IsZero() {
		return nil
	}
	_, err := exec(ctx, tx, `DELETE FROM published WHERE firm = $1 AND over < $2`, firm, before.String())
	return err
}

// putAccess writes what a decision opens to readers: links and calendar rows.
func (d *DB) putAccess(ctx context.Context, tx *sql.Tx, firm string, dec ledger.Decision) error {
	if err := d.putLinks(ctx, tx, dec.Links); err != nil {
		return fmt.Errorf("links: %w", err)
	}
	if err := d.putPublished(ctx, tx, firm, dec.Published); err != nil {
		return fmt.Errorf("published: %w", err)
	}
	if err := dropPublished(ctx, tx, firm, dec.Dropped); err != nil {
		return fmt.Errorf("drop published: %w", err)
	}
	return nil
}
