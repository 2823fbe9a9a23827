package main

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/notify/file"
	"laycast/scheduler"
	"laycast/scheduler/call"
	"laycast/web"
)

// The demo: Saltbox Laminates, a firm that does not exist, its jobs and its
// weather. Nothing in it is anybody's data.
const (
	demoLat, demoLon = 44.65, -63.60
	demoYear         = 2027
	demoSeed         = 6
	demoCredit       = "Weather invented for this demonstration."
	demoFrom         = "2027-06-16T12:00:00Z"
)

//go:embed demo/saltbox.json
var saltbox []byte

// demoSource gives the demo's weather: a seeded, invented year.
func demoSource() (scheduler.Source, error) {
	src, err := replay.New(replay.Invent(demoSeed, demoLat, demoLon, demoYear), replay.Options{Seed: demoSeed, RunEvery: 6})
	if err != nil {
		return nil, fmt.Errorf("set up the demo's weather: %w", err)
	}
	return replaySource{src}, nil
}

// replaySource lets the scheduler ask the replay for any number of cells.
type replaySource struct{ *replay.Source }

// Batch says that there is no bound that matters.
func (replaySource) Batch(forecast.Endpoint) int { return 1000 }

type demoCmd struct {
	Once   bool   `help:"Tell the story and end."`
	Listen string `help:"Where the pages are served after the story." default:"127.0.0.1:8642" placeholder:"ADDR"`
	Dir    string `help:"Keep the demo's database and mails in this folder." placeholder:"DIR"`
	Mails  string `help:"Write three of the mails as web pages into this folder: a crew's go and no-go, a customer's new date." placeholder:"DIR"`
}

// Help shows an example.
func (demoCmd) Help() string {
	return "An invented firm in invented weather; nothing leaves this machine. After the story the pages, the mails and the calendars are served until Ctrl-C.\n\nExamples:\n  laycast demo\n  laycast demo --once"
}

// Run tells the whole story: import, forecast, plan, evening call, second look,
// one mail.
func (c *demoCmd) Run(ctx context.Context, s *session) error {
	dir := c.Dir
	if dir == "" {
		tmp, err := os.MkdirTemp("", "laycast-demo-")
		if err != nil {
			return fmt.Errorf("make a folder for the demo: %w", err)
		}
		defer os.RemoveAll(tmp)
		dir = tmp
	} else if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the folder %s: %w", dir, err)
	}
	h, err := s.openWith(ctx, demoConfig(dir, c.Listen))
	if err != nil {
		return err
	}
	defer h.close()
	release, err := h.db.Hold(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	defer release()
	mailDir := filepath.Join(dir, "mail")
	if c.Once {
		if err := s.story(ctx, h, mailDir); err != nil {
			return err
		}
		return s.mailPages(ctx, h, c.Mails)
	}
	ln, err := h.listen() // first: a taken address is told before the story, not after it
	if err != nil {
		return err
	}
	defer ln.Close()
	if err := s.story(ctx, h, mailDir); err != nil {
		return err
	}
	if err := s.mailPages(ctx, h, c.Mails); err != nil {
		return err
	}
	return s.serveDemo(ctx, h, ln, mailDir)
}

// serveDemo serves the demo's pages, mails and calendars, while its clock goes
// on from where the story ended.
func (s *session) serveDemo(ctx context.Context, h *house, ln net.Listener, mailDir string) error {
	mark, _, err := h.now(ctx, "")
	if err != nil {
		return err
	}
	log := s.logger(false)
	sched, err := h.scheduler(shiftedClock{by: mark.Sub(realClock{}.Now())}, true, post{transport: file.Transport{Dir: mailDir}, redo: true}, log)
	if err != nil {
		return err
	}
	key, err := h.links()
	if err != nil {
		return err
	}
	show := func(what string, a access.Audience, id string, p access.Purpose) error {
		l, err := h.link(ctx, s, key, a, id, p)
		if err == nil {
			s.printf("  %-13s %s\n", what, h.linkOut(key, l).URL)
		}
		return err
	}
	s.printf("\nThe pages are served until you press Ctrl-C:\n")
	s.printf("  the week      %s/week\n  the mails     %s/mail\n", h.cfg.PublicURL, h.cfg.PublicURL)
	for _, l := range []struct {
		what     string
		audience access.Audience
		id       string
		purpose  access.Purpose
	}{
		{"crew Heron", access.Crew, "heron", access.Page}, {"crew Plover", access.Crew, "plover", access.Page},
		{"a customer", access.Customer, "nell@mail.example", access.Page}, {"calendar", access.Owner, "", access.Feed},
	} {
		if err := show(l.what, l.audience, l.id, l.purpose); err != nil {
			return err
		}
	}
	return s.serve(ctx, h, ln, sched, &web.DemoPages{Firm: h.firm.UID, MailDir: mailDir}, log)
}

// demoConfig is the demo firm's configuration.
func demoConfig(dir, listen string) Config {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = "saltbox-laminates", "Saltbox Laminates", "America/Halifax", "office@saltbox.example"
	f.Phone = "902 555 0100"
	f.Costs.Currency = "CAD"
	f.TellAhead, f.Bounds.Tell = 5, 0.60 // a firm that tells its days early, and sometimes has to move them
	return Config{
		Firm: f, Database: "sqlite:" + filepath.Join(dir, "laycast.db"), Listen: listen, PublicURL: "http://" + listen,
		LinkKeyFile: filepath.Join(dir, defaultLinkKey),
		Sources:     []SourceConfig{{Kind: "replay", Name: "replay"}}, Mail: MailConfig{From: "Saltbox Laminates <office@saltbox.example>"},
	}
}

// story runs the daemon's own tasks until the first evening on which the two
// crews get different calls, and the morning after, and prints what came of it.
func (s *session) story(ctx context.Context, h *house, mailDir string) error {
	s.printf("Saltbox Laminates of Halifax, Nova Scotia, is invented, and so is its weather.\n\n")
	in, problems := job.DecodeImport(bytes.NewReader(saltbox), h.firm)
	if len(problems) > 0 {
		return fmt.Errorf("read the demo's jobs: %w", problems)
	}
	if _, err := h.take(ctx, in); err != nil {
		return err
	}
	s.printf("%d crews and %d jobs are in the book.\n", len(in.Crews), len(in.Jobs))
	from, err := parseTime(demoFrom)
	if err != nil {
		return err
	}
	zone, err := time.LoadLocation(h.firm.Zone)
	if err != nil {
		return fmt.Errorf("load the demo's zone: %w", err)
	}
	day, evening, err := s.firstMixedEvening(ctx, h, mailDir, from, zone)
	if err != nil {
		return err
	}
	if err := s.tellWeek(ctx, h, zone); err != nil {
		return err
	}
	s.printf("\nTHE EVENING CALL, %s 18:00, for %s\n", day.AddDays(-1).Words(), day.Words())
	s.tellCalls(in.Crews, evening)
	morning := job.Instant(day, 6*60, zone)
	if err := h.rehearse(ctx, from, morning, post{transport: file.Transport{Dir: mailDir}, redo: true}, scheduler.OwnerYes, zerolog.Nop()); err != nil {
		return err
	}
	all, err := h.db.Calls(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	if taken := callsFor(all, day, "change-1"); len(taken) > 0 {
		s.printf("\nTAKEN BACK, %s\n", taken[0].Made.In(zone).Format("Monday 15:04"))
		s.tellCalls(in.Crews, taken)
	}
	s.printf("\nTHE SECOND LOOK, %s 05:30\n", day.Words())
	s.tellCalls(in.Crews, callsFor(all, day, call.SecondLook))
	return s.tellMail(ctx, h, day, evening)
}

// firstMixedEvening lives day after day until both crews are called for the next
// day and not alike, and a day has been called off, and gives that day and its calls.
func (s *session) firstMixedEvening(ctx context.Context, h *house, mailDir string, from time.Time, zone *time.Location) (job.Date, []call.Call, error) {
	const patience = 21 // days: the invented June is not that steady
	for i := range patience {
		today := job.DateOf(from.In(zone)).AddDays(i)
		to := job.Instant(today, 18*60+15, zone)
		if err := h.rehearse(ctx, from, to, post{transport: file.Transport{Dir: mailDir}, redo: true}, scheduler.OwnerYes, zerolog.Nop()); err != nil {
			return today, nil, err
		}
		all, err := h.db.Calls(ctx, h.firm.UID)
		if err != nil {
			return today, nil, err
		}
		tonight := callsFor(all, today.AddDays(1), call.Evening)
		crews, outcomes := map[string]bool{}, map[call.Outcome]bool{}
		for _, k := range tonight {
			crews[k.Crew], outcomes[k.Outcome] = true, true
		}
		if len(crews) > 1 && len(outcomes) > 1 && calledOff(all) {
			return today.AddDays(1), tonight, nil
		}
	}
	return job.Date{}, nil, fmt.Errorf("in %d days no evening had different calls for the two crews", patience)
}

// calledOff reports whether some evening's call was a no-go.
func calledOff(all []call.Call) bool {
	return slices.ContainsFunc(all, func(k call.Call) bool { return k.Occasion == call.Evening && k.Outcome == call.NoGo })
}

func callsFor(all []call.Call, d job.Date, o call.Occasion) []call.Call {
	var out []call.Call
	for _, k := range all {
		if k.Date == d && k.Occasion == o {
			out = append(out, k)
		}
	}
	return out
}

// tellWeek prints the plan in force.
func (s *session) tellWeek(ctx context.Context, h *house, zone *time.Location) error {
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{Year: 9999, Month: 1, Day: 1})
	if err != nil {
		return err
	}
	if b.Week == nil {
		return fmt.Errorf("the demo made no plan")
	}
	s.printf("\nTHE WEEK as planned on %s\n", b.Mark.In(zone).Format("Monday 2 January at 15:04"))
	s.printWeek(*b.Week, b)
	return nil
}

// tellCalls prints the calls of one occasion, crew by crew.
func (s *session) tellCalls(crews []job.Crew, calls []call.Call) {
	for _, c := range crews {
		for _, k := range calls {
			if k.Crew == c.ID {
				s.printf("  %-7s %-6s %s: %s\n", c.Name, strings.ToUpper(string(k.Outcome)), k.Job, strings.Join(k.Reasons, "; "))
			}
		}
	}
}

// tellMail prints one crew mail whole: a go if there is one.
func (s *session) tellMail(ctx context.Context, h *house, day job.Date, calls []call.Call) error {
	want := calls[0]
	for _, k := range calls {
		if k.Outcome == call.Go {
			want = k
			break
		}
	}
	ms, err := h.db.Messages(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	for _, m := range ms {
		if m.Kind != notify.KindCall || m.Audience != notify.ToCrew || m.Date != day || m.Job != want.Job {
			continue
		}
		m, err := h.db.Message(ctx, h.firm.UID, m.ID)
		if err != nil {
			return err
		}
		text, err := web.PlainText(m.Wire)
		if err != nil {
			return err
		}
		s.printf("\nTHE MAIL TO CREW %s (its plain text; the same stands in it as HTML)\n\n%s\n", strings.ToUpper(want.Crew), text)
		return nil
	}
	return fmt.Errorf("the call for %s on %s was not mailed", want.Job, day)
}
