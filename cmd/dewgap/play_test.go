package main

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
)

// The command plays on a page that can be driven, and ends with its context.
func TestPlay(t *testing.T) {
	dir := t.TempDir()
	site, day := filepath.Join(dir, "site.toml"), filepath.Join(dir, "day.csv")
	if code, _, errs := called(t, "simulate", "--scenario", "flooded-start", "--for", "90m", "--out", day, "--config", site); code != 0 {
		t.Fatal(errs)
	}
	ctx, cancel := context.WithCancel(t.Context())
	in, out := io.Pipe()
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"replay", "--config", site, "--speed", "1", day}, console{Out: out, Err: io.Discard})
	}()
	line, err := bufio.NewReader(in).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	page := strings.TrimSpace(line)
	answer, err := http.Post(page+"api/v1/replay", "application/json", strings.NewReader(`{"do":"next_event"}`))
	if err != nil {
		t.Fatal(err)
	}
	text, _ := io.ReadAll(answer.Body) // a short answer lacks what is looked for
	answer.Body.Close()
	for _, want := range []string{`"mode":"replay"`, `"recording":"day.csv"`, `"paused":true`, "flooded_start of mt c1 opened at"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("no %s in %s", want, text)
		}
	}
	http.DefaultClient.CloseIdleConnections()
	cancel()
	if c := <-code; c != 0 {
		t.Errorf("exit status %d", c)
	}
}
