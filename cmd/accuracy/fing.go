package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"

	"pochette/internal/fingering"
	"pochette/internal/learn"
)

func init() { register("fingers", measureFingers) }

// fingersOf is what is measured of the fingered pieces: works, and the weights
// that each is measured with: those of its fold for a work that the committed
// weights have learned from, the committed ones for any other.
type fingersOf struct {
	works   []*learn.Work
	weights map[string]*fingering.Weights // by ID
	unseen  int
	labels  int
	beyond  int
}

// measureFingers prints the agreement with the two sets of fingered violin pieces,
// and what stands around it.
func measureFingers(w io.Writer, data string) error {
	m, err := fitFingers(data)
	if err != nil {
		return err
	}
	m.intro(w)
	for _, set := range []struct{ dir, title string }{
		{"ytvf", "20 fingered pieces (YTVF)"},
		{"tnua", "8 excerpts by 10 professionals (TNUA), all players"},
	} {
		m.agreement(w, set.dir, set.title)
	}
	m.nearest(w)
	if err := m.playable(w); err != nil {
		return err
	}
	m.misses(w)
	return nil
}

// fitFingers reads the works and cross-validates.
func fitFingers(data string) (*fingersOf, error) {
	m := &fingersOf{weights: map[string]*fingering.Weights{}}
	for _, set := range []string{"ytvf", "tnua"} {
		works, err := learn.ReadSet(filepath.Join(data, "fingering", set))
		if err != nil {
			return nil, err
		}
		m.works = append(m.works, works...)
	}
	m.labels, m.beyond = learn.Sum(learn.Examples(m.works))
	from := fingering.LearnedFrom()
	var seen []*learn.Work
	for _, k := range m.works {
		if slices.Contains(from, k.ID()) {
			seen = append(seen, k)
		} else {
			m.unseen++
			m.weights[k.ID()] = fingering.DefaultWeights()
		}
	}
	if len(seen) == 0 {
		return m, nil
	}
	folds, err := learn.CrossValidate(seen, fingering.UnlearnedWeights(), learn.Usual(), learn.Folds)
	if err != nil {
		return nil, err
	}
	fold := learn.FoldOf(seen, learn.Folds)
	for _, k := range seen {
		m.weights[k.ID()] = folds[fold[k.Group]]
	}
	return m, nil
}

func (m *fingersOf) intro(w io.Writer) {
	fmt.Fprintf(w, "### Fingering: agreement with players\n\n"+
		"Agreement in %% of notes on string, position, finger and all three: (a) lowest position first: every note on the highest string that has it, in first position, beyond it with the fourth finger; "+
		"(b) the costs as set by hand (`weights_unlearned.txt`); (c) the learned costs, each work measured with weights that were fitted **without it and without every work of the same composition** "+
		"(%d folds by piece; the committed `weights.txt` is fitted on all local works, so its own figure on them would be no test). %d works are not among those that the committed weights have learned from and are measured with these. "+
		"The sets number half position as first, and so does this comparison; the position of an open string is not compared (no finger is down). The sets give no spelling, slurs (TNUA), tempo or rests of whole bars (TNUA): spelling is guessed from the scale around, the tempo is 96. "+
		"*Stop*: string and finger agree, whatever the position is called. Of %d notes with a known fingering, %d (%.1f %%) are taken in a way that the search does not have at all (a position numbered by another spelling, chords spread over the bar's time, slips of the files).\n\n",
		learn.Folds, m.unseen, m.labels, m.beyond, 100*float64(m.beyond)/float64(m.labels))
}

func row(a learn.Agreement) string {
	return fmt.Sprintf("%.1f | %.1f | %.1f | %.1f", percent(a.String, a.N), percent(a.Position, a.N), percent(a.Finger, a.N), percent(a.All, a.N))
}

func (m *fingersOf) agreement(w io.Writer, set, title string) {
	fmt.Fprintf(w, "#### %s\n\n| work | notes | (a) string | position | finger | all | (b) string | position | finger | all | (c) string | position | finger | **all** | stop | two players alike |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|\n", title)
	var low, hand, fit learn.Agreement
	pairs, alike, again, againAlike := 0, 0, 0, 0
	for _, k := range m.works {
		if k.Set != set {
			continue
		}
		a, b, c := learn.Lowest(k), learn.Measure(k, fingering.UnlearnedWeights()), learn.Measure(k, m.weights[k.ID()])
		p, s := learn.Players(k)
		low.Add(a)
		hand.Add(b)
		fit.Add(c)
		pairs, alike = pairs+p, alike+s
		fmt.Fprintf(w, "| %s | %d | %s | %s | %s | %.1f | %s |\n", k.Name, c.N, row(a), row(b), row(c), percent(c.Stop, c.N), ofPairs(p, s))
		for _, piece := range k.Pieces {
			x, y := piece.Again(4)
			again, againAlike = again+x, againAlike+y
		}
	}
	fmt.Fprintf(w, "| **all** | %d | %s | %s | %s | %.1f | %s |\n\n", fit.N, row(low), row(hand), row(fit), percent(fit.Stop, fit.N), ofPairs(pairs, alike))
	fmt.Fprintf(w, "Where the same player comes to the same nine notes (pitches and lengths) a second time, he takes the middle one as before in %.1f %% of %d pairs of places: what differs there, nothing in those notes can tell.\n\n", percent(againAlike, again), again)
}

func ofPairs(pairs, alike int) string {
	if pairs == 0 {
		return "one player"
	}
	return fmt.Sprintf("%.1f", percent(alike, pairs))
}

const nearestOf = 5

func (m *fingersOf) nearest(w io.Writer) {
	fmt.Fprintf(w, "#### The nearest of the %d cheapest\n\nAll three in %% of notes, repeats not joined: of the cheapest plan; of that among the %d cheapest of the whole part which agrees best (they differ in a note or two); and of the best among the %d cheapest of each phrase (to a rest, at most 24 events), chosen phrase by phrase.\n\n| set | cheapest | nearest, whole part | nearest, by phrase |\n|---|---:|---:|---:|\n", nearestOf, nearestOf, nearestOf)
	for _, set := range []string{"ytvf", "tnua"} {
		var r learn.Nearest
		for _, k := range m.works {
			if k.Set == set {
				r.Add(learn.NearestOf(k, m.weights[k.ID()], nearestOf))
			}
		}
		fmt.Fprintf(w, "| %s | %.1f | %.1f | %.1f |\n", set, percent(r.Best, r.N), percent(r.Whole, r.N), percent(r.Phrases, r.N))
	}
	fmt.Fprintln(w)
}

func (m *fingersOf) playable(w io.Writer) error {
	fmt.Fprint(w, "#### Playability\n\nStretches: pairs of fingers set at once further apart than the hand reaches (`instrument.MaxStretch`). Quick shifts: more than 40 mm with less than 0.1 s, with no rest (at tempo 96, which is a guess: the files have none). "+
		"The players' own: their strings and fingers given, the hand places chosen by the search.\n\n| set | notes | shifts | stretches | quick shifts | players: shifts | quick shifts |\n|---|---:|---:|---:|---:|---:|---:|\n")
	for _, set := range []string{"ytvf", "tnua"} {
		var ours, theirs learn.Hand
		for _, k := range m.works {
			if k.Set == set {
				ours.Add(learn.HandOf(k, m.weights[k.ID()], false))
				theirs.Add(learn.HandOf(k, m.weights[k.ID()], true))
			}
		}
		fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d | %d |\n", set, ours.Notes, ours.Shifts, ours.Stretches, ours.Quick, theirs.Shifts, theirs.Quick)
	}
	fmt.Fprintln(w)
	return nil
}

// misses prints where and how plans and players differ.
func (m *fingersOf) misses(w io.Writer) {
	for _, set := range []string{"ytvf", "tnua"} {
		var s learn.Misses
		for _, k := range m.works {
			if k.Set == set {
				s.Add(learn.MissesOf(k, m.weights[k.ID()]))
			}
		}
		all := 0
		for _, v := range s.Kinds {
			all += v
		}
		fmt.Fprintf(w, "#### Where it differs: %s\n\n%d of %d notes (%.1f %%) differ. ", set, all, s.N, percent(all, s.N))
		fmt.Fprintf(w, "%.0f %% of these stand right after another one that differs: one choice of the hand decides a whole group, %.0f %% of the misses stand in runs of four notes or more, %.0f %% in runs of sixteen or more. ",
			percent(s.JoinedIn, all), percent(s.Runs[1]+s.Runs[2], all), percent(s.Runs[2], all))
		fmt.Fprintf(w, "By length of the note, all three agree on %.1f %% of the short ones (to 0.2 s), %.1f %% of the middle ones (to 0.7 s), %.1f %% of the long ones.\n\n",
			percent(s.PaceRight[0], s.PaceNotes[0]), percent(s.PaceRight[1], s.PaceNotes[1]), percent(s.PaceRight[2], s.PaceNotes[2]))
		fmt.Fprintln(w, "| what differs | % of the misses |\n|---|---:|")
		for _, k := range byCount(s.Kinds) {
			fmt.Fprintf(w, "| %s | %.1f |\n", k, percent(s.Kinds[k], all))
		}
		fmt.Fprintln(w, "\n| ours | theirs | % of the misses |\n|---|---|---:|")
		for i, k := range byCount(s.Places) {
			if i == 15 {
				break
			}
			fmt.Fprintf(w, "| %s | %.1f |\n", k, percent(s.Places[k], all))
		}
		fmt.Fprintln(w)
	}
}

// byCount lists keys, the most frequent first.
func byCount(m map[string]int) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		if m[a] != m[b] {
			return m[b] - m[a]
		}
		if a < b {
			return -1
		}
		return 1
	})
	return keys
}
