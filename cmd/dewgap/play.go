package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/replay"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/web"
	"dewgap/config"
)

// play lets the recordings pass on the live page until ctx ends.
func (v *replayCmd) play(ctx context.Context, con console, cfg *config.Config) (err error) {
	if v.Events != "" || v.States != "" {
		return usageError{errors.New("--speed and --listen play on a page and write no files: leave out --events and --states, or run replay twice")}
	}
	speed := v.Speed
	if speed == 0 {
		speed = 30
	}
	if !(speed >= replay.Slowest && speed <= replay.Fastest) {
		return usageError{fmt.Errorf("--speed %g: choose between %g and %d", speed, replay.Slowest, replay.Fastest)}
	}
	address := v.Listen
	if address == "" {
		address = "127.0.0.1:0"
	}
	setting, err := v.setting(ctx, con, cfg)
	if err != nil {
		return err
	}
	setting.Speed = speed
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	listen, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("listen for the page: %w; choose another address with --listen", err)
	}
	opened.PushListener("close the page's listener", listen)
	if tcp, ok := listen.Addr().(*net.TCPAddr); ok && !tcp.IP.IsLoopback() {
		fmt.Fprintf(con.Err, "warning: %s lets everybody on that network watch and drive the replay\n", listen.Addr())
	}
	p := replay.New(setting)
	server := web.New(web.Parts{
		Board: setting.Board, Events: p, Version: buildVersion(), Log: slog.New(slog.DiscardHandler), Replay: p,
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			http.Error(w, "a replay has no metrics: they would pass for the present", http.StatusNotFound)
		}),
	})
	fmt.Fprintf(con.Out, "http://%s/\n", listen.Addr())
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return server.Run(ctx, listen) })
	group.Go(func() error { return p.Run(ctx) })
	return group.Wait()
}

// setting finds where the recordings begin and end, so that a recording that
// cannot be played is refused before a page opens.
func (v *replayCmd) setting(ctx context.Context, con console, cfg *config.Config) (s replay.Setting, err error) {
	in, err := openRecordings(cfg, v.Recordings, con.Err)
	if err != nil {
		return s, err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	s = replay.Setting{Site: in.site, Name: filepath.Base(v.Recordings[0]), Units: cfg.Units.String(), Board: snapshot.NewBoard(time.Now)}
	if more := len(v.Recordings) - 1; more > 0 {
		s.Name += fmt.Sprintf(" and %d more", more)
	}
	s.Open = func() (replay.Recording, error) { return openRecordings(cfg, v.Recordings, io.Discard) }
	var row reading.Row
	for {
		err := in.Next(ctx, &row)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return s, err
		}
		if s.From.IsZero() {
			s.From = row.Time
		}
		s.To = row.Time
	}
	if s.From.IsZero() {
		return s, errors.New("the recording holds no row: there is nothing to play")
	}
	return s, nil
}
