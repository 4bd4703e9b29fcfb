// Command fit learns the violin's weights of the hand from the fingered pieces of
// the shared data and writes internal/fingering/weights.txt:
//
//	go run ./cmd/fit             fit on all local works and write
//	go run ./cmd/fit -validate   cross-validate by piece and print the agreement
//	go run ./cmd/fit harmony     the weights of the harmony reading instead (harmony.go)
//
// The method is a conditional random field over the search's own lattice (package
// learn). Nothing is drawn by chance but the order of the chunks, whose seed is
// fixed: the same data gives the same file. Viola and cello keep the weights set by
// hand, since there is no data for them.
package main

import (
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/learn"
)

func main() {
	validate := flag.Bool("validate", false, "cross-validate instead of writing")
	out := flag.String("o", filepath.Join("internal", "fingering", "weights.txt"), "file to write")
	epochs := flag.Int("epochs", learn.Usual().Epochs, "passes over the data")
	margin := flag.Float64("margin", learn.Usual().Margin, "how much cheaper a wrong note is made while learning")
	flag.Parse()
	data := os.Getenv("POCHETTE_DATA")
	if data == "" {
		data = filepath.Join("..", "shared", "data")
	}
	if flag.Arg(0) == "harmony" {
		if err := fitHarmony(data, filepath.Join("internal", "harmony", "weights.txt")); err != nil {
			fmt.Fprintln(os.Stderr, "fit harmony:", err)
			os.Exit(1)
		}
		return
	}
	o := learn.Usual()
	o.Epochs, o.Margin = *epochs, *margin
	o.Log = func(epoch int, loss float64) { fmt.Fprintf(os.Stderr, "pass %d: loss %.1f\n", epoch+1, loss) }
	if err := run(os.Stdout, data, *out, *validate, o); err != nil {
		fmt.Fprintln(os.Stderr, "fit:", err)
		os.Exit(1)
	}
}

func run(w io.Writer, data, out string, validate bool, o learn.Settings) error {
	works, err := learn.ReadAll(data)
	if err != nil {
		return err
	}
	base := fingering.UnlearnedWeights()
	if validate {
		return crossValidate(w, works, base, o)
	}
	exs := learn.Examples(works)
	fit, err := learn.Fit(exs, base, learn.Kept(), o)
	if err != nil {
		return err
	}
	fit = learn.Rescale(exs, fit, base, learn.Kept())
	labels, beyond := learn.Sum(exs)
	text := head(works, labels, beyond) + fit.String()
	if _, err := fingering.ParseWeights(text); err != nil {
		return fmt.Errorf("the fitted table does not read back: %w", err)
	}
	return os.WriteFile(out, []byte(text), 0o644)
}

func crossValidate(out io.Writer, works []*learn.Work, base *fingering.Weights, o learn.Settings) error {
	folds, err := learn.CrossValidate(works, base, o, learn.Folds)
	if err != nil {
		return err
	}
	fold := learn.FoldOf(works, learn.Folds)
	sum := map[string]*learn.Agreement{}
	printed, found := 0, 0
	for _, k := range works {
		w := folds[fold[k.Group]]
		if k.Set == "etudes" {
			n, f := learn.Printed(k, w)
			printed, found = printed+n, found+f
			continue
		}
		a := learn.Measure(k, w)
		if sum[k.Set] == nil {
			sum[k.Set] = &learn.Agreement{}
		}
		sum[k.Set].Add(a)
		line(out, k.Name, a)
	}
	for _, set := range learn.Sets {
		if sum[set] != nil {
			line(out, "all of "+set, *sum[set])
		}
	}
	fmt.Fprintf(out, "études: %d of %d printed fingers found, all hidden\n", found, printed)
	return nil
}

func line(w io.Writer, name string, a learn.Agreement) {
	n := float64(max(1, a.N)) / 100
	fmt.Fprintf(w, "%-36s %6d notes, string %5.1f, position %5.1f, finger %5.1f, all %5.1f %%\n",
		name, a.N, float64(a.String)/n, float64(a.Position)/n, float64(a.Finger)/n, float64(a.All)/n)
}

// head is the comment above the table.
func head(works []*learn.Work, labels, beyond int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Cost of one unit of each term of a fingering; terms.go and tables.go have unit and\n# source. Written by go run ./cmd/fit: do not edit. The violin's column and tables are\n# learned from %d works (%d known fingerings, %d of them beyond the\n# search's grips) and the judgements of a printed treatise; viola, cello and what\n# the profiles add are set by hand after the violin, as in weights_unlearned.txt.\n# Kept as set by hand for the violin too: %s.\n", len(works), labels, beyond, strings.Join(slices.Sorted(maps.Keys(learn.Kept())), ", "))
	for i := 0; i < len(works); i += 8 {
		b.WriteString("# learned from")
		for _, k := range works[i:min(len(works), i+8)] {
			b.WriteString(" " + k.ID())
		}
		b.WriteString("\n")
	}
	return b.String()
}
