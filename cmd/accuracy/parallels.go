package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"slices"

	"pochette/internal/parallels"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

func init() { register("parallels", measureParallels) }

// plantsEach is how many differences of each kind are planted in a part.
const plantsEach = 3

// plantSeed makes the plantings the same at each run.
const plantSeed = 20261125

// partOf is a part of a real movement.
type partOf struct {
	name string
	sc   *score.Score
	p    *score.Part
}

// realParts reads the parts that have notes from the folders of real music.
func realParts(data string) ([]partOf, error) {
	var out []partOf
	for _, pattern := range []string{"musicxml/solo/*.mxl", "bowing/etudes/*.musicxml", "bowing/solos/*.musicxml", "musicxml/quartets/*.mxl"} {
		files, err := filepath.Glob(filepath.Join(data, filepath.FromSlash(pattern)))
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			sc, err := readScore(f)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", f, err)
			}
			for _, p := range sc.Parts {
				name := shortName(f)
				if len(sc.Parts) > 1 {
					name += ", " + p.Name
				}
				out = append(out, partOf{name, sc, p})
			}
		}
	}
	return out, nil
}

// found counts planted differences.
type found struct{ all, near, beside, seen, told, extra int }

func (f *found) add(o found) {
	f.all, f.near, f.beside, f.seen, f.told, f.extra = f.all+o.all, f.near+o.near, f.beside+o.beside, f.seen+o.seen, f.told+o.told, f.extra+o.extra
}

// plantIn plants differences one at a time and looks for each.
func plantIn(x partOf, each int, r *rand.Rand, by []found, missed func(string)) found {
	places := spots(x.p)
	before := len(parallels.Analyze(x.sc, x.p, parallels.Options{Strict: true}).Odd)
	var sum found
	for i, k := range plantings {
		var f found
		for _, at := range r.Perm(len(places)) {
			if f.all == each {
				break
			}
			q := copyOf(x.p)
			s := places[at]
			if r.IntN(2) == 0 {
				s.here, s.there = s.there, s.here
			}
			reach, ok := k.plant(q, s, r)
			if !ok {
				continue
			}
			f.all++
			st := parallels.Analyze(x.sc, q, parallels.Options{Strict: true})
			near, beside, o := noticed(q, st, k.aspect, s.here, reach)
			if near {
				f.near++
			}
			if beside {
				f.beside++
			}
			if o == nil {
				missed(fmt.Sprintf("%s: %s in measure %s", x.name, k.name, q.Measures[q.Notes[s.here].Measure].Number))
				continue
			}
			f.seen++
			f.extra += len(st.Odd) - before - 1
			if o.Surprise >= parallels.Surprising {
				f.told++
			}
		}
		by[i].add(f)
		sum.add(f)
	}
	return sum
}

// cleanCopy sets a part before its own copy, moved by an interval, and counts the
// differences between the two, and the share of the notes that are in a passage of the
// two.
func cleanCopy(x partOf, iv pitch.Interval) (differences int, covered float64) {
	q, shift := doubled(x.p, iv)
	st := parallels.Analyze(x.sc, q, parallels.Options{Strict: true})
	own := func(p *parallels.Passage) bool {
		return q.Notes[p.B[0]].Onset-q.Notes[p.A[0]].Onset == shift && p.Shift == iv
	}
	for _, d := range st.Differences {
		if own(&st.Passages[d.Passage]) {
			differences++
		}
	}
	in := map[score.NoteID]bool{}
	for i := range st.Passages {
		if p := &st.Passages[i]; own(p) {
			for id := p.A[0]; id <= p.A[1]; id++ {
				in[id] = true
			}
		}
	}
	return differences, float64(len(in)) / float64(max(1, len(x.p.Notes)))
}

// doubled is a part followed by its copy.
func doubled(p *score.Part, iv pitch.Interval) (*score.Part, score.Tick) {
	q := copyOf(p)
	n, m := score.NoteID(len(p.Notes)), len(p.Measures)
	last := p.Measures[m-1]
	shift := last.Start + last.Len
	q.Measures = slices.Clone(p.Measures)
	for _, x := range p.Measures {
		x.Index, x.Start = x.Index+m, x.Start+shift
		x.Key.At += shift
		x.Keys = slices.Clone(x.Keys)
		for i := range x.Keys {
			x.Keys[i].At += shift
		}
		q.Measures = append(q.Measures, x)
	}
	for i := range q.Measures {
		q.Measures[i].Number = fmt.Sprint(i + 1)
	}
	for _, x := range p.Notes {
		x.ID, x.Measure, x.Onset, x.Head = x.ID+n, x.Measure+m, x.Onset+shift, x.Head+n
		if x.TieFrom != score.NoNote {
			x.TieFrom += n
		}
		if x.TieTo != score.NoNote {
			x.TieTo += n
		}
		if !x.Rest {
			x.Written, x.Sounding = x.Written.Transpose(iv), x.Sounding.Transpose(iv)
		}
		q.Notes = append(q.Notes, x)
	}
	for _, x := range p.Slurs {
		if x.Start != score.NoNote {
			x.Start += n
		}
		if x.End != score.NoNote {
			x.End += n
		}
		q.Slurs = append(q.Slurs, x)
	}
	q.Directions = slices.Clone(p.Directions)
	for _, x := range p.Directions {
		x.At, x.Measure = x.At+shift, x.Measure+m
		q.Directions = append(q.Directions, x)
	}
	return q, shift
}

var copyIntervals = []struct {
	name string
	iv   pitch.Interval
}{{"at the same pitch", pitch.Interval{}}, {"a fourth higher", pitch.Interval{Diatonic: 3, Chromatic: 5}}, {"a tone lower", pitch.Interval{Diatonic: -1, Chromatic: -2}}}

// measureParallels plants differences, and compares clean copies.
func measureParallels(w io.Writer, data string) error {
	parts, err := realParts(data)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "### Parallel passages: planted differences and clean copies\n\n"+
		"In each part of real music (solo movements, études and solos with printed bows, quartets; see the data's README) one difference at a time is planted in a place that has a parallel, and looked for with `--strict` (seed %d, at most %d of each kind in each part). "+
		"Which places have a parallel is told by a search of its own, not the one measured: two whole bars with at least six single notes whose onsets, lengths and staff intervals come back in two other bars. *Found*: a finding of that kind stands at the moment of the planted note, or names that moment among the parallels unlike its own; *beside*: it stands there, or that moment is the one parallel that it sets beside its own; *near*: as found, or one of the notes the difference covers. *Told*: those of the found that surprise enough to be told without `--strict`. *Others*: findings more or fewer elsewhere, on average for each planted one "+
		"(a changed note can lengthen or shorten another passage). Clean copy: the part followed by itself, also transposed: differences told between the two, and the share of the notes that lie in their passages.\n\n", plantSeed, plantsEach)
	fmt.Fprintln(w, "| part | planted | near | **found** | beside | told | others | copies: differences | least covered |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|")
	r := rand.New(rand.NewPCG(plantSeed, 0))
	by := make([]found, len(plantings))
	var sum found
	var missed []string
	wrong := 0
	for _, x := range parts {
		f := plantIn(x, plantsEach, r, by, func(s string) { missed = append(missed, s) })
		sum.add(f)
		bad, least := 0, 1.0
		for _, c := range copyIntervals {
			n, cover := cleanCopy(x, c.iv)
			bad, least = bad+n, min(least, cover)
		}
		wrong += bad
		fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d | %.1f | %d | %.1f %% |\n", x.name, f.all, f.near, f.seen, f.beside, f.told, float64(f.extra)/float64(max(1, f.seen)), bad, 100*least)
	}
	fmt.Fprintf(w, "| **all** | %d | %d (%.1f %%) | %d (%.1f %%) | %d (%.1f %%) | %d (%.1f %%) | %.1f | %d | |\n\n", sum.all, sum.near, percent(sum.near, sum.all), sum.seen, percent(sum.seen, sum.all), sum.beside, percent(sum.beside, sum.all), sum.told, percent(sum.told, sum.all), float64(sum.extra)/float64(max(1, sum.seen)), wrong)
	fmt.Fprintln(w, "| kind | planted | near | found | beside | told |\n|---|---:|---:|---:|---:|---:|")
	for i, k := range plantings {
		fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d |\n", k.name, by[i].all, by[i].near, by[i].seen, by[i].beside, by[i].told)
	}
	if len(missed) > 0 {
		fmt.Fprint(w, "\nNot found:\n\n")
		for _, m := range missed {
			fmt.Fprintln(w, "-", m)
		}
	}
	fmt.Fprintln(w)
	return nil
}
