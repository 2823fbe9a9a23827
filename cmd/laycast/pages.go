package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/rs/zerolog"

	"laycast/db"
	"laycast/forecast/openmeteo"
	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/web"
)

// readers lets the pages read the database: what is not there is an answer to
// them, not a failure.
type readers struct{ *db.DB }

// FindLink gives the link whose present token has this hash.
func (r readers) FindLink(ctx context.Context, hash string) (access.Link, bool, error) {
	l, err := r.LinkByHash(ctx, hash)
	if errors.Is(err, db.ErrNotFound) {
		return access.Link{}, false, nil
	}
	return l, err == nil, err
}

// FindFeed gives the link too, with the revision of its firm's book.
func (r readers) FindFeed(ctx context.Context, hash string) (access.Link, int64, bool, error) {
	l, revision, err := r.FeedByHash(ctx, hash)
	if errors.Is(err, db.ErrNotFound) {
		return access.Link{}, 0, false, nil
	}
	return l, revision, err == nil, err
}

// SpendLink ends the link with this hash; next takes its place.
func (r readers) SpendLink(ctx context.Context, uid, hash string, next access.Link) (bool, error) {
	err := r.RevokeLink(ctx, uid, hash, next)
	if errors.Is(err, db.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// OneMessage gives a message whole; false where the firm has none of that id.
func (r readers) OneMessage(ctx context.Context, uid, id string) (notify.Message, bool, error) {
	m, err := r.Message(ctx, uid, id)
	if errors.Is(err, db.ErrNotFound) {
		return m, false, nil
	}
	return m, err == nil, err
}

// OnePicture gives a photo; false where it is not kept.
func (r readers) OnePicture(ctx context.Context, uid, job, id string) ([]byte, bool, error) {
	b, err := r.Picture(ctx, uid, job, id)
	if errors.Is(err, db.ErrNotFound) {
		return nil, false, nil
	}
	return b, err == nil, err
}

// CrewName gives the name of a crew, its id where the crew is gone.
func (r readers) CrewName(ctx context.Context, uid, id string) (string, error) {
	c, err := r.Crew(ctx, uid, id)
	if errors.Is(err, db.ErrNotFound) {
		return id, nil
	}
	return c.Name, err
}

// Scored gives the scored chances of a firm's calls, and of the reference roof
// wherever it has jobs.
func (r readers) Scored(ctx context.Context, uid string) ([]ledger.Chance, error) {
	b, err := r.Book(ctx, uid, job.Date{Year: 9999, Month: 1, Day: 1})
	if err != nil {
		return nil, err
	}
	return r.Chances(ctx, uid, "", scheduler.Cells(b.Jobs), ledger.Scored, job.Date{}, job.Date{})
}

// pages wires the web's pages to this house and its scheduler. demo may be nil.
func (h *house) pages(ctx context.Context, health *web.Health, sched *scheduler.Scheduler, demo *web.DemoPages, log zerolog.Logger) (http.Handler, error) {
	key, err := h.links()
	if err != nil {
		return nil, err
	}
	all, err := h.db.Links(ctx, h.firm.UID)
	if err != nil {
		return nil, err
	}
	strange := 0
	for _, l := range all {
		if !madeWith(key, l) {
			strange++
		}
	}
	if strange > 0 {
		log.Error().Int("links", strange).Str("key", h.cfg.LinkKeyFile).Msg("links were made with another link key; they open, but mails and pages cannot show them; restore the key from a backup, or make them anew with laycast link new")
	}
	r := readers{h.db}
	var office *web.OfficePages
	if demo == nil { // the demo's pages stand open
		office = &web.OfficePages{Firm: h.firm.UID, Doors: r, Sessions: r, Letter: h.signInLetter}
	}
	places, err := h.places(sched.Clock)
	if err != nil {
		return nil, err
	}
	jobs := &web.JobPages{
		Judge: sched, Records: r, Ender: sched, Editor: editor{h, sched.Clock},
		Places: places, PlaceCredit: openmeteo.PlaceCredit,
	}
	return web.New(web.Config{
		Office: office, Proxies: h.cfg.TrustedProxies,
		Health: health, Clock: sched.Clock, Links: r, Feeds: r, Books: r, Approver: sched, Stopper: r, Demo: demo,
		Crews: sched, Customers: sched, Desk: sched, Pinner: sched, Deeds: r, Plans: plans{sched, r}, Records: r, Setter: setter{r, h}, Maker: r, Scores: r, Jobs: jobs, Aslaid: &web.RecordPages{Kept: r, Recorder: sched}, Locked: h.cfg.Set, Limits: sched.Profiles,
		Key: key, Credit: sched.CreditOf, PublicURL: h.cfg.PublicURL, Log: log,
	})
}

// signInLetter composes the mail that bears a sign-in link.
func (h *house) signInLetter(f job.Firm, l notify.SignInLetter) (notify.Message, error) {
	c, err := notify.NewComposer(notify.ComposerConfig{Firm: f, From: h.cfg.Mail.From, PublicURL: h.cfg.PublicURL})
	if err != nil {
		return notify.Message{}, err
	}
	return c.SignIn(l)
}

// signInLink makes a sign-in link for a person without any mail: whoever can run
// this can read the database anyway.
func (h *house) signInLink(ctx context.Context, person string, now time.Time) (string, error) {
	token := rand.Text()
	ok, err := h.db.AskSignIn(ctx, access.NewSignIn(token, h.firm.UID, person, true, now), nil)
	if err != nil {
		return "", err
	}
	if !ok {
		return "", fmt.Errorf("%d sign-in links were made for %s within the hour; use the newest, or wait", access.SignInsAnHour, person)
	}
	return h.cfg.PublicURL + access.SignInPath + token, nil
}

// plans lets the week page look at plans: the scheduler judges, the database
// remembers.
type plans struct {
	*scheduler.Scheduler
	readers
}

// editor lets the pages change orders and crews; what follows for the plan is
// worked out at the scheduler's next look.
type editor struct {
	house *house
	clock scheduler.Clock
}

func (e editor) EditJob(ctx context.Context, uid string, j job.Job, seen int64) error {
	now := e.clock.Now()
	if err := e.house.db.EditJob(ctx, uid, j, seen, now); err != nil {
		return err
	}
	return e.house.planSoon(ctx, now)
}

func (e editor) EditCrew(ctx context.Context, uid string, c, seen job.Crew) error {
	now := e.clock.Now()
	if err := e.house.db.EditCrew(ctx, uid, c, seen, now); err != nil {
		return err
	}
	return e.house.planSoon(ctx, now)
}

func (e editor) Import(ctx context.Context, uid string, in job.Import) error {
	now := e.clock.Now()
	if _, err := e.house.db.Import(ctx, uid, in, now); err != nil {
		return err
	}
	return e.house.planSoon(ctx, now)
}

// setter lets the pages change settings: tasks then wait for their new times, and a
// new plan is made by what was set.
type setter struct {
	readers
	house *house
}

func (s setter) PutSettings(ctx context.Context, f job.Firm, e job.Edits, seen int64, who string, now time.Time) error {
	if err := s.readers.PutSettings(ctx, f, e, seen, who, now); err != nil {
		return err
	}
	if err := scheduler.Retime(ctx, s.house.db, f, now); err != nil {
		return fmt.Errorf("the settings are kept, and today's work still comes at the old times: %w", err)
	}
	return s.house.planSoon(ctx, now)
}

// watched lets the health page look at this house's firm.
type watched struct {
	*house
	clock scheduler.Clock
}

func (w watched) Ping(ctx context.Context) error { return w.db.Ping(ctx) }

func (w watched) Unheard(ctx context.Context, madeBefore time.Time) (int, error) {
	zone, err := time.LoadLocation(w.firm.Zone)
	if err != nil {
		return 0, fmt.Errorf("load zone %s: %w", w.firm.Zone, err)
	}
	if w.many { // firms of any zone: a day more
		return w.db.Unheard(ctx, "", job.DateOf(w.clock.Now().UTC()).AddDays(-1), madeBefore)
	}
	return w.db.Unheard(ctx, w.firm.UID, job.DateOf(w.clock.Now().In(zone)), madeBefore)
}

func (w watched) Forecast(ctx context.Context) (time.Time, error) { return w.db.LastForecast(ctx) }
