package main

import (
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress shows a bar on a terminal and nothing in a pipe. finish clears it.
func progress() (step func(what string, done, total int), finish func()) {
	if !term.IsTerminal(int(os.Stderr.Fd())) {
		return nil, func() {}
	}
	bar := progressbar.NewOptions(1,
		progressbar.OptionSetWriter(os.Stderr), progressbar.OptionSetWidth(24), progressbar.OptionClearOnFinish(),
		progressbar.OptionSetPredictTime(false), progressbar.OptionSetElapsedTime(false))
	step = func(what string, done, total int) {
		bar.ChangeMax(total)
		bar.Describe(what)
		_ = bar.Set(done) // a bar that cannot be drawn is no reason to stop
	}
	return step, func() { _ = bar.Clear() }
}
