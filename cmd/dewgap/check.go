package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dewgap/config"
)

type checkCmd struct {
	Config    string        `placeholder:"FILE" help:"Configuration of the site."`
	Live      bool          `help:"Read each point once and show raw words, value and quality. Nothing is ever written."`
	Wait      time.Duration `default:"10s" help:"With --live, how long to wait for a broker's messages."`
	Reference bool          `help:"Print every key of the configuration with unit, default, range, meaning and an example."`
}

func (v checkCmd) Run(ctx context.Context, con console) error {
	switch {
	case v.Reference && (v.Config != "" || v.Live):
		return usageError{errors.New("--reference prints the keys of every configuration; leave out --config and --live")}
	case v.Reference:
		return config.WriteReference(con.Out)
	case v.Config == "":
		return usageError{errors.New("check needs --config FILE, or --reference for every key of one")}
	}
	c, err := config.Load(v.Config)
	if err != nil {
		return tellFaults(con, v.Config, err)
	}
	if err := c.WritePlan(con.Out); err != nil {
		return err
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
		check := liveCheck{con: con, config: c, wait: v.Wait}
		if live = check.run(ctx); ctx.Err() != nil {
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
