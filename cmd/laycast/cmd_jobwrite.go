package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
)

// at is the flag of commands that write: a firm on a virtual clock is changed
// at its own time.
type at struct {
	Now string `help:"On a virtual clock: do it at this time (RFC 3339), not before the firm's own." placeholder:"T"`
}

type jobAddCmd struct {
	at
	File    string `arg:"" help:"JSON file of one job, as it stands in the list of jobs of an import file; - reads the input." type:"existingfile"`
	Replace bool   `help:"Change the job of that id where there is one."`
	JSON    bool   `help:"Print the outcome as JSON."`
}

// Help shows examples.
func (jobAddCmd) Help() string {
	return "The checks are those of laycast import. Examples:\n  laycast job add J-017.json\n  laycast job add --replace - < J-017.json"
}

// Run takes one job in.
func (c *jobAddCmd) Run(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	j, err := s.readJob(c.File, h.firm)
	if err != nil {
		return err
	}
	return s.write(ctx, h, c.Now, c.JSON, func(b ledger.Book, now time.Time) (string, string, error) {
		_, err := findJob(b, j.ID)
		there := err == nil
		if there && !c.Replace {
			return "", "", fmt.Errorf("there is a job %q already; change it with --replace, or give the new one another id", j.ID)
		}
		rep, err := h.db.Import(ctx, h.firm.UID, job.Import{Jobs: []job.Job{j}}, now)
		if err != nil {
			return "", "", err
		}
		if b.Life == ledger.Virtual {
			// the firm's clock has come to this time
			if err := h.db.SetLife(ctx, h.firm.UID, ledger.Virtual, now); err != nil {
				return "", "", err
			}
		}
		if err := h.planSoon(ctx, now); err != nil {
			return "", "", err
		}
		switch {
		case rep.JobsSame > 0:
			return j.ID, fmt.Sprintf("Job %s (%s) is as it was.", j.ID, j.Title), nil
		case there:
			return j.ID, fmt.Sprintf("Job %s (%s) is changed; the next plan goes by it.", j.ID, j.Title), nil
		}
		return j.ID, fmt.Sprintf("Job %s (%s) is in the book; the next plan looks for a day.", j.ID, j.Title), nil
	})
}

// readJob reads one job from a file, or from the input where it is "-".
func (s *session) readJob(path string, firm job.Firm) (job.Job, error) {
	in, name := s.In, "the input"
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return job.Job{}, fmt.Errorf("open %s: %w", path, err)
		}
		defer f.Close()
		in, name = io.Reader(f), path
	}
	if in == nil {
		return job.Job{}, errors.New("there is no input to read a job from; name a file")
	}
	j, problems := job.DecodeJob(in, firm)
	if len(problems) > 0 {
		return job.Job{}, fmt.Errorf("the job in %s is not taken in, for %d of its values:\n%w", name, len(problems), problems)
	}
	return j, nil
}

type jobHoldCmd struct {
	at
	Job    string `arg:"" help:"Id of the job."`
	Reason string `help:"Why it waits: deposit, colour, access, …" required:"" placeholder:"TEXT"`
	JSON   bool   `help:"Print the outcome as JSON."`
}

// maxReason is the longest reason, as long as imported text may be.
const maxReason = 500

// Help shows an example.
func (jobHoldCmd) Help() string {
	return "Keeps the job out of the plan. A date that its customer was told is taken back.\n\n" +
		"Example: laycast job hold J-017 --reason \"deposit not paid\""
}

// Run puts a job on hold.
func (c *jobHoldCmd) Run(ctx context.Context, s *session) error {
	reason := strings.TrimSpace(oneLine(c.Reason))
	if n := utf8.RuneCountInString(reason); n == 0 || n > maxReason {
		return usageError{fmt.Errorf("--reason must say in 1 to %d characters why the job is held", maxReason)}
	}
	return s.change(ctx, c.Job, c.Now, c.JSON, "is on hold: "+reason+".",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Hold(ctx, firm, c.Job, reason) })
}

// jobPick is a command on one job that needs no more than its id.
type jobPick struct {
	at
	Job  string `arg:"" help:"Id of the job."`
	JSON bool   `help:"Print the outcome as JSON."`
}

type jobReleaseCmd struct{ jobPick }

// Help shows an example.
func (jobReleaseCmd) Help() string {
	return "Puts a job that was on hold back into the plan. It also answers the question how its last day went with: not laid.\n\n" +
		"Example: laycast job release J-017"
}

// Run puts a job back into the plan.
func (c *jobReleaseCmd) Run(ctx context.Context, s *session) error {
	return s.change(ctx, c.Job, c.Now, c.JSON, "is in the plan again.",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Release(ctx, firm, c.Job) })
}

type jobDoneCmd struct{ jobPick }

// Help shows an example.
func (jobDoneCmd) Help() string {
	return "Records that the whole roof is laid and topcoated.\n\nExample: laycast job done J-017"
}

// Run records that a job is finished.
func (c *jobDoneCmd) Run(ctx context.Context, s *session) error {
	return s.change(ctx, c.Job, c.Now, c.JSON, "is done.",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Done(ctx, firm, c.Job) })
}

type jobCancelCmd struct{ jobPick }

// Help shows an example.
func (jobCancelCmd) Help() string {
	return "Ends a job that will not be laid. Its customer hears where a week or a date was told, its crew where a call was made.\n\n" +
		"Example: laycast job cancel J-017"
}

// Run cancels a job.
func (c *jobCancelCmd) Run(ctx context.Context, s *session) error {
	return s.change(ctx, c.Job, c.Now, c.JSON, "is cancelled.",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Cancel(ctx, firm, c.Job) })
}

// change has the scheduler change one job.
func (s *session) change(ctx context.Context, id, asked string, asJSON bool, what string, do func(*scheduler.Scheduler, string) error) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	return s.write(ctx, h, asked, asJSON, func(b ledger.Book, now time.Time) (string, string, error) {
		j, err := findJob(b, id)
		if err != nil {
			return "", "", err
		}
		// nothing is asked from the source and nothing sent: what follows from
		// the change waits in the database for the daemon
		sched, err := h.scheduler(scheduler.NewVirtualClock(now), b.Life == ledger.Virtual, post{}, zerolog.Nop())
		if err != nil {
			return "", "", err
		}
		if sched.LinkKey, err = h.links(); err != nil {
			return "", "", err
		}
		if err := do(sched, h.firm.UID); err != nil {
			return "", "", err
		}
		return j.ID, fmt.Sprintf("Job %s (%s) %s", j.ID, j.Title, what), nil
	})
}

// changeOut is what a writing command did, as JSON.
type changeOut struct {
	Job    string      `json:"job"`
	Did    string      `json:"did"`
	At     any         `json:"at"`
	Queued []queuedOut `json:"queued"`
	Untold []untoldOut `json:"untold"`
}

type queuedOut struct {
	ID   string `json:"id"`
	To   string `json:"to"`
	Kind string `json:"kind"`
}

type untoldOut struct {
	Person string `json:"person"`
	Reason string `json:"reason"`
}

// write does one change of the book at the firm's own time and prints in one
// line what it did (as do says, with the job's id before it) and who is told.
func (s *session) write(ctx context.Context, h *house, asked string, asJSON bool, do func(ledger.Book, time.Time) (id, did string, err error)) error {
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{Year: 9999, Month: 1, Day: 1})
	if err != nil {
		return err
	}
	now, err := writeTime(b, asked)
	if err != nil {
		return err
	}
	if b.Life == ledger.Virtual { // a rehearsal under way must not have its time moved
		release, err := h.db.Hold(ctx, h.firm.UID)
		if err != nil {
			return err
		}
		defer release()
	}
	before, err := h.letters(ctx)
	if err != nil {
		return err
	}
	out := changeOut{At: stamp(now), Queued: []queuedOut{}, Untold: []untoldOut{}}
	if out.Job, out.Did, err = do(b, now); err != nil {
		return err
	}
	after, err := h.letters(ctx)
	if err != nil {
		return err
	}
	for _, m := range after.messages {
		if !before.sent[m.ID] && m.Created.Equal(now) {
			out.Queued = append(out.Queued, queuedOut{m.ID, m.Recipient, string(m.Kind)})
		}
	}
	for _, u := range after.untold {
		if !before.not[u] && u.At.Equal(now) {
			out.Untold = append(out.Untold, untoldOut{u.Person, u.Reason})
		}
	}
	if asJSON {
		return s.printJSON(out)
	}
	s.printf("%s\n", out.words())
	return nil
}

// words gives the outcome on one line.
func (o changeOut) words() string {
	told := make([]string, len(o.Queued))
	for i, q := range o.Queued {
		told[i] = fmt.Sprintf("%s (%s)", q.To, q.Kind)
	}
	line := o.Did + " Nobody has to be told."
	if len(told) > 0 {
		line = o.Did + " To be told: " + strings.Join(told, ", ") + "."
	}
	for _, u := range o.Untold {
		line += fmt.Sprintf(" Cannot be told: %s (%s); ring them.", u.Person, oneLine(u.Reason))
	}
	return line
}

// letters are the messages of a firm, and why there are not more.
type letters struct {
	messages []notify.Message
	sent     map[string]bool // by id
	untold   []notify.Untold
	not      map[notify.Untold]bool
}

func (h *house) letters(ctx context.Context) (letters, error) {
	l := letters{sent: map[string]bool{}, not: map[notify.Untold]bool{}}
	var err error
	if l.messages, err = h.db.Messages(ctx, h.firm.UID); err != nil {
		return l, err
	}
	if l.untold, err = h.db.Untold(ctx, h.firm.UID); err != nil {
		return l, err
	}
	for _, m := range l.messages {
		l.sent[m.ID] = true
	}
	for _, u := range l.untold {
		l.not[u] = true
	}
	return l, nil
}

// writeTime gives the time at which a writing command acts: the machine's for
// a live firm, the mark or a later asked one for a virtual firm. A firm that
// never ran is on the machine's clock until it is said otherwise.
func writeTime(b ledger.Book, asked string) (time.Time, error) {
	var t time.Time
	if asked != "" {
		var err error
		if t, err = parseTime(asked); err != nil {
			return t, err
		}
	}
	switch {
	case asked != "" && b.Life == ledger.Live:
		return t, usageError{fmt.Errorf("%s runs on the real clock, so --now does not go with it; leave it out", b.Firm.Name)}
	case asked != "" && b.Life == ledger.Virtual && t.Before(b.Mark):
		return t, usageError{fmt.Errorf("%s is a time that has passed for %s, whose virtual clock stands at %s; give that or a later one, or leave --now out",
			t.Format(time.RFC3339), b.Firm.Name, b.Mark.UTC().Format(time.RFC3339))}
	case asked != "":
		return t, nil
	case b.Life == ledger.Virtual:
		return b.Mark, nil
	}
	return realClock{}.Now(), nil
}
