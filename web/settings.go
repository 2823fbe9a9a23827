package web

import (
	"context"
	"fmt"
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
	Wrong  bool
	Limits []profileLine
	Credit string
}

type settingGroup struct {
	Name string
	Rows []settingRow
}

type settingRow struct {
	Key, Label, Value, Unit, Wrong string
	Locked                         bool // set by the configuration file
	Choice                         []choice
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
	f, err := s.Feeds.Firm(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "settings", err)
		return
	}
	seen := int64(0)
	if s.Setter != nil {
		if seen, err = s.Setter.SettingsRevision(r.Context(), f.UID); err != nil {
			s.unavailable(w, "settings", err)
			return
		}
	}
	s.showSettings(w, http.StatusOK, v, f, seen, nil, nil, r.URL.Query().Get("saved") == "1")
}

// showSettings shows settings, with what was typed and what is wrong with it.
func (s *site) showSettings(w http.ResponseWriter, status int, v viewer, f job.Firm, seen int64, typed job.Edits, wrong []job.SettingProblem, saved bool) {
	p := settingsPage{Seen: seen, Acts: s.Setter != nil && v.Owner() && !v.Looks, Saved: saved && len(wrong) == 0, Wrong: len(wrong) > 0}
	days := make([]string, len(f.Work.Days))
	for i, d := range f.Work.Days {
		days[i] = d.String()
	}
	p.Facts = []note{{"Firm", f.Name}, {"Owner's mail", f.Email}, {"May sign in too", strings.Join(f.Office, ", ")}, {"Zone", f.Zone}, {"Working days", strings.Join(days, ", ")},
		{"Evening call", cronWords(f.Times.Call)}, {"Second look", cronWords(f.Times.SecondLook)}, {"Week mail", cronWords(f.Times.WeekMail)}, {"Customers are told", cronWords(f.Times.Tell)},
		{"Moving a told date", tierWords(f.Costs)}}
	for i := range p.Facts {
		p.Facts[i].Text = notify.Clean(p.Facts[i].Text)
	}
	p.Facts = slices.DeleteFunc(p.Facts, func(n note) bool { return n.Text == "" })
	for _, x := range job.Settings() {
		if len(p.Groups) == 0 || p.Groups[len(p.Groups)-1].Name != x.Group {
			p.Groups = append(p.Groups, settingGroup{Name: x.Group})
		}
		g := &p.Groups[len(p.Groups)-1]
		g.Rows = append(g.Rows, s.settingRow(x, f, typed, wrong))
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

func (s *site) settingRow(x job.Setting, f job.Firm, typed job.Edits, wrong []job.SettingProblem) settingRow {
	row := settingRow{Key: x.Key, Label: x.Label, Value: x.Of(f), Unit: x.Unit, Locked: slices.Contains(s.Locked, x.Key)}
	if row.Unit == "money" {
		row.Unit = f.Costs.Currency
	}
	if t, ok := typed[x.Key]; ok {
		row.Value = t
	}
	for _, b := range wrong {
		if b.Key == x.Key {
			row.Wrong = notify.Sentence(b.Reason)
		}
	}
	if x.Key == "ask_before_move" {
		row.Choice = []choice{{"until-morning", "in the morning, if you say nothing", row.Value == "until-morning"}, {"strict", "never", row.Value == "strict"}}
	}
	return row
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
	kept, typed, changed := job.Edits{}, job.Edits{}, []string{}
	for k, x := range edits {
		kept[k] = x
	}
	for _, x := range job.Settings() {
		val := strings.TrimSpace(r.PostForm.Get(x.Key))
		if !r.PostForm.Has(x.Key) || slices.Contains(s.Locked, x.Key) {
			continue
		}
		typed[x.Key] = val
		if val != x.Of(f) {
			kept[x.Key] = val
			changed = append(changed, x.Key+" "+x.Of(f)+" to "+val)
		}
	}
	next, wrong := f.With(kept, s.Locked)
	if len(wrong) > 0 {
		s.showSettings(w, http.StatusUnprocessableEntity, v, f, seen, typed, wrong, false)
		return
	}
	if len(changed) == 0 {
		http.Redirect(w, r, s.base+"/settings", http.StatusSeeOther)
		return
	}
	s.recorded(w, r, v, change{did: "change settings", detail: strings.Join(changed, "; "), back: "/settings?saved=1", do: func(ctx context.Context) error {
		return unstale(s.Setter.PutSettings(ctx, next, kept, seen, v.who(), s.Clock.Now()))
	}})
}

// cronWords says a cron expression that names one or some hours of a day; others
// are shown as they are.
func cronWords(expr string) string {
	f := strings.Fields(expr)
	if len(f) != 5 || f[2] != "*" || f[3] != "*" {
		return expr
	}
	minute, err := strconv.Atoi(f[0])
	if err != nil {
		return expr
	}
	var times []string
	for _, h := range strings.Split(f[1], ",") {
		hour, err := strconv.Atoi(h)
		if err != nil {
			return expr
		}
		times = append(times, fmt.Sprintf("%02d:%02d", hour, minute))
	}
	words := strings.Join(times, " and ")
	if f[4] == "*" {
		return words
	}
	d, err := strconv.Atoi(f[4])
	if err != nil || d < 0 || d > 7 {
		return expr
	}
	return time.Weekday(d%7).String() + " " + words
}

// tierWords says what moving a told date costs, by notice.
func tierWords(c job.Costs) string {
	var parts []string
	for _, t := range c.Move {
		parts = append(parts, fmt.Sprintf("%s up to %d days ahead", money(t.Cost, c.Currency), t.Days))
	}
	return strings.Join(parts, ", ")
}
