package db

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"laycast/notify"
	"laycast/scheduler/ledger"
)

// Stopped reports whether a person (a mail address, in any case) of a firm has
// stopped mails of a kind.
func (d *DB) Stopped(ctx context.Context, uid, person string, kind notify.Kind) (bool, error) {
	_, ok, err := one(ctx, d.reader, words, `SELECT kind FROM stopped WHERE firm = $1 AND person = $2 AND kind = $3`,
		text(uid), text(strings.ToLower(person)), text(kind))
	if err != nil {
		return false, fmt.Errorf("look whether %s was stopped: %w", kind, err)
	}
	return ok, nil
}

// Stop notes that a person wants no more mails of a kind, or (stop false) wants
// them again. Doing it twice changes nothing.
func (d *DB) Stop(ctx context.Context, uid, person string, kind notify.Kind, stop bool, now time.Time) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		if !stop {
			_, err := exec(ctx, tx, `DELETE FROM stopped WHERE firm = $1 AND person = $2 AND kind = $3`,
				text(uid), text(strings.ToLower(person)), text(kind))
			return err
		}
		_, err := exec(ctx, tx, `INSERT INTO stopped (firm, person, kind, at) VALUES ($1, $2, $3, $4)
			ON CONFLICT (firm, person, kind) DO NOTHING`, text(uid), text(strings.ToLower(person)), text(kind), ms(now))
		return err
	})
	if err != nil {
		return fmt.Errorf("note who stopped %s: %w", kind, err)
	}
	return nil
}

func stoppedOf(ctx context.Context, q querier, uid string) ([]ledger.Stopped, error) {
	return collect(ctx, q, func(s scanner) (ledger.Stopped, error) {
		var x ledger.Stopped
		err := s.Scan(&x.Person, &x.Kind, into(&x.At))
		return x, err
	}, `SELECT person, kind, at FROM stopped WHERE firm = $1 ORDER BY person, kind`, text(uid))
}
