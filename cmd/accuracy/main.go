// Command accuracy measures the studies against the shared data and prints
// Markdown: go run ./cmd/accuracy NAME... (no name: all measurements).
package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
)

var commands = map[string]func(w io.Writer, data string) error{}

func register(name string, f func(w io.Writer, data string) error) { commands[name] = f }

// aside are the commands that print what is no measurement: they run when named.
var aside = map[string]bool{}

func registerAside(name string, f func(w io.Writer, data string) error) {
	register(name, f)
	aside[name] = true
}

func main() {
	names := os.Args[1:]
	if len(names) == 0 {
		for n := range commands {
			if !aside[n] {
				names = append(names, n)
			}
		}
		slices.Sort(names)
	}
	data := os.Getenv("POCHETTE_DATA")
	if data == "" {
		data = filepath.Join("..", "shared", "data")
	}
	for _, n := range names {
		f, ok := commands[n]
		if !ok {
			fmt.Fprintf(os.Stderr, "accuracy: no measurement is named %q\n", n)
			os.Exit(2)
		}
		if err := f(os.Stdout, data); err != nil {
			fmt.Fprintf(os.Stderr, "accuracy %s: %v\n", n, err)
			os.Exit(1)
		}
	}
}
