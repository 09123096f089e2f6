package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/cmd/dewgap/internal/scan"
	"dewgap/collector"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
)

type scanCmd struct {
	Modbus string        `placeholder:"HOST[:PORT]" help:"Modbus device or gateway; port 502 where none is given."`
	RTU    bool          `name:"rtu" help:"With --modbus, RTU frames over TCP, as serial servers want them."`
	Unit   uint8         `default:"1" help:"With --modbus, number of the device."`
	From   int           `default:"-1" help:"With --modbus, first address, zero-based as on the wire."`
	To     int           `default:"-1" help:"With --modbus, last address; 1000 at once at most."`
	Table  string        `default:"holding" enum:"holding,input,coil,discrete" help:"With --modbus, what is read: holding, input, coil or discrete. Repeat the scan for others."`
	Forbid []string      `placeholder:"FROM-TO" help:"With --modbus, addresses that are never read. Repeat it for more."`
	Pause  time.Duration `default:"300ms" help:"With --modbus, least time between two requests."`

	MQTT         string `name:"mqtt" placeholder:"URL" help:"Broker, such as tcp://192.0.2.20:1883."`
	Topic        string `placeholder:"FILTER" help:"With --mqtt, topics to listen to, such as store/rack1/#."`
	Username     string `help:"With --mqtt, name at the broker."`
	PasswordFile string `type:"path" help:"With --mqtt, file that holds the password."`
	CAFile       string `name:"ca-file" type:"path" help:"With --mqtt, certificate authority of the broker."`

	Period time.Duration `default:"5s" help:"Time from one sweep to the next."`
	For    time.Duration `default:"1m" help:"How long to look; through a start and a stop of the compressor it shows which values move with it."`
	Units  string        `default:"si" enum:"si,us" help:"Units that are tried first."`
	Delay  time.Duration `default:"5s" help:"Time to press Ctrl-C after it has printed what it will read."`
	Out    string        `type:"path" placeholder:"FILE" help:"Write the site file there; without it, to standard output."`
	Force  bool          `help:"Replace an existing file."`

	clock collector.Clock // for tests; nil: the real one
}

func (scanCmd) Help() string {
	return "Looks for pressures, temperatures and switches at a device whose register list is thin. Reads only, slowly: one request at a time, with a pause after each. An address that the device refuses is not asked for again; a unit that does not answer ends the scan. Agree the first connection with whoever is responsible for the plant, and watch its controllers meanwhile. Findings are proposals: compare each with the register list and a gauge."
}

// firstConnection is what a person is told before anything is read.
const firstConnection = "The device keeps food cold. Agree this first connection with whoever is responsible for the plant, and watch its controllers meanwhile."

func (v *scanCmd) Run(ctx context.Context, con console) error {
	if v.clock == nil {
		v.clock = collector.NewRealClock()
	}
	system, err := units.ParseSystem(v.Units)
	if err != nil {
		return err
	}
	files := output.Files{Force: v.Force}
	if v.Out != "" {
		files.Outputs = []output.File{{Option: "--out", Path: v.Out}}
		if err := files.Check(); err != nil {
			return err
		}
	}
	var found []scan.Found
	var src scan.Source
	switch {
	case (v.Modbus == "") == (v.MQTT == ""):
		return usageError{errors.New("give either --modbus HOST with --from and --to, or --mqtt URL with --topic")}
	case v.Modbus != "":
		found, src, err = v.registers(ctx, con, system)
	default:
		found, src, err = v.topics(ctx, con, system)
	}
	if err != nil {
		return err
	}
	if len(found) == 0 {
		return errors.New("nothing that was read looks like a pressure, a temperature or a switch; scan another range or table")
	}
	fmt.Fprint(con.Out, scan.Table(found))
	site := scan.SiteFile(src, found, system)
	if v.Out == "" {
		fmt.Fprintf(con.Out, "\n%s", site)
		return nil
	}
	f, err := files.Create(v.Out)
	if err != nil {
		return fmt.Errorf("write the site file: %w", err)
	}
	_, err = f.WriteString(site)
	if err := errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write the site file: %w", err)
	}
	fmt.Fprintf(con.Err, "next: complete the lines marked FILL IN in %s, then: dewgap check --config %s --live\n", v.Out, filepath.Base(v.Out))
	return nil
}

var scanTables = map[string]modbus.Table{"coil": modbus.Coil, "discrete": modbus.Discrete, "holding": modbus.Holding, "input": modbus.Input}

// registers reads the range for as long as wanted.
func (v *scanCmd) registers(ctx context.Context, con console, system units.System) ([]scan.Found, scan.Source, error) {
	address := v.Modbus
	if _, _, err := net.SplitHostPort(address); err != nil {
		address = net.JoinHostPort(strings.Trim(address, "[]"), "502")
	}
	src := scan.Source{Name: "device", Address: address, RTU: v.RTU}
	if v.From < 0 || v.To > 65535 || v.To < 0 || v.From > 65535 {
		return nil, src, usageError{errors.New("--from and --to are the first and last address, 0 to 65535, zero-based as on the wire")}
	}
	table := scanTables[v.Table]
	s := modbus.Settings{Name: src.Name, Address: address, Timeout: time.Second, Period: v.Period}
	if v.RTU {
		s.Transport = modbus.RTUOverTCP
	}
	for _, text := range v.Forbid {
		first, last, err := span(text)
		if err != nil {
			return nil, src, usageError{err}
		}
		s.Forbidden = append(s.Forbidden, modbus.Span{Unit: v.Unit, Table: table, First: first, Last: last})
	}
	scanner, err := modbus.NewScanner(s, modbus.Sweep{Unit: v.Unit, Table: table, First: uint16(v.From), Last: uint16(v.To), Pause: v.Pause})
	if err != nil {
		return nil, src, usageError{err}
	}
	defer scanner.Close()
	if v.Period < time.Second {
		return nil, src, usageError{fmt.Errorf("--period %s: leave the bus a second at least", v.Period)}
	}
	reads := scanner.Reads()
	fmt.Fprintf(con.Err, "%s\nFrom %s it will read, each %s for %s, with %s between two requests, and write nothing:\n", firstConnection, address, v.Period, v.For, v.Pause)
	for _, r := range reads {
		fmt.Fprintln(con.Err, "  "+r)
	}
	if err := v.wait(ctx, con); err != nil {
		return nil, src, err
	}
	var rows []scan.Row
	var times []time.Time
	end := v.clock.Now().Add(v.For)
	for n := 0; ; n++ {
		row := scan.Row{At: v.clock.Now(), Words: map[uint16]uint16{}}
		err := scanner.Read(ctx, func(address, word uint16) { row.Words[address] = word })
		if len(row.Words) > 0 {
			rows, times = append(rows, row), append(times, row.At)
		}
		if err != nil && len(rows) == 0 {
			return nil, src, err
		}
		if err != nil {
			if !errors.Is(err, context.Canceled) {
				fmt.Fprintf(con.Err, "scan ends early: %v\n", err)
			}
			break
		}
		fmt.Fprintf(con.Err, "sweep %d: %d addresses, %d refused\n", n+1, len(row.Words), scanner.Absent())
		if len(row.Words) == 0 {
			return nil, src, errors.New("the device refuses every address of the range; compare table, unit and range with the register list (manuals often count from 1)")
		}
		next := row.At.Add(v.Period)
		if now := v.clock.Now(); next.Before(now) {
			next = now // a sweep took longer than its period
		}
		if next.After(end) || len(rows) >= maxSweeps || v.clock.Until(ctx, next) != nil {
			break
		}
	}
	place := scan.Place{Table: v.Table, Unit: v.Unit}
	var found []scan.Found
	if table == modbus.Coil || table == modbus.Discrete {
		found = scan.Bits(place, rows)
	} else {
		found = scan.Registers(place, rows, system)
	}
	scan.Movement(found, times)
	return found, src, nil
}

// maxSweeps bounds what a scan keeps.
const maxSweeps = 2000

// wait lets the person end the scan before it begins.
func (v *scanCmd) wait(ctx context.Context, con console) error {
	if v.Delay <= 0 {
		return nil
	}
	fmt.Fprintf(con.Err, "It begins in %s; Ctrl-C ends it.\n", v.Delay)
	return v.clock.Until(ctx, v.clock.Now().Add(v.Delay))
}

// span reads FROM-TO, or one address.
func span(text string) (first, last uint16, err error) {
	low, high, ranged := strings.Cut(text, "-")
	if !ranged {
		high = low
	}
	a, err1 := strconv.ParseUint(strings.TrimSpace(low), 10, 16)
	b, err2 := strconv.ParseUint(strings.TrimSpace(high), 10, 16)
	if err1 != nil || err2 != nil || a > b {
		return 0, 0, fmt.Errorf("--forbid %q: write two addresses, such as 100-119", text)
	}
	return uint16(a), uint16(b), nil
}

// topics listens to the broker for as long as wanted.
func (v *scanCmd) topics(ctx context.Context, con console, system units.System) ([]scan.Found, scan.Source, error) {
	src := scan.Source{Name: "broker", URL: v.MQTT}
	if v.Topic == "" {
		return nil, src, usageError{errors.New("--mqtt needs --topic FILTER, such as store/rack1/#")}
	}
	set := mqtt.Settings{Name: src.Name, URL: v.MQTT, ClientID: "dewgap", Username: v.Username, CAFile: v.CAFile}
	if v.PasswordFile != "" {
		secret, err := os.ReadFile(v.PasswordFile)
		if err != nil {
			return nil, src, fmt.Errorf("read the password: %w", err)
		}
		set.Password = mqtt.Secret(strings.TrimRight(string(secret), "\r\n"))
	}
	fmt.Fprintf(con.Err, "%s\nAt %s it will subscribe to %s for %s, and publish nothing.\n", firstConnection, v.MQTT, v.Topic, v.For)
	if err := v.wait(ctx, con); err != nil {
		return nil, src, err
	}
	listening, cancel := context.WithTimeout(ctx, v.For)
	defer cancel()
	samples := scan.NewSamples(v.clock.Now(), v.Period)
	dropped, err := mqtt.Listen(listening, set, v.Topic, v.clock, func(s mqtt.Sample) {
		samples.Add(scan.Place{Topic: s.Topic, Pointer: s.Pointer}, s.At, s.Number, s.Switch, s.IsTime)
	})
	if err != nil {
		return nil, src, err
	}
	if dropped > 0 {
		fmt.Fprintf(con.Err, "warning: messages came faster than they were looked at; some were left out\n")
	}
	if n := samples.Left(); n > 0 {
		fmt.Fprintf(con.Err, "warning: %d values beyond the first %d were left out; choose a narrower --topic\n", n, scan.MaxPlaces)
	}
	return samples.Found(system), src, nil
}
