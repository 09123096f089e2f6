package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets scripts call dewgap as people do.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"dewgap": func() {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		code := run(ctx, os.Args[1:], console{Out: os.Stdout, Err: os.Stderr})
		stop()
		os.Exit(code)
	}})
}

// TestScripts runs the command lines of testdata/script.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", RequireExplicitExec: true})
}
