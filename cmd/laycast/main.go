// Command laycast is the whole program: it reads the configuration, opens the
// database, wires the parts together and runs one command. It decides nothing
// itself.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // zones must not depend on the machine

	"github.com/alecthomas/kong"

	"laycast/scheduler"
)

// version is stamped by the release build.
var version = "dev"

// exit codes
const (
	exitOK    = 0
	exitFail  = 1
	exitUsage = 2
)

func main() {
	boundMemory(os.Getenv)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], world{In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Env: os.Getenv})
	stop()
	os.Exit(code)
}

// world is what a command may touch outside itself. A test hands in its own.
type world struct {
	In       io.Reader // nil: nothing can be read
	Out, Err io.Writer
	Env      func(string) string
	// Listening is told the address that a server listens on.
	Listening func(addr string)
	// Measuring is told the address at which metrics are told.
	Measuring func(addr string)
	// Time, where a test hands it in, is the daemon's.
	Time *steered
}

// steered is a clock that somebody else moves, and what the daemon does by it.
type steered struct {
	Clock  scheduler.Clock
	Wake   time.Duration   // how often it is looked at
	Rested func(time.Time) // see scheduler.Watch
}

// grammar is the command line.
type grammar struct {
	Config string `help:"Configuration file." default:"laycast.yaml" placeholder:"FILE"`

	Demo     demoCmd     `cmd:"" help:"The whole story on an invented firm: import, fetch, judge, plan, call, mail."`
	Init     initCmd     `cmd:"" help:"Set a firm up: write the configuration, create the database."`
	Serve    serveCmd    `cmd:"" help:"Run the daemon."`
	Rehearse rehearseCmd `cmd:"" help:"Run the daemon's own tasks over a period on a virtual clock."`
	Import   importCmd   `cmd:"" help:"Take in crews and jobs from a file."`
	Job      jobCmd      `cmd:"" help:"Look at jobs."`
	Check    checkCmd    `cmd:"" help:"The verdict for a job: windows, chance, tightest limits, hour table."`
	Plan     planCmd     `cmd:"" help:"The week: who lays which roof on which day."`
	Calls    callsCmd    `cmd:"" help:"What was decided, and why."`
	Messages messagesCmd `cmd:"" help:"Who was told what, and why."`
	Link     linkCmd     `cmd:"" help:"Secret links to pages and calendars, for customers, crews and the owner."`
	Load     loadCmd     `cmd:"" help:"The load list of a job: what goes on the van, and how the mat's strips lie."`
	Mix      mixCmd      `cmd:"" help:"The mix card: dose, batch and working time by the deck's temperature."`
	Record   recordCmd   `cmd:"" help:"The as-laid record of a job: times, conditions, readings and batches, closed and chained."`
	Customer customerCmd `cmd:"" help:"What is kept about one customer, and taking it out of the book."`
	Replay   replayCmd   `cmd:"" help:"The rolling benchmark: seasons of recorded weather, against simpler ways of booking and a clairvoyant."`
	Season   seasonCmd   `cmd:"" help:"Laying days by month, from a record of weather."`
	Skill    skillCmd    `cmd:"" help:"How honest the chances are: those given so far, or on a recorded year."`
	Profile  profileCmd  `cmd:"" help:"The laying limits in force."`
	Settings configCmd   `cmd:"" name:"config" help:"The configuration in force."`
	Backup   backupCmd   `cmd:"" help:"Write all that the database holds, or one firm, into one file."`
	Restore  restoreCmd  `cmd:"" help:"Put a backup into an empty database, SQLite or PostgreSQL."`
	Doctor   doctorCmd   `cmd:"" help:"Try out configuration, database, clock, disk, source, mail and links."`
}

// usageError marks an error as the caller's misuse of the command line.
type usageError struct{ error }

// run runs one command line and gives the exit code.
func run(ctx context.Context, args []string, w world) (code int) {
	var g grammar
	parser, err := kong.New(&g, kong.Name("laycast"), kong.Writers(w.Out, w.Err),
		kong.Description("Plans and calls the laying of cold-applied glass-fibre roofs by the weather.\n\n"+
			"A forecast is no permission: the lead hand decides on site, and the resin maker's data sheet, local codes and licensed practice govern.\n\n"+
			"Every command says more with --help. It ends with 0 when all is well, 1 when something failed, 2 when it was called wrongly."),
		kong.UsageOnError(), kong.Vars{"version": version},
		kong.Exit(func(c int) { panic(exitCode(c)) }))
	if err != nil {
		fmt.Fprintln(w.Err, "laycast:", err)
		return exitFail
	}
	defer func() { // --help ends the parse by way of kong.Exit
		if r := recover(); r != nil {
			c, ok := r.(exitCode)
			if !ok {
				panic(r)
			}
			code = int(c)
		}
	}()
	k, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintln(w.Err, "laycast:", err)
		fmt.Fprintln(w.Err, "Try: laycast --help")
		return exitUsage
	}
	k.BindTo(ctx, (*context.Context)(nil))
	err = k.Run(&session{world: w, configPath: g.Config})
	var usage usageError
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &usage):
		fmt.Fprintln(w.Err, "laycast:", err)
		return exitUsage
	}
	fmt.Fprintln(w.Err, "laycast:", err)
	return exitFail
}

type exitCode int
