// Command fit learns the weights of the hand: go run ./cmd/fit
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/learn"
)

func main() {
	o := learn.Usual()
	folds := flag.Int("folds", 0, "cross-validate")
	flag.IntVar(&o.Epochs, "epochs", o.Epochs, "")
	flag.Float64Var(&o.Rate, "rate", o.Rate, "")
	flag.Float64Var(&o.Margin, "margin", o.Margin, "")
	flag.Float64Var(&o.Pull, "pull", o.Pull, "")
	verbose := flag.Bool("v", false, "")
	drop := flag.String("drop", "", "")
	out := flag.String("o", "", "")
	flag.Parse()
	data := filepath.Join("..", "shared", "data")
	var works []*learn.Work
	for _, s := range []string{"ytvf", "tnua"} {
		w, err := learn.ReadSet(filepath.Join(data, "fingering", s))
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		works = append(works, w...)
	}
	keep := map[string]bool{}
	for _, d := range strings.Split(*drop, ",") {
		keep[d] = true
	}
	if *verbose {
		o.Log = func(e int, l float64) { fmt.Fprintln(os.Stderr, "epoch", e, l) }
	}
	exs := learn.Examples(works)
	labels, beyond := 0, 0
	for _, e := range exs {
		labels, beyond = labels+e.Labels, beyond+e.Beyond
	}
	fmt.Fprintln(os.Stderr, "labels", labels, "beyond", beyond)
	base := fingering.UnlearnedWeights()
	if *folds == 0 {
		w, _ := learn.Fit(exs, base, keep, o)
		if *out != "" {
			os.WriteFile(*out, []byte(w.String()), 0o644)
		}
		var a map[string]*learn.Agreement = map[string]*learn.Agreement{}
		for _, k := range works {
			if a[k.Set] == nil {
				a[k.Set] = &learn.Agreement{}
			}
			a[k.Set].Add(learn.Measure(k, w))
		}
		for s, x := range a {
			fmt.Println("TRAIN", s, *x, float64(x.All)/float64(x.N))
		}
		return
	}
	var groups []string
	for _, w := range works {
		if !slices.Contains(groups, w.Group) {
			groups = append(groups, w.Group)
		}
	}
	fold := map[string]int{}
	for i, g := range groups {
		fold[g] = i % *folds
	}
	sum, ref := map[string]*learn.Agreement{}, map[string]*learn.Agreement{}
	for _, s := range []string{"ytvf", "tnua"} {
		sum[s], ref[s] = &learn.Agreement{}, &learn.Agreement{}
	}
	for f := range *folds {
		var train []*learn.Example
		for _, e := range exs {
			if fold[e.Group] != f {
				train = append(train, e)
			}
		}
		w, _ := learn.Fit(train, base, keep, o)
		for _, k := range works {
			if fold[k.Group] == f {
				a, b := learn.Measure(k, w), learn.Measure(k, base)
				sum[k.Set].Add(a)
				ref[k.Set].Add(b)
				if *verbose {
					fmt.Printf("%-36s %6d  %s   was %s\n", k.Name, a.N, pc(a), pc(b))
				}
			}
		}
	}
	for _, s := range []string{"ytvf", "tnua"} {
		fmt.Printf("CV %-33s %6d  %s   was %s\n", s, sum[s].N, pc(*sum[s]), pc(*ref[s]))
	}
}

func pc(a learn.Agreement) string {
	n := float64(a.N) / 100
	return fmt.Sprintf("%5.1f %5.1f %5.1f %5.1f", float64(a.String)/n, float64(a.Position)/n, float64(a.Finger)/n, float64(a.All)/n)
}
