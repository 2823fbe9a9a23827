package db

import (
	"context"
	"database/sql"
	"strings"
	"time"
)

// PlanForTest gives how the database would find the first message to take, of a firm
// or (uid "") of any, by statistics of what it holds now.
func (d *DB) PlanForTest(ctx context.Context, uid string) (string, error) {
	due, args := dueMessages(uid, time.Unix(0, 0))
	query := `SELECT m.id FROM messages m WHERE ` + due + ` ORDER BY ` + messageOrder + ` LIMIT 1`
	var lines []string
	err := d.write(ctx, func(tx *sql.Tx) (err error) {
		if _, err = exec(ctx, tx, `ANALYZE`); err != nil {
			return err
		}
		if d.pg == nil {
			lines, err = collect(ctx, tx, func(s scanner) (line string, err error) {
				var id, parent, unused int
				err = s.Scan(&id, &parent, &unused, &line)
				return line, err
			}, `EXPLAIN QUERY PLAN `+query, args...)
			return err
		}
		if err = d.walkIndex(ctx, tx); err != nil {
			return err
		}
		lines, err = collect(ctx, tx, words, `EXPLAIN `+query, args...)
		return err
	})
	return strings.Join(lines, "\n"), err
}

// KeysForTest gives the order in which each table is backed up.
func KeysForTest() map[string][]string {
	out := map[string][]string{}
	for _, t := range keptTables() {
		out[t.name] = t.key
	}
	return out
}
