package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dewgap/collector"
	"dewgap/config"
)

type checkCmd struct {
	Config    string            `placeholder:"FILE" help:"Configuration of the site."`
	Live      bool              `help:"Read the site for a while, with the daemon's own analysis: superheat of each compressor, every doubtful input with its likely remedy. Nothing is ever written."`
	For       time.Duration     `default:"90s" help:"With --live, how long to look; below a minute most is not judged yet, and a start and a stop show more."`
	Watch     bool              `help:"With --live, print a report each --for until Ctrl-C."`
	Plan      bool              `help:"With --live, print what will be read and how often, too."`
	JSON      bool              `name:"json" help:"With --live, print the report as JSON."`
	Compare   map[string]string `placeholder:"INPUT=GAUGE" help:"With --live, compare an input with what a gauge or thermometer shows now, such as lt.suction_pressure=\"1.82 barg\", and print the key that states it. Repeat it for more."`
	By        string            `help:"With --compare, who compared; the user's name where it is not given." placeholder:"NAME"`
	Wait      time.Duration     `default:"10s" help:"With --live, how long to wait for a broker's messages at first."`
	Reference bool              `help:"Print every key of the configuration with unit, default, range, meaning and an example."`

	clock collector.Clock // for tests; nil: the real one
}

func (checkCmd) Help() string {
	return "Without --live nothing is read: it lists every fault of the file, or prints the plan. With --live, results go to standard output and progress to standard error; the status is 1 when something is doubtful or failing. It connects under a client id of its own and may run beside the daemon. Agree the first connection with whoever is responsible for the plant."
}

func (v checkCmd) Run(ctx context.Context, con console) error {
	switch {
	case v.Reference && (v.Config != "" || v.Live):
		return usageError{errors.New("--reference prints the keys of every configuration; leave out --config and --live")}
	case v.Reference:
		return config.WriteReference(con.Out)
	case v.Config == "":
		return usageError{errors.New("check needs --config FILE, or --reference for every key of one")}
	case !v.Live && (v.Watch || v.JSON || len(v.Compare) > 0):
		return usageError{errors.New("--watch, --json and --compare read the site: add --live")}
	case v.Live && v.For < time.Second:
		return usageError{fmt.Errorf("--for %s: look for a second at least", v.For)}
	}
	c, err := config.Load(v.Config)
	if err != nil {
		return tellFaults(con, v.Config, err)
	}
	plan := con.Out
	if v.JSON {
		plan = con.Err
	}
	if v.Plan || !v.Live {
		if err := c.WritePlan(plan); err != nil {
			return err
		}
	}
	for _, w := range c.Warnings {
		fmt.Fprintln(con.Err, "warning:", w.Error())
	}
	if _, err := policyOf(&c.Daemon, c.Daemon.Listen); err != nil {
		return err
	}
	unready := c.Runnable()
	var live error
	if v.Live {
		if len(c.Modbus)+len(c.MQTT) == 0 {
			return errors.New("there is nothing to read: no source is configured")
		}
		if live = v.live(c, con).run(ctx); ctx.Err() != nil && !v.Watch {
			return live
		}
	}
	switch {
	case unready == nil && live != nil:
		return live
	case unready == nil:
		fmt.Fprintf(con.Err, "%s is right, with %d warnings.\n", v.Config, len(c.Warnings))
		return nil
	case len(c.Modbus)+len(c.MQTT) == 0:
		fmt.Fprintf(con.Err, "%s is right for replay, with %d warnings; run needs sources.\n", v.Config, len(c.Warnings))
		return nil
	}
	return tellFaults(con, v.Config, unready)
}

// live returns the check of the running site.
func (v *checkCmd) live(c *config.Config, con console) *liveCheck {
	l := &liveCheck{con: con, config: c, clock: v.clock, wait: v.Wait, length: v.For, watch: v.Watch, json: v.JSON, compare: v.Compare, by: v.By}
	if l.clock == nil {
		l.clock = collector.NewRealClock()
	}
	if l.by == "" {
		l.by = userName()
	}
	return l
}

// tellFaults writes the faults of a configuration, one a line, and returns how
// many there are as an error.
func tellFaults(con console, file string, err error) error {
	var faults config.Faults
	if !errors.As(err, &faults) {
		return err
	}
	for _, f := range faults {
		fmt.Fprintln(con.Err, f.Error())
	}
	if len(faults) == 1 {
		return fmt.Errorf("%s has a fault; it cannot be run", file)
	}
	return fmt.Errorf("%s has %d faults; it cannot be run", file, len(faults))
}
