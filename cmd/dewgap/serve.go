package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dewgap/cmd/dewgap/internal/rehearsal"
	"dewgap/collector"
	"dewgap/simulators/plant"
)

// serve puts the plant's fronts on the chosen ports, without the daemon.
func (v simulateVerb) serve(ctx context.Context, con console) error {
	if v.Out != "" || v.Truth != "" {
		return usageError{errors.New("--serve writes no recording: leave out --out and --truth, or --serve")}
	}
	if !(v.Speed >= 0.1 && v.Speed <= 240) {
		return usageError{fmt.Errorf("--speed %g: choose between 0.1 and 240", v.Speed)}
	}
	d, err := loadScenario(v.Scenario)
	if err != nil {
		return err
	}
	start := time.Now().UTC().Truncate(time.Second)
	if v.Speed == 1 {
		// A plant in real time lives today, so that a daemon's clock agrees
		// with the time stamps it publishes.
		d.Start = start
	}
	p, err := plant.New(d, v.Seed)
	if err != nil {
		return fmt.Errorf("scenario %s: %w", v.Scenario, err)
	}
	store, err := rehearsal.Open(p, v.Modbus, v.MQTT)
	if err != nil {
		return err
	}
	if v.WriteConfig != "" {
		if err := saveConfig(v.WriteConfig, store.Config(rehearsal.Place{Listen: "127.0.0.1:9480", Data: "data"})); err != nil {
			return err
		}
	}
	fmt.Fprintf(con.Err, "Modbus TCP at %s, MQTT at %s, %g times real speed; stop with Ctrl-C\n",
		store.ModbusAddress(), store.Broker.Address(), v.Speed)
	if v.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, v.For)
		defer cancel()
	}
	return store.Run(ctx, collector.NewScaledClock(p.Now(), v.Speed))
}
