package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"dewgap/cmd/dewgap/internal/daemon"
	"dewgap/collector"
	"dewgap/config"
	"dewgap/simulators/store"
)

// A Modbus server and a broker that stop and come back: values go absent, the
// source falls and rises, and the gap invents no floodback.
func TestSourcesStopAndComeBack(t *testing.T) {
	plantStore, start, err := openDemoStore(1)
	if err != nil {
		t.Fatal(err)
	}
	listen, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Parse("site.toml", plantStore.Config(store.Location{Listen: listen.Addr().String(), Data: t.TempDir()}))
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	clock := collector.NewScaledClock(start, 20)
	watcher, err := daemon.Open(daemon.Setting{Config: cfg, Clock: clock, Sources: sourcesOf(clock, log, "demo"), Listen: listen, Log: log, Version: build(), Mode: "demo"})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 2)
	go func() { ended <- plantStore.Run(ctx, clock) }()
	go func() { ended <- watcher.Run(ctx) }()
	defer func() {
		cancel()
		for range 2 {
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
	}()
	metrics := "http://" + listen.Addr().String() + "/metrics"
	for _, outage := range []struct {
		source, group string
		stop, start   func() error
	}{
		{"rack-controller", "mt", plantStore.StopBus, plantStore.StartBus},
		{"gateway", "lt", plantStore.Broker.Stop, plantStore.Broker.Start},
	} {
		up := fmt.Sprintf("dewgap_source_up{site=\"demo\",source=%q} ", outage.source)
		value := fmt.Sprintf(`dewgap_suction_pressure_pascals{compressor="c1",group=%q,site="demo"}`, outage.group)
		await(t, metrics, outage.source+" delivers", func(text string) bool {
			return strings.Contains(text, up+"1") && strings.Contains(text, value)
		})
		if err := outage.stop(); err != nil {
			t.Fatal(err)
		}
		await(t, metrics, outage.source+" is down and its values absent", func(text string) bool {
			return strings.Contains(text, up+"0") && !strings.Contains(text, value)
		})
		if err := outage.start(); err != nil {
			t.Fatal(err)
		}
		await(t, metrics, outage.source+" is back", func(text string) bool {
			return strings.Contains(text, up+"1") && strings.Contains(text, value)
		})
	}
	await(t, metrics, "at most 480 series, each with its site", func(text string) bool {
		series := regexp.MustCompile(`(?m)^dewgap_.*`).FindAllString(text, -1)
		for _, s := range series {
			if !strings.Contains(s, `site="demo"`) {
				t.Fatalf("no site: %s", s)
			}
		}
		if len(series) < 400 || len(series) > 480 {
			t.Fatalf("%d series of the demo site, want at most 480", len(series))
		}
		return true
	})
	_, events := watcher.Summary()
	for _, ev := range events {
		if ev.Kind == "floodback" || ev.Kind == "flooded_start" {
			t.Errorf("the gap invented %+v", ev)
		}
	}
}

// await reads url until it is as wanted, or fails after two minutes.
func await(t *testing.T, url, what string, wanted func(text string) bool) {
	t.Helper()
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	last := ""
	for range 2400 {
		if response, err := http.Get(url); err == nil {
			text, _ := io.ReadAll(response.Body) // a short body is not as wanted
			_ = response.Body.Close()
			if last = string(text); wanted(last) {
				return
			}
		}
		<-look.C
	}
	for line := range strings.Lines(last) {
		if strings.HasPrefix(line, "dewgap_source") || strings.HasPrefix(line, "dewgap_suction_pressure") {
			t.Log(strings.TrimSpace(line))
		}
	}
	t.Fatalf("not seen within two minutes: %s", what)
}
