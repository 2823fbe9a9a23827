package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"

	"laycast/job/access"
	"laycast/notify"
)

// approvePage is where the owner says yes to new dates.
type approvePage struct {
	Waiting []string
	Seen    string // stands for what the page shows
	Strict  bool   // never told without a yes
	Changed bool   // what waits is no longer what was shown
	Done    bool
	Told    int
}

// approve shows the dates that wait, and takes the yes. Looking changes nothing:
// mail programs follow links by themselves. A yes counts for what its page
// showed, and ends the link.
func (s *site) approve(w http.ResponseWriter, r *http.Request) {
	formHeaders(w)
	l, ok := s.open(w, r, r.PathValue("token"), access.Approve)
	if !ok {
		return
	}
	firm, err := s.Feeds.Firm(r.Context(), l.Firm)
	if err != nil {
		s.unavailable(w, "approve", err)
		return
	}
	waiting, err := s.Approver.Waiting(r.Context(), l.Firm)
	if err != nil {
		s.unavailable(w, "approve", err)
		return
	}
	f := frame{Title: "New dates", Firm: notify.Clean(firm.Name)}
	p := approvePage{Waiting: plainLines(waiting), Strict: firm.AskStrict}
	p.Seen = seen(p.Waiting)
	status := http.StatusOK
	if r.Method == http.MethodPost && len(p.Waiting) > 0 {
		r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
		if r.PostFormValue("seen") != p.Seen {
			p.Changed, status = true, http.StatusConflict
		} else if p.Told, err = s.sayYes(r, l); err != nil {
			s.unavailable(w, "approve", err)
			return
		} else {
			p.Done, p.Waiting = true, nil
		}
	}
	f.Body = p
	s.show(w, status, "approve", f)
}

// sayYes approves and then ends the link. The other way round, a failure between
// the two would leave dates waiting and no link to approve them by; this way
// round it leaves a link by which nothing waits.
func (s *site) sayYes(r *http.Request, l access.Link) (int, error) {
	n, err := s.Approver.Approve(r.Context(), l.Firm)
	if err != nil {
		return 0, fmt.Errorf("approve new dates: %w", err)
	}
	next := access.New(s.Key, l.Firm, l.Audience, l.ID, l.Purpose, l.Generation+1, s.Clock.Now())
	if _, err := s.Links.SpendLink(r.Context(), l.Firm, l.Hash, next); err != nil {
		s.Log.Error().Err(err).Str("firm", l.Firm).Msg("approve link could not be ended")
	}
	return n, nil
}

// seen stands for a list of waiting dates.
func seen(lines []string) string {
	sum := sha256.New()
	for _, s := range lines {
		fmt.Fprintf(sum, "%d:%s|", len(s), s)
	}
	return hex.EncodeToString(sum.Sum(nil)[:12])
}
