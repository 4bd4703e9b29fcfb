package main

import (
	"context"
	"os"
	"os/signal"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"pochette/internal/engrave"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"pochette": func() {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
		defer stop()
		os.Exit(run(ctx, os.Args[1:]))
	}})
}

// The scripts of testdata/script run the program as a newcomer would.
func TestScripts(t *testing.T) {
	cache := engrave.DefaultCacheDir()
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			// the scripts share the user's cache of the compiled engraver
			e.Setenv("XDG_CACHE_HOME", filepath.Dir(filepath.Dir(cache)))
			return nil
		},
	})
}
