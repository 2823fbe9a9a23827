package web

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/rules/datafile"
)

// limitsOf gives every profile of laying limits that a firm's jobs may name beside
// the built-in one.
func (s *site) limitsOf(f job.Firm) (rules.Profiles, error) { return s.Limits.With(f.Profiles) }

// limitsPage is the text of one profile, to be changed.
type limitsPage struct {
	Name    string // of the profile as it stands; "" makes a new one
	Text    string
	Seen    int64
	Wrong   []string
	Stale   string // why what was typed has to be looked at once more
	Now     string // the text in force then, where it is another
	Rows    int    // of the text, for the field
	Used    []string
	MayDrop bool
}

// limits shows the text of a profile that the pages made, or that of the built-in
// one for a new one to begin from.
func (s *site) limits(w http.ResponseWriter, r *http.Request, v viewer) {
	f, seen, ok := s.forLimits(w, r, v)
	if !ok {
		return
	}
	p := limitsPage{Name: r.URL.Query().Get("profile"), Seen: seen}
	switch text, made := f.Profiles[p.Name]; {
	case made:
		p.Text = text
	case p.Name == "":
		p.Text = strings.Replace(string(rules.PolyesterYAML()), "name: polyester", "name: my own", 1)
	default:
		notFound(w)
		return
	}
	s.showLimits(w, r, http.StatusOK, v, f, p)
}

// forLimits gives what both sides of the page need; false where the request is
// answered: only the owner changes limits.
func (s *site) forLimits(w http.ResponseWriter, r *http.Request, v viewer) (job.Firm, int64, bool) {
	if !v.Owner() || v.Looks {
		plain(w, http.StatusForbidden, "Only the owner changes laying limits, so nothing was done.")
		return job.Firm{}, 0, false
	}
	f, err := s.Feeds.Firm(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "limits", err)
		return f, 0, false
	}
	seen, err := s.Setter.SettingsRevision(r.Context(), f.UID)
	if err != nil {
		s.unavailable(w, "limits", err)
		return f, 0, false
	}
	return f, seen, true
}

func (s *site) showLimits(w http.ResponseWriter, r *http.Request, status int, v viewer, f job.Firm, p limitsPage) {
	b, _, err := s.book(r.Context(), f.UID)
	if err != nil {
		s.unavailable(w, "limits", err)
		return
	}
	p.Used = usersOf(b.Jobs, p.Name)
	p.MayDrop = p.Name != "" && len(p.Used) == 0
	p.Rows = min(max(strings.Count(p.Text, "\n")+2, 12), 60)
	title := "New laying limits"
	if p.Name != "" {
		title = "Laying limits " + notify.Clean(p.Name)
	}
	s.show(w, status, "limits", frame{Title: title, Firm: notify.Clean(f.Name), Viewer: &v, Body: p})
}

// usersOf gives the jobs still to be laid that are laid by a profile.
func usersOf(jobs []job.Booking, profile string) []string {
	var out []string
	for _, j := range jobs {
		if j.Profile == profile && j.State == job.Booked {
			out = append(out, notify.Clean(j.ID))
		}
	}
	return out
}

// saveLimits keeps a profile, or drops one that no job is laid by.
func (s *site) saveLimits(w http.ResponseWriter, r *http.Request, v viewer) {
	f, _, ok := s.forLimits(w, r, v)
	if !ok || !readForm(w, r) {
		return
	}
	seen, err := strconv.ParseInt(r.PostForm.Get("seen"), 10, 64)
	if err != nil {
		s.refuse(w, v, http.StatusBadRequest, "The form does not say which settings it was made from. Open it again.")
		return
	}
	p := limitsPage{Name: r.PostForm.Get("profile"), Seen: seen, Text: strings.ReplaceAll(r.PostForm.Get("text"), "\r\n", "\n")}
	was, made := f.Profiles[p.Name]
	if p.Name != "" && !made {
		s.refuse(w, v, http.StatusConflict, "There are no such laying limits any more.")
		return
	}
	c := change{did: "change laying limits", about: p.Name, back: "/settings?saved=1"}
	next, text := p.Name, p.Text
	if r.PostForm.Get("do") == "drop" {
		c.did, text = "drop laying limits", ""
	} else {
		profile, wrong := s.readLimits(p, f)
		if p.Wrong = wrong; len(wrong) > 0 {
			s.showLimits(w, r, http.StatusUnprocessableEntity, v, f, p)
			return
		}
		next, c.about, c.detail = profile.Name, profile.Name, limitsChange(p.Name, was, profile)
	}
	c.do = func(ctx context.Context) error { return s.keepLimits(ctx, v, f, next, text, seen) }
	c.again = func(why error) { s.limitsAgain(w, r, v, p, why) }
	s.recorded(w, r, v, c)
}

// limitsAgain shows limits as typed beside those that are in force now.
func (s *site) limitsAgain(w http.ResponseWriter, r *http.Request, v viewer, p limitsPage, why error) {
	f, seen, ok := s.forLimits(w, r, v)
	if !ok {
		return
	}
	p.Seen, p.Stale = seen, notify.Sentence(why.Error())
	if now := f.Profiles[p.Name]; now != p.Text {
		p.Now = now
	}
	s.showLimits(w, r, http.StatusConflict, v, f, p)
}

// keepLimits keeps the text of a profile among the settings; "" drops it.
func (s *site) keepLimits(ctx context.Context, v viewer, f job.Firm, name, text string, seen int64) error {
	edits, err := s.Setter.Settings(ctx, f.UID)
	if err != nil {
		return err
	}
	kept := job.Edits{}
	maps.Copy(kept, edits)
	kept[job.ProfileKey(name)] = text
	if text == "" {
		b, err := s.Books.Book(ctx, f.UID, job.Date{Year: 9999, Month: 1, Day: 1})
		if err != nil {
			return err
		}
		if used := usersOf(b.Jobs, name); len(used) > 0 {
			return fmt.Errorf("jobs are laid by these limits: %s; give them others first", strings.Join(used, ", "))
		}
		delete(kept, job.ProfileKey(name))
	}
	next, wrong := f.With(kept, s.Locked)
	if len(wrong) > 0 {
		return fmt.Errorf("the settings do not go together (%s: %s); mend them first", wrong[0].Key, wrong[0].Reason)
	}
	return unstale(s.Setter.PutSettings(ctx, next, kept, seen, v.who(), s.Clock.Now()))
}

// readLimits reads a profile from its text, with everything wrong with it.
func (s *site) readLimits(p limitsPage, f job.Firm) (rules.Profile, []string) {
	profile, err := rules.DecodeProfile("the text", []byte(p.Text))
	var bad *datafile.Error
	switch {
	case errors.As(err, &bad):
		var wrong []string
		for _, x := range bad.Problems {
			line := notify.Sentence(x.Reason)
			if x.Key != "" {
				line = notify.Clean(x.Key) + ": " + notify.Clean(x.Reason)
			}
			if x.Line > 0 {
				line = fmt.Sprintf("Line %d: %s", x.Line, line)
			}
			wrong = append(wrong, line)
		}
		return profile, wrong
	case err != nil:
		return profile, []string{notify.Sentence(err.Error())}
	}
	_, taken := f.Profiles[profile.Name]
	if _, err := s.Limits.Named(profile.Name); err == nil {
		taken = true
	}
	switch {
	case p.Name != "" && profile.Name != p.Name:
		return profile, []string{fmt.Sprintf("Jobs know these limits by the name %q: leave it as it is, or make new ones.", p.Name)}
	case p.Name == "" && taken:
		return profile, []string{fmt.Sprintf("There are limits of the name %q already: give these a name of their own.", notify.Clean(profile.Name))}
	case len([]rune(profile.Name)) > mostID:
		return profile, []string{fmt.Sprintf("The name is longer than %d characters.", mostID)}
	}
	return profile, nil
}

// limitsChange says for the record what a change of a profile touches.
func limitsChange(name, was string, is rules.Profile) string {
	old, err := rules.DecodeProfile("the text", []byte(was))
	if name == "" || err != nil {
		return "new"
	}
	before, after := map[string]string{}, map[string]string{}
	for _, x := range []struct {
		p    rules.Profile
		into map[string]string
	}{{old, before}, {is, after}} {
		for _, l := range profileLineOf(x.p).Values {
			x.into[l.What] = l.Bound
		}
	}
	words := []rune(changedWords(before, after))
	return string(words[:min(len(words), mostField)])
}

// profileLines are the profiles with every value and its source.
func (s *site) profileLines(f job.Firm) ([]profileLine, error) {
	all, err := s.limitsOf(f)
	if err != nil {
		return nil, err
	}
	var out []profileLine
	for _, name := range all.Names() {
		p, err := all.Named(name)
		if err != nil {
			return nil, err
		}
		l := profileLineOf(p)
		_, made := f.Profiles[name]
		_, house := s.Limits[name]
		switch {
		case made && !house:
			l.From, l.Made = "made here", true
		case house:
			l.From = "from a file of the firm's"
		default:
			l.From = "built in"
		}
		out = append(out, l)
	}
	return out, nil
}

func profileLineOf(p rules.Profile) profileLine {
	l := profileLine{Name: p.Name}
	for _, set := range p.Sets() {
		for _, b := range set.Bounds {
			words := fmt.Sprintf("%s %.4g %s", b.Side(), b.Value, b.Unit)
			if b.Limit == rules.LimitDry {
				words = "no water on the deck"
			}
			l.Values = append(l.Values, limitLine{set.Name + ": " + notify.LimitWords(b.Limit), words, b.Source})
		}
	}
	for _, v := range p.Values() {
		l.Values = append(l.Values, limitLine{v.Key, strings.TrimSpace(v.Value + " " + v.Unit), v.Source})
	}
	return l
}

// profileNames are what a job may name.
func (s *site) profileNames(f job.Firm) []string {
	names := s.Limits.Names()
	for n := range f.Profiles {
		if !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	slices.Sort(names)
	return names
}
