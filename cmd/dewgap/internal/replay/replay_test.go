package replay

import (
	"context"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/config"
)

const site = `
[site]
name = "drawn"
altitude = "0 m"
[[suction_group]]
name = "mt"
refrigerant = "R513A"
  [[suction_group.compressor]]
  name = "c1"
  [[suction_group.circuit]]
  name = "case-1"
`

var begin = time.Date(2026, 5, 4, 3, 0, 0, 0, time.UTC)

// fakeRecording is a recording of so many seconds: dry, and wet from wetFrom on; a hole
// of an hour lies after row holeAt.
type fakeRecording struct {
	rows, wetFrom, holeAt, played int
}

func (f *fakeRecording) Next(_ context.Context, row *reading.Row) error {
	if f.played == f.rows {
		return io.EOF
	}
	pipe := 6.0
	if f.wetFrom > 0 && f.played >= f.wetFrom {
		pipe -= 14 * min(1, float64(f.played-f.wetFrom)/120) // as a pipe can
	}
	jitter := float64(f.played % 3)
	at := begin.Add(time.Duration(f.played) * time.Second)
	if f.holeAt > 0 && f.played > f.holeAt {
		at = at.Add(time.Hour)
	}
	row.Time, row.Readings = at, row.Readings[:0]
	for i, v := range []float64{2.2e5 + 100*jitter, pipe + 0.1*jitter, 1, 0} {
		row.Readings = append(row.Readings, reading.Reading{Point: i, Time: at, Value: v, Quality: reading.Good})
	}
	f.played++
	return nil
}

func (f *fakeRecording) Close() error { return nil }

// playing runs a player of a film in fake time and hands it to the test.
func playing(t *testing.T, f fakeRecording, speed float64, do func(t *testing.T, p *Player, now func() *snapshot.Replay)) {
	synctest.Test(t, func(t *testing.T) {
		cfg, err := config.Parse("site.toml", []byte(site))
		if err != nil {
			t.Fatal(err)
		}
		s, err := cfg.ForRecording([]string{"mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.running", "mt.case-1.defrost"})
		if err != nil {
			t.Fatal(err)
		}
		p := New(Setting{
			Site: s, Name: "film.csv", From: begin, To: begin.Add(time.Duration(f.rows-1) * time.Second), Speed: speed, Board: snapshot.NewBoard(time.Now),
			Open: func() (Recording, error) { again := f; return &again, nil },
		})
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- p.Run(ctx) }()
		synctest.Wait()
		do(t, p, func() *snapshot.Replay {
			synctest.Wait()
			shown, _ := p.Board.Current()
			return shown.Replay
		})
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}

// let passes fake time.
func let(d time.Duration) { <-time.After(d) }

func ask(t *testing.T, p *Player, do string, speed float64) {
	t.Helper()
	if err := p.Do(t.Context(), do, speed); err != nil {
		t.Fatal(err)
	}
}

func TestPace(t *testing.T) {
	playing(t, fakeRecording{rows: 1000}, 10, func(t *testing.T, p *Player, now func() *snapshot.Replay) {
		let(10 * time.Second)
		if r := now(); r.Rows < 99 || r.Rows > 102 || r.Paused || r.Ended {
			t.Errorf("after 10 s at ten times real speed: %+v", r)
		}
		ask(t, p, "pause", 0)
		at := now().Rows
		let(time.Minute)
		if r := now(); r.Rows != at || !r.Paused {
			t.Errorf("paused at row %d: %+v", at, r)
		}
		if _, age := p.Board.Current(); age > snapshot.MaxAge/2 {
			t.Errorf("a paused replay looks %s old", age)
		}
		ask(t, p, "step", 0)
		if r := now(); r.Rows != at+1 || !r.Paused {
			t.Errorf("a step from row %d: %+v", at, r)
		}
		ask(t, p, "speed", 100)
		ask(t, p, "play", 0)
		let(2 * time.Second)
		if r := now(); r.Rows < at+195 || r.Rows > at+205 {
			t.Errorf("two seconds at a hundred times real speed from row %d: %+v", at, r)
		}
		let(time.Minute)
		if r := now(); !r.Ended || r.Rows != 1000 {
			t.Errorf("at the end: %+v", r)
		}
		ask(t, p, "start_over", 0)
		if r := now(); r.Ended || r.Rows != 1 || r.Speed != 100 {
			t.Errorf("from the beginning: %+v", r)
		}
	})
}

func TestNextEvent(t *testing.T) {
	playing(t, fakeRecording{rows: 4000, wetFrom: 2000}, 1, func(t *testing.T, p *Player, now func() *snapshot.Replay) {
		ask(t, p, "next_event", 0)
		r := now()
		// Wetter from 2000 s on, below the floor within two minutes, and a hold
		// of 60 s.
		if !r.Paused || r.Rows < 2060 || r.Rows > 2240 || !strings.Contains(r.Last, "floodback of mt c1 opened at 03:3") {
			t.Errorf("%+v", r)
		}
		if open := p.Events(time.Time{}, true); len(open) != 1 || open[0].Kind != "floodback" {
			t.Errorf("open events %+v", open)
		}
		if trace := p.Board.Trace(0); len(trace.Superheat) < 200 {
			t.Errorf("what was passed over is missing from the plot: %d entries", len(trace.Superheat))
		}
		for range 10 {
			ask(t, p, "next_event", 0)
		}
		if r := now(); !r.Ended || r.Rows != 4000 || !strings.Contains(r.Last, "no further event") {
			t.Errorf("after the last event: %+v", r)
		}
		ask(t, p, "start_over", 0)
		if len(p.Events(time.Time{}, false)) != 0 {
			t.Error("events of the run before are left")
		}
	})
}

// An hour without rows is not waited for.
func TestHoleIsPassed(t *testing.T) {
	playing(t, fakeRecording{rows: 100, holeAt: 10}, 1, func(t *testing.T, _ *Player, now func() *snapshot.Replay) {
		let(30 * time.Second)
		if r := now(); r.Rows < 25 {
			t.Errorf("%+v", r)
		}
	})
}

func TestWrongAsks(t *testing.T) {
	playing(t, fakeRecording{rows: 10}, 1, func(t *testing.T, p *Player, _ func() *snapshot.Replay) {
		for _, c := range []struct {
			do    string
			speed float64
			want  string
		}{{"rewind", 0, "there are play, pause"}, {"speed", 0, "choose between"}, {"speed", 1e9, "choose between"}} {
			if err := p.Do(t.Context(), c.do, c.speed); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s %g: %v", c.do, c.speed, err)
			}
		}
	})
}
