package db

import (
	"context"
	"errors"
	"fmt"

	"laycast/job/access"
)

// PutDeed records a change that somebody is about to make: without this row
// nothing is done.
func (d *DB) PutDeed(ctx context.Context, x access.Deed) error {
	if x.ID == "" || x.Who == "" || x.Did == "" || x.At.IsZero() {
		return errors.New("record a change: who, what, when and its id are needed")
	}
	_, err := d.execOne(ctx, `INSERT INTO deeds (id, firm, at, who, did, about, detail, outcome) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		text(x.ID), text(x.Firm), ms(x.At), text(x.Who), text(x.Did), text(x.About), text(x.Detail), access.DeedBegun)
	if err != nil {
		return fmt.Errorf("record a change of firm %q: %w", x.Firm, err)
	}
	return nil
}

// EndDeed records what a change came to: access.DeedDone, or why it failed.
func (d *DB) EndDeed(ctx context.Context, uid, id, outcome string) error {
	n, err := d.execOne(ctx, `UPDATE deeds SET outcome = $3 WHERE firm = $1 AND id = $2 AND outcome = '`+access.DeedBegun+`'`,
		text(uid), text(id), text(outcome))
	if err == nil && n == 0 {
		err = ErrNotFound
	}
	if err != nil {
		return fmt.Errorf("record what a change of firm %q came to: %w", uid, err)
	}
	return nil
}

// Deeds reads the newest changes of a firm, newest first, at most so many.
func (d *DB) Deeds(ctx context.Context, uid string, most int) ([]access.Deed, error) {
	xs, err := collect(ctx, d.reader, func(s scanner) (access.Deed, error) {
		var x access.Deed
		err := s.Scan(&x.ID, &x.Firm, into(&x.At), &x.Who, &x.Did, &x.About, &x.Detail, &x.Outcome)
		return x, err
	}, `SELECT id, firm, at, who, did, about, detail, outcome FROM deeds WHERE firm = $1 ORDER BY at DESC, id DESC LIMIT $2`, text(uid), most)
	if err != nil {
		return nil, fmt.Errorf("read the changes of firm %q: %w", uid, err)
	}
	return xs, nil
}
