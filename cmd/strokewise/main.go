// Command strokewise watches compressed-air boost stations: see the README.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"

	"strokewise/collector/samplelog"
	"strokewise/dashboards/access"
	"strokewise/rules"
)

// Exit codes.
const (
	exitOK    = 0
	exitFault = 1 // something could not be done
	exitUsage = 2 // the command line cannot be understood
	exitLater = 3 // a command was taken, and what becomes of it is not known yet
	exitTaken = 4 // another process holds the sample log: it took over, or was there first

	exitInterrupted = 130 // ended before its end; what works until interrupted ends with exitOK
)

// commands are the subcommands.
type commands struct {
	Run       runCmd       `cmd:"" help:"Receive, analyse and serve until interrupted."`
	Demo      demoCmd      `cmd:"" help:"Run with an embedded broker and a plant of virtual stations: the program on a plant that does not exist."`
	Replay    replayCmd    `cmd:"" help:"Run recorded traces through the live analyzer and alarms, and print what they tell."`
	Check     checkCmd     `cmd:"" help:"Check a configuration file: all faults at once."`
	Schema    schemaCmd    `cmd:"" help:"Print the JSON Schema of the configuration, for editors: completion, and faults while you type."`
	Discover  discoverCmd  `cmd:"" help:"Listen to a broker that nobody has described, and propose a configuration: stations, channels, units. It publishes nothing and installs nothing."`
	Rig       rigCmd       `cmd:"" help:"Virtual stations: record, publish, cause faults."`
	Alarm     alarmCmd     `cmd:"" help:"People's commands to the running program: acknowledge, shelve, close, declare work, note. Exit code 0: done; 1: refused or not taken; 3: taken, not decided yet."`
	Refused   refusedCmd   `cmd:"" help:"Messages that were not accepted: list, show, take them again, discard; and say that this machine's clock is right."`
	Backup    backupCmd    `cmd:"" help:"Copy the history while the program runs."`
	Restore   restoreCmd   `cmd:"" help:"Put the history of a backup into a data folder."`
	Reanalyse reanalyseCmd `cmd:"" help:"Tell what this program would conclude otherwise from the samples in the log, and change closed minutes on request."`
	Alarms    alarmsCmd    `cmd:"" help:"The catalogue of alarms: list, explain, and test with rule scripts."`
	Trends    trendsCmd    `cmd:"" help:"Tell how a station's figures run over weeks: trends, changes, and when duty passes its limit."`
	Export    exportCmd    `cmd:"" help:"Write stored minutes or hours to a CSV or Parquet file, or once more to an InfluxDB server."`
	Audit     auditCmd     `cmd:"" help:"The trail of what was asked: verify, export."`
	User      userCmd      `cmd:"" help:"Users who may log in: add, role, password, pin, remove, list."`
	Token     tokenCmd     `cmd:"" help:"Tokens of scripts: add, list, revoke."`
	Notify    notifyCmd    `cmd:"" help:"Receivers of notifications: test them."`
	Payload   payloadCmd   `cmd:"" help:"Payloads: try what would come of a message."`
	Version   versionCmd   `cmd:"" help:"Print the version."`

	Completion completionCmd `cmd:"" help:"Print the completion script of bash: eval \"$(strokewise completion)\", or a file in the folder of completions."`
	Man        manCmd        `cmd:"" help:"Print the manual page: strokewise man | man -l -"`

	ShowVersion kong.VersionFlag `name:"version" help:"Print the version with its commit and the version of Go."`
	logFlags
}

// env is what the commands share.
type env struct {
	ctx context.Context
	out io.Writer
	err io.Writer
	log *slog.Logger
	end *ending

	model *kong.Application // the commands and flags, with their help
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	end := &ending{exit: os.Exit}
	go end.watch(ctx, stop)
	os.Exit(executeIn(ctx, end, os.Args[1:], os.Stdout, os.Stderr))
}

// untilInterrupted returns the error of what works until it is interrupted.
func untilInterrupted(err error) error {
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// parser returns what reads command lines into c; done is called where it has answered by itself.
func parser(c *commands, out, errOut io.Writer, done func()) (*kong.Kong, error) {
	return kong.New(c, kong.Name("strokewise"), kong.Writers(out, errOut), kong.Exit(func(int) { done() }),
		kong.Description("Watches compressed-air boost stations. It only watches: it moves no valve and is no safety function."),
		kong.UsageOnError(), kong.Vars{"causes": strings.Join(rules.Causes(), ","), "services": strings.Join(rules.ServiceKinds(), ","), "roles": strings.Join(access.RoleNames(), ","), "version": versionLine()})
}

// executeIn runs one command line and returns the exit code. end ends it by force; nil: nobody does.
func executeIn(ctx context.Context, end *ending, args []string, out, errOut io.Writer) int {
	var c commands
	done := false
	p, err := parser(&c, out, errOut, func() { done = true })
	if err != nil {
		fmt.Fprintln(errOut, "BUG:", err)
		return exitFault
	}
	k, err := p.Parse(args)
	switch {
	case done: // help was asked for
		return exitOK
	case err != nil:
		fmt.Fprintf(errOut, "strokewise: %v; strokewise --help lists the commands\n", err)
		return exitUsage
	}
	e := &env{ctx: ctx, out: out, err: errOut, log: c.logger(errOut), end: end, model: p.Model}
	err = k.Run(e)
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		fmt.Fprintln(errOut, "strokewise: interrupted")
		return exitInterrupted
	}
	if err != nil {
		c.ended(errOut, e.log, err)
		if errors.As(err, new(undecided)) {
			return exitLater
		}
		if errors.Is(err, samplelog.ErrLease) {
			return exitTaken
		}
		return exitFault
	}
	return exitOK
}
