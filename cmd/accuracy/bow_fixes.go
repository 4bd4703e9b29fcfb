package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/score"
)

// fixesTried is how many of the cheapest plans are looked through.
const fixesTried = 500

// measureFixes asks at which place among all plans for an unmarked passage of
// the treatise its own printed alternative stands.
func measureFixes(w io.Writer, pieces []bowPiece) error {
	fmt.Fprintf(w, "### The printed fix of p. 73 no. 5\n\nThe notes of p073_5 without marks, slurs allowed to change; all plans in order of cost. The treatise prints the same notes with slurs in place of the lifts as p074_1.\n\n| profile | p074_1 is no. | costs | cheapest | the print's own lifts (p073_5), slurs left alone, are no. |\n|---|---:|---:|---:|---:|\n")
	var met, missed []string
	for _, profile := range []string{"", "early", "classical", "romantic"} {
		slurred, err := rankOfFix(pieces, profile, "p074_1")
		if err != nil {
			return err
		}
		lifted, err := rankOfFix(pieces, profile, "p073_5")
		if err != nil {
			return err
		}
		name := profile
		if name == "" {
			name = "common practice"
		}
		fmt.Fprintf(w, "| %s | %s | %.1f | %.1f | %s |\n", name, rankText(slurred.rank), slurred.cost, slurred.best, rankText(lifted.rank))
		if slurred.rank > 0 && slurred.rank <= amongCheapest {
			met = append(met, name)
		} else {
			missed = append(missed, name)
		}
	}
	fmt.Fprintf(w, "\nThe aim is that p074_1 comes out among the cheapest, here read as the first %d. Met by: %s. Not met by: %s.\n\n", amongCheapest, orNone(met), orNone(missed))
	return nil
}

// amongCheapest is how we read "among the cheapest fixes".
const amongCheapest = 5

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

func rankText(r int) string {
	if r == 0 {
		return fmt.Sprintf("beyond %d", fixesTried)
	}
	return fmt.Sprint(r)
}

// fixRank is where a printed solution stands; rank 0: not among those tried.
type fixRank struct {
	rank       int
	cost, best float64
}

// rankOfFix looks for the strokes of a printed example among the plans for
// p073_5: the same notes begin strokes, in the same directions where it is marked. Its own
// lifts are looked for with the slurs left alone.
func rankOfFix(pieces []bowPiece, profile, id string) (fixRank, error) {
	at := func(name string) int {
		return slices.IndexFunc(pieces, func(b bowPiece) bool { return b.name == name })
	}
	from, to := at("p073_5"), at(id)
	if from < 0 || to < 0 {
		return fixRank{}, fmt.Errorf("the treatise's examples p073_5 and %s are not in the data", id)
	}
	st := bowing.Analyze(pieces[from].sc, pieces[from].p, bowing.Options{MayChangeSlurs: id != "p073_5", Profile: profile, Alternatives: fixesTried})
	want := bowing.Analyze(pieces[to].sc, pieces[to].p, bowing.Options{Decided: decidedBy(pieces[to].marks)})
	r := fixRank{best: st.Alternatives[0].Cost}
	for i, a := range st.Alternatives {
		if slices.Equal(turns(a.Strokes), turns(want.Proposed)) {
			r.rank, r.cost = i+1, a.Cost
			break
		}
	}
	return r, nil
}

func decidedBy(marks []bowMark) map[score.NoteID]bowing.Direction {
	out := map[score.NoteID]bowing.Direction{}
	for _, m := range marks {
		out[m.note] = m.dir
	}
	return out
}

// turns lists for each note its direction, below 0 where it goes on in the bow
// of the note before.
func turns(strokes []bowing.Stroke) []int {
	var out []int
	for _, s := range strokes {
		for k := range s.Notes {
			d := int(s.Direction)
			if k > 0 || s.Change == bowing.Join || s.Change == bowing.Link {
				d = -d
			}
			out = append(out, d)
		}
	}
	return out
}
