package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/collector"
	"dewgap/simulators/plant"
	"dewgap/simulators/store"
)

// serving is how a simulated plant is put on the wire.
type serving struct {
	Modbus      string  `help:"Where the Modbus TCP server listens." default:"127.0.0.1:5020"`
	RTU         bool    `name:"rtu" help:"Also answer as Modbus RTU on a pseudo-terminal; its path is printed." default:"true" negatable:""`
	MQTT        string  `name:"mqtt" help:"Where the MQTT broker listens." default:"127.0.0.1:1883"`
	Control     string  `help:"Where the HTTP control listens, on this machine alone; empty: none." default:"127.0.0.1:5080"`
	Speed       float64 `help:"How many times faster than real time the plant runs." default:"1"`
	WriteConfig string  `type:"path" help:"Save the site.toml with which dewgap run reads it." placeholder:"DIR"`
	Via         string  `help:"How that site.toml reads: tcp, rtu, mqtt, or mixed: one group over Modbus TCP, the next by MQTT." enum:"mixed,tcp,rtu,mqtt" default:"mixed"`
}

const serveHelp = `With --serve the plant answers until Ctrl-C, or until --for has passed. Every group is a Modbus unit, over TCP and on the pseudo-terminal. Its values are also published below the scenario's name. Standard output lists the addresses, one a line: modbus, rtu, mqtt, control.

At a --speed other than 1 everything happens that much sooner by your clock, the lag of sensors included. Messages carry real time in "time" and the plant's in "plant_time". Holds, lags and periods in site.toml are that much shorter. Rehearse dashboards and alarms that way; sign off at speed 1 or from a recording.

The control is HTTP and JSON, on this machine alone:
  curl -s 127.0.0.1:5080/                 what can be done
  curl -s 127.0.0.1:5080/plant            the plant's true state
  curl -s 127.0.0.1:5080/kinds            kinds of fault
  H='Content-Type: application/json'
  curl -s 127.0.0.1:5080/faults -H "$H" -d '{"kind":"low_airflow","target":"lt.room","amount":0.3,"for_min":20}'
  curl -s -X DELETE 127.0.0.1:5080/faults/1
  curl -s 127.0.0.1:5080/defrosts -H "$H" -d '{"circuit":"lt.room"}'
  curl -s 127.0.0.1:5080/sensors -H "$H" -d '{"input":"lt.c1.suction_temperature","fault":"open"}'
A refusal is {"error":"…"} with a status of 400 or more.`

// serve puts the plant's devices on the chosen ports, without the daemon.
func (v simulateCmd) serve(ctx context.Context, con console) (err error) {
	if v.Out != "" || v.Truth != "" || v.Config != "" {
		return usageError{errors.New("--serve writes no recording: leave out --out, --truth and --config (--write-config DIR saves the configuration)")}
	}
	if !(v.Speed >= 0.1 && v.Speed <= 240) {
		return usageError{fmt.Errorf("--speed %g: choose between 0.1 and 240", v.Speed)}
	}
	if v.Via == string(store.ByRTU) && !v.RTU {
		return usageError{errors.New("--via rtu needs the line: leave out --no-rtu")}
	}
	files := configIn(v.WriteConfig, v.inputs(), v.Force)
	if err := files.Check(); err != nil {
		return err
	}
	d, err := loadScenario(v.Scenario)
	if err != nil {
		return err
	}
	// The plant starts now, so that in real time its clock is the reader's.
	d.Start = time.Now().UTC().Truncate(time.Second)
	p, err := plant.New(d, v.Seed)
	if err != nil {
		return fmt.Errorf("scenario %s: %w", v.Scenario, err)
	}
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	var control net.Listener
	if v.Control != "" {
		if control, err = store.ListenControl(ctx, v.Control); err != nil {
			return err
		}
		opened.PushListener("close the control's listener", control)
	}
	plantStore, err := store.Open(p, store.Setting{
		Bus: v.Modbus, Broker: v.MQTT, Serial: v.RTU, Via: store.Via(v.Via), PublishAll: true, Speed: v.Speed,
	})
	if err != nil {
		return err
	}
	opened.Push("close the simulated store", plantStore.Close)
	next := ""
	if v.WriteConfig != "" {
		data := filepath.Join(v.WriteConfig, "data")
		if err := saveConfig(files, plantStore.Config(store.Location{Listen: "127.0.0.1:9480", Data: data})); err != nil {
			return err
		}
		next = fmt.Sprintf("; next: dewgap run --config %s", filepath.Join(v.WriteConfig, "site.toml"))
	}
	fmt.Fprintf(con.Out, "modbus %s\n", plantStore.ModbusAddress())
	if v.RTU {
		fmt.Fprintf(con.Out, "rtu %s\n", plantStore.LineName())
	}
	fmt.Fprintf(con.Out, "mqtt %s\n", plantStore.Broker.Address())
	if control != nil {
		fmt.Fprintf(con.Out, "control http://%s/\n", control.Addr())
	}
	fmt.Fprintf(con.Err, "%s runs %g times as fast as real time; stop with Ctrl-C%s\n", d.Name, v.Speed, next)
	if v.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, v.For)
		defer cancel()
	}
	group, ctx := errgroup.WithContext(ctx)
	if control != nil {
		group.Go(func() error { return plantStore.ServeControl(ctx, control) })
	}
	group.Go(func() error { return plantStore.Run(ctx, collector.NewScaledClock(p.Now(), v.Speed)) })
	return group.Wait()
}
