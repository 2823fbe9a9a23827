package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/rs/zerolog"

	"laycast/db"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
)

// session is one command on its way: the world it runs in and the
// configuration it asked for.
type session struct {
	world
	configPath string
}

// house is an opened configuration: the database and the firm in it.
type house struct {
	cfg  Config
	db   *db.DB
	firm job.Firm
	many bool // every firm of the database is served
}

func (h *house) close() { _ = h.db.Close() }

// open reads the configuration, opens the database and writes the firm's
// settings where they differ.
func (s *session) open(ctx context.Context) (*house, error) {
	cfg, err := LoadConfig(s.configPath, s.Env)
	if err != nil {
		return nil, err
	}
	return s.openWith(ctx, cfg)
}

func (s *session) openWith(ctx context.Context, cfg Config) (*house, error) {
	d, err := db.Open(ctx, cfg.Database)
	if err != nil {
		return nil, err
	}
	cfg.Firm.AskStrict = cfg.AskStrict
	// what the pages changed, where the file is silent
	edits, err := d.Settings(ctx, cfg.Firm.UID)
	if err != nil {
		_ = d.Close()
		return nil, err
	}
	var wrong []job.SettingProblem
	if cfg.Firm, wrong = cfg.Firm.With(edits, cfg.Set); len(wrong) > 0 && s.Err != nil {
		fmt.Fprintf(s.Err, "laycast: the settings made on the pages do not go with the configuration (%s: %s), so none of them is in force; save them anew on the pages.\n", wrong[0].Key, wrong[0].Reason)
	}
	f, err := d.SetFirm(ctx, cfg.Firm)
	if err != nil {
		_ = d.Close()
		return nil, err
	}
	return &house{cfg: cfg, db: d, firm: f}, nil
}

// realClock is the machine's clock, in whole seconds: what is stored and told
// counts no finer.
type realClock struct{}

func (realClock) Now() time.Time { return time.Now().UTC().Truncate(time.Second) }

// shiftedClock runs like the machine's clock from a pretended time on.
type shiftedClock struct{ by time.Duration }

func (c shiftedClock) Now() time.Time { return realClock{}.Now().Add(c.by) }

// now gives the time that a looking command speaks of: --now, or the mark of a
// firm that lives on a virtual clock, or the machine's clock.
func (h *house) now(ctx context.Context, asked string) (now time.Time, pretended bool, err error) {
	if asked != "" {
		t, err := parseTime(asked)
		return t, true, err
	}
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{Year: 9999, Month: 1, Day: 1})
	if err != nil {
		return time.Time{}, false, err
	}
	if b.Life == ledger.Virtual {
		return b.Mark, true, nil
	}
	return realClock{}.Now(), false, nil
}

// parseTime reads an RFC 3339 time.
func parseTime(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}, usageError{fmt.Errorf("%q is not a time; write it as 2027-04-14T18:00:00Z", s)}
	}
	return t.UTC().Truncate(time.Second), nil
}

// scheduler wires a scheduler for this house.
func (h *house) scheduler(clock scheduler.Clock, stamp bool, p post, log zerolog.Logger) (*scheduler.Scheduler, error) {
	sources, err := h.sources(stamp)
	if err != nil {
		return nil, err
	}
	key, err := h.links()
	if err != nil {
		return nil, err
	}
	profiles, err := h.fileProfiles()
	if err != nil {
		return nil, err
	}
	outlook, err := h.season()
	if err != nil {
		return nil, err
	}
	materials, err := h.materials()
	if err != nil {
		return nil, err
	}
	for _, n := range sources {
		if n.Free {
			log.Warn().Str("source", n.Name).Msg(freeWarning)
		}
	}
	return scheduler.New(scheduler.Config{
		Store: h.db, Sources: sources, Transport: p.transport, Redo: p.redo, Hooked: p.hooked,
		Clock: clock, Many: h.many, From: h.cfg.Mail.From, PublicURL: h.cfg.PublicURL, LinkKey: key, Profiles: profiles, Materials: materials, Season: outlook, Log: log,
	}), nil
}

// seed sees to it that every task of the firm stands in the database, and waits for
// the time that the settings name: the configuration may have changed since.
func (h *house) seed(ctx context.Context, sched *scheduler.Scheduler, now time.Time) error {
	if err := sched.Seed(ctx, h.firm, now); err != nil {
		return err
	}
	return scheduler.Retime(ctx, h.db, h.firm, now)
}

// profiles gives the firm's own laying limits, those of its files and those that
// the pages made; the built-in ones are always there beside them.
func (h *house) profiles() (rules.Profiles, error) {
	files, err := h.fileProfiles()
	if err != nil {
		return nil, err
	}
	return files.With(h.firm.Profiles)
}

// fileProfiles gives those of the files, which come before those of the pages.
func (h *house) fileProfiles() (rules.Profiles, error) {
	if h.cfg.ProfilesDir == "" {
		return nil, nil
	}
	return loadProfiles(h.cfg.ProfilesDir)
}

// printJSON writes one value as indented JSON.
func (s *session) printJSON(v any) error {
	e := json.NewEncoder(s.Out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

func (s *session) printf(format string, a ...any) { fmt.Fprintf(s.Out, format, a...) }

// stamp gives a moment as it is printed: RFC 3339, UTC, whole seconds; nil for
// none.
func stamp(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UTC().Truncate(time.Second).Format(time.RFC3339)
}
