package db

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"laycast/job/access"
)

const linkColumns = `firm, audience, id, purpose, generation, hash, created`

func scanLink(s scanner) (access.Link, error) {
	var l access.Link
	err := s.Scan(&l.Firm, &l.Audience, &l.ID, &l.Purpose, &l.Generation, &l.Hash, into(&l.Created))
	return l, err
}

// linkID gives the id of a link's reader as it is kept: mail addresses in
// lower case.
func linkID(l access.Link) string {
	if l.Audience == access.Customer {
		return text(strings.ToLower(l.ID))
	}
	return text(l.ID)
}

// LinkByHash finds the link of any firm whose present token has this hash;
// ErrNotFound when there is none, never was, or it was revoked.
func (d *DB) LinkByHash(ctx context.Context, hash string) (access.Link, error) {
	l, ok, err := one(ctx, d.reader, scanLink, `SELECT `+linkColumns+` FROM links WHERE hash = $1`, text(hash))
	if err == nil && !ok {
		err = ErrNotFound
	}
	if err != nil {
		return access.Link{}, fmt.Errorf("look up a link: %w", err)
	}
	return l, nil
}

// FeedByHash is LinkByHash, and gives the revision of the firm's book too.
func (d *DB) FeedByHash(ctx context.Context, hash string) (access.Link, int64, error) {
	var revision int64
	scan := func(s scanner) (l access.Link, err error) {
		err = s.Scan(&l.Firm, &l.Audience, &l.ID, &l.Purpose, &l.Generation, &l.Hash, into(&l.Created), &revision)
		return l, err
	}
	l, ok, err := one(ctx, d.reader, scan, `SELECT `+linkColumns+`, revision FROM links JOIN firms ON uid = firm WHERE hash = $1`, text(hash))
	if err == nil && !ok {
		err = ErrNotFound
	}
	if err != nil {
		return access.Link{}, 0, fmt.Errorf("look up a calendar's link: %w", err)
	}
	return l, revision, nil
}

// Links reads every link of a firm, of its present generation, by audience, id
// and purpose.
func (d *DB) Links(ctx context.Context, uid string) ([]access.Link, error) {
	return linksOf(ctx, d.reader, uid)
}

func linksOf(ctx context.Context, q querier, uid string) ([]access.Link, error) {
	ls, err := collect(ctx, q, scanLink, `SELECT `+linkColumns+` FROM links WHERE firm = $1`, text(uid))
	if err != nil {
		return nil, fmt.Errorf("read the links of firm %q: %w", uid, err)
	}
	slices.SortFunc(ls, func(x, y access.Link) int {
		return cmp.Or(cmp.Compare(x.Audience, y.Audience), strings.Compare(x.ID, y.ID), cmp.Compare(x.Purpose, y.Purpose))
	})
	return ls, nil
}

// PutLink adds a link; one that is there by (firm, audience, id, purpose) stays
// as it is, whatever its generation.
func (d *DB) PutLink(ctx context.Context, l access.Link) error {
	err := d.write(ctx, func(tx *sql.Tx) error { return d.putLinks(ctx, tx, []access.Link{l}) })
	if err != nil {
		return fmt.Errorf("keep a %s link of firm %q: %w", l.Purpose, l.Firm, err)
	}
	return nil
}

func (d *DB) putLinks(ctx context.Context, tx *sql.Tx, ls []access.Link) error {
	_, err := d.each(ctx, tx, len(ls), `INSERT INTO links (`+linkColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (firm, audience, id, purpose) DO NOTHING`,
		func(i int) ([]any, error) {
			l := ls[i]
			return []any{text(l.Firm), string(l.Audience), linkID(l), string(l.Purpose), l.Generation, text(l.Hash), ms(l.Created)}, nil
		})
	return err
}

// RevokeLink puts next in the place of the firm's link with this hash, in one
// statement: from then on the old token opens nothing. ErrNotFound says that
// the old hash no longer stands, because somebody else revoked it first. It
// raises the firm's revision, so that no decision under way sends the old link.
func (d *DB) RevokeLink(ctx context.Context, uid, hash string, next access.Link) error {
	if next.Firm != uid || next.Hash == hash {
		return errors.New("revoke a link: what takes its place must be of the same firm and have another hash")
	}
	err := d.write(ctx, func(tx *sql.Tx) error {
		// the firm's row first, as in every writing transaction
		n, err := exec(ctx, tx, `UPDATE firms SET revision = revision + 1 WHERE uid = $1`, text(uid))
		if err == nil && n > 0 {
			n, err = exec(ctx, tx, `UPDATE links SET generation = $3, hash = $4, created = $5
				WHERE firm = $1 AND hash = $2 AND audience = $6 AND id = $7 AND purpose = $8`,
				text(uid), text(hash), next.Generation, text(next.Hash), ms(next.Created),
				string(next.Audience), linkID(next), string(next.Purpose))
		}
		if err == nil && n == 0 {
			err = ErrNotFound
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("revoke a %s link of firm %q: %w", next.Purpose, uid, err)
	}
	return nil
}
