package main

import (
	"fmt"
	"io"
	"maps"
	"runtime"
	"slices"
	"sync"

	"pochette/internal/harmony"
)

// harmonySet is the movements dealt into folds.
type harmonySet struct {
	all  []harmony.Labelled
	fold []string // by movement; "" for those that the committed weights have not learned from
}

// folds are the names of the folds, in order.
func (h *harmonySet) folds() []string {
	m := map[string]bool{}
	for _, f := range h.fold {
		if f != "" {
			m[f] = true
		}
	}
	return slices.Sorted(maps.Keys(m))
}

// without are the movements of all folds but some.
func (h *harmonySet) without(out ...string) []harmony.Labelled {
	var train []harmony.Labelled
	for i := range h.all {
		if h.fold[i] != "" && !slices.Contains(out, h.fold[i]) {
			train = append(train, h.all[i])
		}
	}
	return train
}

// chooseInside picks, for each fold, the share of key evidence that reads best
// inside the other folds: each of them is read with weights learned without it and
// without the fold itself, so that nothing of a fold bears on its own settings. Best
// is the largest sum of key, root and numeral. A pair of folds left out serves both.
func (h *harmonySet) chooseInside() (map[string]float64, error) {
	folds, shares := h.folds(), harmony.KeyShares()
	sums := map[string][]agreed{}
	for _, f := range folds {
		sums[f] = make([]agreed, len(shares))
	}
	var lock sync.Mutex
	var jobs []func() error
	for i, f := range folds {
		for _, g := range folds[:i] {
			jobs = append(jobs, func() error {
				w, err := harmony.LearnReading(h.without(f, g), harmony.UsualSettings())
				if err != nil {
					return err
				}
				for n, share := range shares {
					ofF, ofG := h.readFold(f, w.WithKeyShare(share)), h.readFold(g, w.WithKeyShare(share))
					lock.Lock()
					sums[f][n].add(ofG)
					sums[g][n].add(ofF)
					lock.Unlock()
				}
				return nil
			})
		}
	}
	if err := together(jobs); err != nil {
		return nil, err
	}
	best := map[string]float64{}
	for f, row := range sums {
		top := -1.0
		for n := range row {
			if v := row[n].share(row[n].key) + row[n].share(row[n].root) + row[n].share(row[n].numeral); v > top {
				best[f], top = shares[n], v
			}
		}
	}
	return best, nil
}

func (h *harmonySet) readFold(f string, w *harmony.Weights) (sum agreed) {
	for i := range h.all {
		if h.fold[i] == f {
			l := &h.all[i]
			sum.add(compareLabels(l, labelsOf(harmony.AnalyzeWith(l.Part, l.Quarter, w))))
		}
	}
	return sum
}

// together runs jobs on all processors and tells the first error.
func together(jobs []func() error) error {
	errs := make([]error, len(jobs))
	turn := make(chan bool, runtime.GOMAXPROCS(0))
	var wait sync.WaitGroup
	for i, job := range jobs {
		wait.Go(func() {
			turn <- true
			errs[i] = job()
			<-turn
		})
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// fitInside learns the weights of all folds with what is chosen inside each.
func (h *harmonySet) fitInside() (*harmonyWeights, error) {
	shares, err := h.chooseInside()
	if err != nil {
		return nil, err
	}
	return h.fit(shares)
}

// printShares tells what was chosen.
func (h *harmonyWeights) printShares(w io.Writer, what string) {
	fmt.Fprintf(w, "Share at which the evidence of keys counts, as chosen inside each %s:", what)
	for _, f := range slices.Sorted(maps.Keys(h.shares)) {
		fmt.Fprintf(w, " %s %.2f;", f, h.shares[f])
	}
	fmt.Fprintf(w, " the committed weights have %.2f.\n\n", harmony.UsualSettings().KeyShare)
}

// harmonySeconds prints how often the second-best reading is the label.
func harmonySeconds(w io.Writer, all []harmony.Labelled, of map[string]*harmony.Weights) {
	var sum seconds
	for i := range all {
		l := &all[i]
		sum.count(l, harmony.AnalyzeWith(l.Part, l.Quarter, of[l.Name]))
	}
	pc := func(v, n float64) float64 { return 100 * v / max(n, 1e-9) }
	fmt.Fprintf(w, "Key, root and quality are as labelled in %.1f %% of quarters; where they are not, the second-best reading has them in %.1f %%. Told as ambiguous are %.1f %% of quarters: there the first reading is right in %.1f %% and the second in %.1f %%; in the others the first in %.1f %%.\n\n",
		pc(sum.first[0]+sum.first[1], sum.n[0]+sum.n[1]), pc(sum.second[0]+sum.second[1], sum.n[0]+sum.n[1]-sum.first[0]-sum.first[1]),
		pc(sum.n[1], sum.n[0]+sum.n[1]), pc(sum.first[1], sum.n[1]), pc(sum.second[1], sum.n[1]), pc(sum.first[0], sum.n[0]))
}

// seconds counts quarters, those told as ambiguous under 1.
type seconds struct{ n, first, second [2]float64 }

func (s *seconds) count(l *harmony.Labelled, st *harmony.Study) {
	j := 0
	for i := range st.Chords {
		c := &st.Chords[i]
		for j > 0 && (j == len(l.Labels) || l.Labels[j].From > c.From) {
			j--
		}
		for ; j < len(l.Labels) && l.Labels[j].From < c.To; j++ {
			want := l.Labels[j]
			q := float64(min(c.To, want.To)-max(c.From, want.From)) / float64(l.Quarter)
			if q <= 0 {
				continue
			}
			at := 0
			if c.Ambiguous {
				at = 1
			}
			is := func(k harmony.Key, ch harmony.Chord) bool {
				return k == want.Key && ch.Root == want.Chord.Root && ch.Quality.Plain() == want.Chord.Quality.Plain()
			}
			s.n[at] += q
			switch {
			case is(c.Key, c.Chord):
				s.first[at] += q
			case is(c.Second.Key, c.Second.Chord):
				s.second[at] += q
			}
		}
	}
}
