package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"laycast/job/access"
	"laycast/notify/calendar"
	"laycast/scheduler/ledger"
)

// feed serves a calendar. It never looks at the clock: the same state gives the
// same bytes, the same ETag and the same Last-Modified.
func (s *site) feed(w http.ResponseWriter, r *http.Request) {
	token, ok := strings.CutSuffix(r.PathValue("file"), ".ics")
	if !ok {
		token = ""
	}
	var revision int64
	l, ok := s.openBy(w, r, token, access.Feed, func(ctx context.Context, hash string) (l access.Link, ok bool, err error) {
		l, revision, ok, err = s.Feeds.FindFeed(ctx, hash)
		return l, ok, err
	})
	if !ok {
		return
	}
	f, err := s.keptFeed(r.Context(), l, revision)
	if err != nil {
		s.unavailable(w, "calendar", err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `inline; filename="visits.ics"`)
	h.Set("Cache-Control", "private, max-age=300")
	h.Set("ETag", f.etag)
	// no name: the type is set; it weighs If-None-Match before If-Modified-Since
	http.ServeContent(w, r, "", f.changed, bytes.NewReader(f.body))
}

// etag is a hash of the bytes and of whose they are, so that no two readers
// share one.
func etag(l access.Link, body []byte) string {
	sum := sha256.New()
	for _, p := range []string{l.Firm, string(l.Audience), l.ID} {
		fmt.Fprintf(sum, "%d:%s|", len(p), p)
	}
	_, _ = io.Copy(sum, bytes.NewReader(body)) // neither side can fail
	return `"` + hex.EncodeToString(sum.Sum(nil)[:16]) + `"`
}

// calendar gives a link's feed and when it last changed; the zero time where
// there is nothing in it.
func (s *site) calendar(ctx context.Context, l access.Link) (body []byte, changed time.Time, err error) {
	firm, err := s.Feeds.Firm(ctx, l.Firm)
	if err != nil {
		return nil, changed, err
	}
	rows, err := s.rows(ctx, l)
	if err != nil {
		return nil, changed, err
	}
	f := calendar.Feed{Name: firm.Name, Zone: firm.Zone}
	switch l.Audience {
	case access.Customer:
		f.Name = "Your roof, " + firm.Name
	case access.Crew:
		name, err := s.Feeds.CrewName(ctx, l.Firm, l.ID)
		if err != nil {
			return nil, changed, err
		}
		f.Name = name + ", " + firm.Name
	}
	for _, p := range rows {
		f.Events = append(f.Events, p.Event)
		if p.Event.ChangedAt.After(changed) {
			changed = p.Event.ChangedAt
		}
	}
	body, err = calendar.Render(f)
	return body, changed, err
}

// rows reads what a link's reader may see of the visits.
func (s *site) rows(ctx context.Context, l access.Link) ([]ledger.Published, error) {
	switch l.Audience {
	case access.Customer:
		return s.Feeds.PublishedFor(ctx, l.Firm, "customer", l.ID)
	case access.Crew:
		return s.Feeds.PublishedFor(ctx, l.Firm, "crew/"+l.ID, l.ID)
	case access.Owner:
		return s.Feeds.PublishedFor(ctx, l.Firm, "owner", "")
	}
	return nil, fmt.Errorf("a link is for the unknown audience %q", l.Audience)
}
