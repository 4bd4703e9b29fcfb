package technique

import (
	"cmp"
	"slices"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Spot is a run of crossings close together, worth practising by itself.
type Spot struct {
	First, Last int        // events
	Crossings   []Crossing // in order
	Hardest     int        // index into Crossings
	Skeleton    [][]int    // the strings of every event, left hand taken away; repeats of the same strings in a row once
	Load        float64    // mean load over the spot's time, weighted by crossing: see rank
}

// spotCrossings is how many crossings in close order make a spot; a slurred or
// skipping one makes a spot by itself when it is among the hardest.
const spotCrossings = 4

// Spots groups crossings that follow each other at every event or every second
// one. A run of at least spotCrossings is a spot, and so is a shorter run that
// has a crossing over a skipped string. A long run is cut at bar lines, since
// what one isolates has to be short. They come hardest first; equal ones in
// order of time.
func Spots(in Input, all []Crossing) []Spot {
	var out []Spot
	for i := 0; i < len(all); {
		j := i + 1
		for j < len(all) && all[j].From <= all[j-1].To+1 && !all[j].Rest {
			newBar := in.Events[all[j].To].Measure != in.Events[all[j-1].To].Measure
			if newBar && j-i >= spotCrossings {
				break
			}
			j++
		}
		run := all[i:j]
		if len(run) >= spotCrossings || slices.ContainsFunc(run, func(c Crossing) bool { return len(c.Skipped) > 0 && !c.Rest }) {
			out = append(out, spot(in, run))
		}
		i = j
	}
	slices.SortStableFunc(out, func(a, b Spot) int {
		return cmp.Or(cmp.Compare(b.Load, a.Load), a.First-b.First)
	})
	return out
}

func spot(in Input, run []Crossing) Spot {
	s := Spot{First: run[0].From, Last: run[len(run)-1].To, Crossings: slices.Clone(run)}
	sum := 0.0
	for i, c := range run {
		sum += c.Load
		if c.Load > run[s.Hardest].Load {
			s.Hardest = i
		}
	}
	// half the hardest, half the mean: one wild leap and a long rustle both count
	s.Load = (run[s.Hardest].Load + sum/float64(len(run))) / 2
	for e := s.First; e <= s.Last; e++ {
		strs := in.Strings[e]
		if len(strs) > 0 && (len(s.Skeleton) == 0 || !slices.Equal(s.Skeleton[len(s.Skeleton)-1], strs)) {
			s.Skeleton = append(s.Skeleton, strs)
		}
	}
	return s
}

// StringsName writes bowed strings as a player does: "II", "IV+III".
func StringsName(strs []int) string {
	s := slices.Clone(strs)
	slices.Sort(s)
	slices.Reverse(s)
	names := make([]string, len(s))
	for i, n := range s {
		names[i] = instrument.Numeral(n)
	}
	return strings.Join(names, "+")
}

// SkeletonText writes the open strings of a spot in order, at most limit of them.
func (s *Spot) SkeletonText(limit int) string {
	var names []string
	for i, strs := range s.Skeleton {
		if i == limit {
			names = append(names, "…")
			break
		}
		names = append(names, StringsName(strs))
	}
	return strings.Join(names, " ")
}

// Notes lists what is struck in the spot.
func (s *Spot) Notes(in Input) []score.NoteID {
	var out []score.NoteID
	for e := s.First; e <= s.Last; e++ {
		out = append(out, in.Events[e].Struck...)
	}
	return out
}
