// Command fit learns the violin's weights of the hand from the fingered pieces of
// the shared data and writes internal/fingering/weights_learned.txt, and beside it
// weights.txt, the default: a mixture of the learned and the hand-set weights (package
// learn, Settle):
//
//	go run ./cmd/fit             fit on all local works and write both files
//	go run ./cmd/fit -settle     mix weights.txt anew from the committed weights_learned.txt
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
	settle := flag.Bool("settle", false, "only mix the default anew from the committed learned weights")
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
	err := error(nil)
	if *settle {
		err = writeSettled(*out)
	} else {
		err = run(os.Stdout, data, *out, *validate, o)
	}
	if err != nil {
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
	bare := learn.Bare(base)
	fit, err := learn.Fit(exs, bare, learn.Kept(), o)
	if err != nil {
		return err
	}
	fit = learn.Rescale(exs, fit, bare, learn.Kept())
	labels, beyond := learn.Sum(exs)
	text := head(works, labels, beyond) + fit.String()
	learned, err := fingering.ParseWeights(text)
	if err != nil {
		return fmt.Errorf("the fitted table does not read back: %w", err)
	}
	if err := os.WriteFile(filepath.Join(filepath.Dir(out), "weights_learned.txt"), []byte(text), 0o644); err != nil {
		return err
	}
	return writeMixed(out, learned, learnedLines(text))
}

// writeSettled mixes the default anew from the learned weights beside it.
func writeSettled(out string) error {
	b, err := os.ReadFile(filepath.Join(filepath.Dir(out), "weights_learned.txt"))
	if err != nil {
		return err
	}
	learned, err := fingering.ParseWeights(string(b))
	if err != nil {
		return err
	}
	return writeMixed(out, learned, learnedLines(string(b)))
}

// writeMixed writes the default. The learned weights are those of their file, to its
// digits, so that mixing anew gives the same file.
func writeMixed(out string, learned *fingering.Weights, from string) error {
	text := fmt.Sprintf("# Cost of one unit of each term of a fingering; terms.go and tables.go have unit and\n# source. Written by go run ./cmd/fit: do not edit. The violin's column and tables are\n# %.2g parts of weights_learned.txt and %.2g of weights_unlearned.txt; all else stands as in\n# weights_unlearned.txt, and so does %s\n# for the violin; %s is no less than there.\n", learn.Share, 1-learn.Share, strings.Join(learn.Floors(), ", "), strings.Join(learn.Least(), " and ")) + from + learn.Settle(learned, fingering.UnlearnedWeights()).String()
	if _, err := fingering.ParseWeights(text); err != nil {
		return fmt.Errorf("the mixed table does not read back: %w", err)
	}
	return os.WriteFile(out, []byte(text), 0o644)
}

// learnedLines are the lines that name the works learned from.
func learnedLines(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "# learned from ") && !strings.Contains(line, " works ") {
			b.WriteString(line)
		}
	}
	return b.String()
}

func crossValidate(out io.Writer, works []*learn.Work, base *fingering.Weights, o learn.Settings) error {
	folds, err := learn.CrossValidate(works, base, o, learn.Folds)
	if err != nil {
		return err
	}
	fold := learn.FoldOf(works, learn.Folds)
	for _, which := range []struct {
		name string
		of   func(learn.Fitted) *fingering.Weights
	}{
		{"the default, mixed", func(f learn.Fitted) *fingering.Weights { return f.Default }},
		{"learned alone", func(f learn.Fitted) *fingering.Weights { return f.Learned }},
	} {
		fmt.Fprintln(out, which.name)
		agreement(out, works, func(k *learn.Work) *fingering.Weights { return which.of(folds[fold[k.Group]]) })
	}
	return nil
}

// agreement prints how works agree with plans, each by its weights.
func agreement(out io.Writer, works []*learn.Work, of func(*learn.Work) *fingering.Weights) {
	sum := map[string]*learn.Agreement{}
	printed, found := 0, 0
	for _, k := range works {
		w := of(k)
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
}

func line(w io.Writer, name string, a learn.Agreement) {
	n := float64(max(1, a.N)) / 100
	fmt.Fprintf(w, "%-36s %6d notes, string %5.1f, position %5.1f, finger %5.1f, all %5.1f %%\n",
		name, a.N, float64(a.String)/n, float64(a.Position)/n, float64(a.Finger)/n, float64(a.All)/n)
}

// handSet are the terms that the fit keeps as set by hand.
func handSet() []string {
	kept := learn.Kept()
	for _, n := range learn.Floors() {
		delete(kept, n)
	}
	return slices.Sorted(maps.Keys(kept))
}

// head is the comment above the table.
func head(works []*learn.Work, labels, beyond int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Cost of one unit of each term of a fingering; terms.go and tables.go have unit and\n# source. Written by go run ./cmd/fit: do not edit. The violin's column and tables are\n# learned from %d works (%d known fingerings, %d of them beyond the\n# search's grips) and the judgements of a printed treatise; viola, cello and what\n# the profiles add are set by hand after the violin, as in weights_unlearned.txt.\n# Kept as set by hand for the violin too: %s.\n# There 0 where learning begins: %s.\n", len(works), labels, beyond, strings.Join(handSet(), ", "), strings.Join(learn.Floors(), ", ")+" (for good); "+strings.Join(learn.Least(), ", "))
	for i := 0; i < len(works); i += 8 {
		b.WriteString("# learned from")
		for _, k := range works[i:min(len(works), i+8)] {
			b.WriteString(" " + k.ID())
		}
		b.WriteString("\n")
	}
	return b.String()
}
