package db

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// AskSignIn keeps that somebody asked for a sign-in link, and puts the mail that
// bears it into the outbox, in one transaction. It gives false, and does
// nothing, where the address asked access.SignInsAnHour times in the hour before.
// Of a person who may not sign in only the asking is kept, so that both cost
// alike.
func (d *DB) AskSignIn(ctx context.Context, ask access.SignIn, mail []notify.Message) (bool, error) {
	person, taken := text(strings.ToLower(ask.Person)), false
	err := d.write(ctx, func(tx *sql.Tx) error {
		taken = false
		// the firm's row first, as in every writing transaction
		if _, err := firmOf(ctx, tx, ask.Firm, d.forUpdate()); err != nil {
			return err
		}
		if _, err := exec(ctx, tx, `DELETE FROM signins WHERE created < $1`, ms(ask.Created.Add(-access.SignInsKept))); err != nil {
			return err
		}
		asked, err := collect(ctx, tx, words, `SELECT hash FROM signins WHERE firm = $1 AND person = $2 AND created > $3`,
			text(ask.Firm), person, ms(ask.Created.Add(-time.Hour)))
		if err != nil || len(asked) >= access.SignInsAnHour {
			return err
		}
		known := 0
		if ask.Known {
			known = 1
		} else {
			mail = nil
		}
		_, err = exec(ctx, tx, `INSERT INTO signins (hash, firm, person, known, created, expires, used)
			VALUES ($1, $2, $3, $4, $5, $6, `+none+`)`, text(ask.Hash), text(ask.Firm), person, known, ms(ask.Created), ms(ask.Expires))
		if err != nil {
			return err
		}
		taken = true
		return d.putMessages(ctx, tx, ledger.Decision{Firm: ask.Firm, Now: ask.Created, Messages: mail})
	})
	if err != nil {
		return false, fmt.Errorf("ask for a sign-in link to firm %q: %w", ask.Firm, err)
	}
	return taken, nil
}

const openSignIn = ` WHERE firm = $1 AND hash = $2 AND known = 1 AND used = ` + none + ` AND expires > $3`

// SignInOpen reports whether a sign-in link still signs somebody in. Looking
// does not use it up.
func (d *DB) SignInOpen(ctx context.Context, uid, hash string, now time.Time) (bool, error) {
	_, ok, err := one(ctx, d.reader, words, `SELECT hash FROM signins`+openSignIn, text(uid), text(hash), ms(now))
	if err != nil {
		return false, fmt.Errorf("look up a sign-in link: %w", err)
	}
	return ok, nil
}

// UseSignIn uses a sign-in link up and gives whom it signs in; of many who use
// it at once, one does. The person's other links end with it.
func (d *DB) UseSignIn(ctx context.Context, uid, hash string, now time.Time) (person string, ok bool, err error) {
	err = d.write(ctx, func(tx *sql.Tx) error {
		if _, err := firmOf(ctx, tx, uid, d.forUpdate()); err != nil {
			return err
		}
		person, ok, err = one(ctx, tx, words, `UPDATE signins SET used = $3`+openSignIn+` RETURNING person`, text(uid), text(hash), ms(now))
		if err != nil || !ok {
			return err
		}
		_, err = exec(ctx, tx, `UPDATE signins SET expires = $3 WHERE firm = $1 AND person = $2 AND used = `+none+` AND expires > $3`,
			text(uid), text(person), ms(now))
		return err
	})
	if err != nil {
		return "", false, fmt.Errorf("use a sign-in link: %w", err)
	}
	return person, ok, nil
}
