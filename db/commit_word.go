package db

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// putCalls adds calls; one that is there by (job, date, occasion) stays as it
// was made, whatever is known now.
func (d *DB) putCalls(ctx context.Context, tx *sql.Tx, cs []call.Call) error {
	_, err := d.each(ctx, tx, len(cs), `INSERT INTO calls
		(firm, job, date, occasion, outcome, made, det_digest, ens_digest, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT (firm, job, date, occasion) DO NOTHING`,
		func(i int) ([]any, error) {
			c := cs[i]
			b, err := encode(c)
			if err != nil {
				return nil, fmt.Errorf("job %q on %s: %w", c.Job, c.Date, err)
			}
			return []any{text(c.Firm), text(c.Job), c.Date.String(), text(c.Occasion), string(c.Outcome),
				ms(c.Made), text(c.DetDigest), text(c.EnsDigest), b}, nil
		})
	return err
}

// aboutADay are the kinds of which the newest about one day is the only one
// worth reading. They are constants of the program, so they may stand in SQL.
const aboutADay = `('call', 'second-look', 'date-told', 'date-moved', 'date-cancelled', 'week-told')`

func replaces(m notify.Message) bool {
	switch m.Kind {
	case notify.KindCall, notify.KindSecondLook, notify.KindDateTold, notify.KindDateMoved,
		notify.KindCancelled, notify.KindWeekTold:
		return m.Job != "" && !m.IsAgain() // an old one sent again takes no newer one's place
	}
	return false
}

// putMessages adds the messages that are not there yet, then withdraws those
// that the new ones take the place of.
func (d *DB) putMessages(ctx context.Context, tx *sql.Tx, dec ledger.Decision) error {
	added, err := d.each(ctx, tx, len(dec.Messages), `INSERT INTO messages
		(id, firm, kind, job, visit, date, occasion, recipient, channel, audience, message_id, subject, reason,
		created, not_before, expires, state, tries, begun, settled, next_try, note, lease, lease_until, wire)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22,
		'', `+none+`, $23) ON CONFLICT (id) DO NOTHING`,
		func(i int) ([]any, error) { return messageRow(dec.Messages[i]), nil })
	if err != nil {
		return err
	}
	for i, m := range dec.Messages {
		if added[i] == 0 || !replaces(m) {
			continue
		}
		if err := withdraw(ctx, tx, m, dec); err != nil {
			return fmt.Errorf("withdraw what %s replaces: %w", m.ID, err)
		}
	}
	return nil
}

func messageRow(m notify.Message) []any {
	state := m.State
	if state == "" {
		state = notify.Pending
	}
	wire := m.Wire
	if wire == nil {
		wire = []byte{}
	}
	return []any{text(m.ID), text(m.Firm), text(m.Kind), text(m.Job), m.Visit, m.Date.String(), text(m.Occasion),
		text(m.Recipient), string(m.Channel), string(m.Audience), text(m.MessageID), text(m.Subject), text(m.Reason),
		ms(m.Created), ms(m.NotBefore), ms(m.Expires), string(state), m.Tries, ms(m.Begun), ms(m.Settled),
		ms(m.NextTry), text(m.Note), wire}
}

// withdraw takes back what m replaces: pending messages to the same recipient
// about the same job and day that are not of the same decision.
func withdraw(ctx context.Context, tx *sql.Tx, m notify.Message, dec ledger.Decision) error {
	args := []any{text(m.Firm), text(m.Recipient), text(m.Job), string(m.Channel), m.Date.String(), ms(dec.Now)}
	var siblings strings.Builder
	for _, s := range dec.Messages {
		if s.Recipient == m.Recipient && s.Job == m.Job && s.Date == m.Date {
			args = append(args, text(s.ID))
			siblings.WriteString(" AND id <> $" + strconv.Itoa(len(args)))
		}
	}
	_, err := exec(ctx, tx, `UPDATE messages SET state = 'withdrawn', settled = $6, lease = '', lease_until = `+none+`,
		note = 'a newer message about the same day took its place'
		WHERE firm = $1 AND recipient = $2 AND job = $3 AND channel = $4 AND date = $5
		AND state IN ('pending', 'begun') AND state = 'pending' AND kind IN `+aboutADay+siblings.String(), args...)
	return err
}

// putUntold records why people were not told; the same reason about the same
// day once.
func (d *DB) putUntold(ctx context.Context, tx *sql.Tx, us []notify.Untold) error {
	_, err := d.each(ctx, tx, len(us), `INSERT INTO untold (id, firm, person, job, date, at, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (id) DO NOTHING`,
		func(i int) ([]any, error) {
			u := us[i]
			return []any{untoldID(u), text(u.Firm), text(u.Person), text(u.Job), u.Date.String(), ms(u.At), text(u.Reason)}, nil
		})
	return err
}

// untoldID makes the same reason the same row, whenever it is found again.
func untoldID(u notify.Untold) string {
	u.At = time.Time{}
	// strings, dates and the zero time always encode
	b, _ := json.Marshal(u)
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:16])
}
