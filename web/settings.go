package web

import (
	"cmp"
	"context"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"laycast/job"
	"laycast/notify"
)

// Setter keeps what the pages change of a firm's settings.
type Setter interface {
	Settings(ctx context.Context, uid string) (job.Edits, error)
	// SettingsRevision gives the number of the settings in force.
	SettingsRevision(ctx context.Context, uid string) (int64, error)
	// PutSettings changes settings that were seen at a revision; ledger.ErrMoved
	// says that others came meanwhile.
	PutSettings(ctx context.Context, f job.Firm, e job.Edits, seen int64, who string, now time.Time) error
}

type settingsPage struct {
	Facts  []note // what only the configuration file says
	Groups []settingGroup
	Seen   int64 // revision of the settings shown
	Acts   bool
	Saved  bool
	Wrong  []wrongField
	Stale  string // why what was typed has to be looked at once more
	Limits []profileLine
	Credit string
}

type settingGroup struct {
	Name string
	Rows []settingRow
}

type choice struct {
	Value, Text string
	On          bool
}

type profileLine struct {
	Name   string
	From   string
	Made   bool // by the pages, which may change it
	Values []limitLine
}

type limitLine struct{ What, Bound, Source string }

// settings shows the firm's settings and laying limits, and (POST, the owner)
// changes the former.
func (s *site) settings(w http.ResponseWriter, r *http.Request, v viewer) {
	f, seen, err := s.settingsNow(r.Context())
	if err != nil {
		s.unavailable(w, "settings", err)
		return
	}
	s.showSettings(w, http.StatusOK, v, f, seen, nil, nil, "", r.URL.Query().Get("saved") == "1")
}

// showSettings shows settings, with what was typed and what is wrong with it; stale
// says that they are not as they were when it was typed.
func (s *site) showSettings(w http.ResponseWriter, status int, v viewer, f job.Firm, seen int64, typed job.Edits, wrong []job.SettingProblem, stale string, saved bool) {
	p := settingsPage{Seen: seen, Acts: s.Setter != nil && v.Owner() && !v.Looks, Saved: saved && len(wrong) == 0, Stale: stale}
	p.Facts = []note{{"Firm", f.Name}, {"Owner's mail", f.Email}, {"May sign in too", strings.Join(f.Office, ", ")}, {"Zone", f.Zone}}
	for i := range p.Facts {
		p.Facts[i].Text = notify.Clean(p.Facts[i].Text)
	}
	p.Facts = slices.DeleteFunc(p.Facts, func(n note) bool { return n.Text == "" })
	for _, x := range job.Settings() {
		if len(p.Groups) == 0 || p.Groups[len(p.Groups)-1].Name != x.Group {
			p.Groups = append(p.Groups, settingGroup{Name: x.Group})
		}
		g := &p.Groups[len(p.Groups)-1]
		row := s.settingRow(x, f, typed, wrong, stale != "")
		g.Rows = append(g.Rows, row)
		if row.Wrong != "" {
			p.Wrong = append(p.Wrong, wrongField{row.Key, row.Label})
		}
	}
	var err error
	if p.Limits, err = s.profileLines(f); err != nil {
		s.unavailable(w, "settings", err)
		return
	}
	if s.Credit != nil {
		p.Credit = s.Credit(nil)
	}
	s.show(w, status, "settings", frame{Title: "Settings", Firm: notify.Clean(f.Name), Viewer: &v, Body: p})
}

// saveSettings takes the owner's changes. Only what differs from the settings in
// force is kept, so that what nobody touched follows the configuration.
func (s *site) saveSettings(w http.ResponseWriter, r *http.Request, v viewer) {
	if !v.Owner() || v.Looks {
		plain(w, http.StatusForbidden, "Only the owner changes settings, so nothing was done.")
		return
	}
	if !readForm(w, r) {
		return
	}
	ctx, uid := r.Context(), s.firmUID()
	f, err := s.Feeds.Firm(ctx, uid)
	if err != nil {
		s.unavailable(w, "settings", err)
		return
	}
	seen, err := strconv.ParseInt(r.PostForm.Get("seen"), 10, 64)
	if err != nil {
		s.refuse(w, v, http.StatusBadRequest, "The form does not say which settings it was made from. Open the settings again.")
		return
	}
	edits, err := s.Setter.Settings(ctx, uid)
	if err != nil {
		s.unavailable(w, "settings", err)
		return
	}
	kept, typed, changed := job.Edits{}, typedSettings(r.PostForm, s.Locked), []string{}
	maps.Copy(kept, edits)
	for _, x := range job.Settings() {
		val, ok := typed[x.Key]
		if val = x.Plain(f, val); ok && val != x.Of(f) {
			kept[x.Key] = val
			changed = append(changed, x.Key+" "+cmp.Or(settingWords(x, x.Of(f), f), "nothing")+" to "+cmp.Or(settingWords(x, val, f), "nothing"))
		}
	}
	next, wrong := f.With(kept, s.Locked)
	if len(wrong) > 0 {
		s.showSettings(w, http.StatusUnprocessableEntity, v, f, seen, typed, wrong, "", false)
		return
	}
	if len(changed) == 0 {
		http.Redirect(w, r, s.base+"/settings", http.StatusSeeOther)
		return
	}
	c := change{did: "change settings", detail: strings.Join(changed, "; "), back: "/settings?saved=1"}
	c.do = func(ctx context.Context) error {
		return unstale(s.Setter.PutSettings(ctx, next, kept, seen, v.who(), s.Clock.Now()))
	}
	c.again = func(why error) {
		f, seen, err := s.settingsNow(ctx)
		if err != nil {
			s.unavailable(w, "settings", err)
			return
		}
		s.showSettings(w, http.StatusConflict, v, f, seen, typed, nil, notify.Sentence(why.Error()), false)
	}
	s.recorded(w, r, v, c)
}

// settingsNow gives the firm as it is, with the revision of its settings.
func (s *site) settingsNow(ctx context.Context) (job.Firm, int64, error) {
	f, err := s.Feeds.Firm(ctx, s.firmUID())
	if err != nil || s.Setter == nil {
		return f, 0, err
	}
	seen, err := s.Setter.SettingsRevision(ctx, f.UID)
	return f, seen, err
}
