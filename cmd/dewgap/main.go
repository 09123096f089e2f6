// Command dewgap watches the superheat at the inlet of refrigeration
// compressors and raises an event when liquid comes back to a running one.
//
// This file is the list of commands. Each command has a file of its own; it
// builds its parts from the other packages, runs them and closes them in
// reverse order.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"
)

type commands struct {
	Check        checkCmd        `cmd:"" help:"Explain every fault of a configuration, or print what will be read."`
	Scan         scanCmd         `cmd:"" help:"Look for pressures, temperatures and switches at an unknown device, read-only, and propose a site file."`
	Replay       replayCmd       `cmd:"" help:"Run recordings through the analysis, as fast as the machine allows."`
	Compare      compareCmd      `cmd:"" help:"Which events of many sites would appear, vanish or change with another version or other settings."`
	Explain      explainCmd      `cmd:"" help:"Explain one event, with what to check next."`
	Acknowledge  acknowledgeCmd  `cmd:"" help:"Take on an open event."`
	Found        foundCmd        `cmd:"" help:"Record what was really the matter."`
	Maintenance  maintenanceCmd  `cmd:"" help:"Mute notifications while people work."`
	Notify       notifyCmd       `cmd:"" help:"Try the targets that are told of events."`
	Report       reportCmd       `cmd:"" help:"Write a record for people from recordings."`
	Export       exportCmd       `cmd:"" help:"Write what was recorded in other forms, for people elsewhere."`
	Record       recordCmd       `cmd:"" help:"Record a site for a while, without the daemon."`
	Run          runCmd          `cmd:"" help:"Watch a site."`
	Demo         demoCmd         `cmd:"" help:"Run an invented store and watch it, all on this machine."`
	Version      versionCmd      `cmd:"" help:"Print the version of this program."`
	Simulate     simulateCmd     `cmd:"" help:"Write a recording of the simulated plant, with the truth beside it."`
	Sat          satCmd          `cmd:"" help:"Dew and bubble point of a refrigerant, or superheat from one pair of readings."`
	Refrigerants refrigerantsCmd `cmd:"" help:"List the refrigerants with glide, safety class, source and accuracy."`
	Manual       manualCmd       `cmd:"" hidden:"" help:"Write the manual page or the completion for bash, for packages."`
}

// console is where a command writes: results to Out, messages for people to Err.
type console struct {
	Out, Err io.Writer
}

// usageError is a mistake in how a command was called; exit status 2.
type usageError struct{ error }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], console{Out: os.Stdout, Err: os.Stderr})
	stop()
	os.Exit(code)
}

// run executes one command line and returns the exit status: 0 done, 1 could
// not be done, 2 wrong usage.
func run(ctx context.Context, args []string, con console) (code int) {
	var v commands
	type exit struct{ code int }
	defer func() {
		if r := recover(); r != nil {
			e, ours := r.(exit)
			if !ours {
				panic(r)
			}
			code = e.code
		}
	}()
	parser, err := kong.New(&v,
		kong.Name("dewgap"),
		kong.Description("Watches superheat at compressor inlets and raises an event when liquid comes back to a running compressor. Reads only; no safety device."),
		kong.Writers(con.Out, con.Err),
		// --help leaves through here; a panic keeps run testable.
		kong.Exit(func(code int) { panic(exit{code}) }),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(con),
	)
	if err != nil {
		fmt.Fprintln(con.Err, "dewgap:", err)
		return 1
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	if args[0] == "sat" {
		args = hyphensToMinus(args)
	}
	cmd, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(con.Err, "dewgap: %v\nRun 'dewgap --help' for the commands, 'dewgap COMMAND --help' for one.\n", err)
		return 2
	}
	if err := cmd.Run(); err != nil {
		fmt.Fprintln(con.Err, "dewgap:", err)
		var usage usageError
		if errors.As(err, &usage) {
			return 2
		}
		return 1
	}
	return 0
}
