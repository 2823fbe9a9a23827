package web

import (
	"context"
	"sync"
	"time"

	"laycast/job/access"
)

// rendered is a calendar as it was rendered.
type rendered struct {
	revision int64 // of the firm's book, read before what it is made from
	body     []byte
	etag     string
	changed  time.Time
}

// feedsKept bounds how many rendered calendars are kept, some 10 kB each.
const feedsKept = 4096

// keptFeeds are the calendars rendered last, by the hash of their link. One is
// good as long as the firm's book stands at the revision that it was made from:
// what is in it is at least that new. The link itself is looked up at every
// request before this, so a revoked one opens nothing, whatever is kept.
type keptFeeds struct {
	mu sync.Mutex
	by map[string]rendered
}

func newKeptFeeds() *keptFeeds { return &keptFeeds{by: map[string]rendered{}} }

func (k *keptFeeds) get(hash string, revision int64) (rendered, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	f, ok := k.by[hash]
	return f, ok && f.revision == revision
}

func (k *keptFeeds) put(hash string, f rendered) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.by) >= feedsKept {
		clear(k.by)
	}
	k.by[hash] = f
}

// keptFeed gives a link's calendar, rendering it only where the book moved on
// from the revision at hand.
func (s *site) keptFeed(ctx context.Context, l access.Link, revision int64) (rendered, error) {
	if f, ok := s.kept.get(l.Hash, revision); ok {
		return f, nil
	}
	body, changed, err := s.calendar(ctx, l)
	if err != nil {
		return rendered{}, err
	}
	f := rendered{revision: revision, body: body, etag: etag(l, body), changed: changed}
	s.kept.put(l.Hash, f)
	return f, nil
}
