package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"pochette/internal/score"
	"pochette/internal/voices"
)

func init() { registerAside("voices-weights", printVoiceWeights) }

// lesson is a piece of a line whose right links are known, and how many voices the
// search may open in it.
type lesson struct {
	interleaved
	most  int
	truth []score.NoteID
	right *voices.Weights // counts of the right links
}

// lessonLength is how many notes a lesson has: learning steps from lesson to lesson.
const lessonLength = 200

// cut is the stretch lo..hi (exclusive) of a line as a line of its own.
func (x *interleaved) cut(lo, hi int) interleaved {
	y := interleaved{from: x.from[lo:hi]}
	var notes []heard
	for i := lo; i < hi; i++ {
		n := &x.p.Notes[i]
		notes = append(notes, heard{float64(n.Onset) / lineQuarter, n})
	}
	y.line(notes)
	return y
}

// links gives for each note the one before it in its own part.
func (x *interleaved) links() []score.NoteID {
	out := make([]score.NoteID, len(x.from))
	last := map[int]score.NoteID{}
	for i, part := range x.from {
		out[i] = score.NoNote
		if b, ok := last[part]; ok {
			out[i] = b
		}
		last[part] = score.NoteID(i)
	}
	return out
}

// lessonsOf makes lessons of the movements of a training set: pairs of parts in all
// weaves, and each part alone; the pairs once with two voices and once with three, the
// parts alone with three, so that voices that are not there cost what they should.
func lessonsOf(es []ensemble) []*lesson {
	var out []*lesson
	add := func(x interleaved, most ...int) {
		for lo := 0; lo+20 < len(x.from); lo += lessonLength {
			y := x.cut(lo, min(lo+lessonLength, len(x.from)))
			for _, m := range most {
				l := &lesson{interleaved: y, most: m, truth: y.links()}
				l.right = voices.Counts(y.sc, y.p, voices.Options{Voices: m}, l.truth)
				out = append(out, l)
			}
		}
	}
	for _, e := range es {
		for _, pr := range voicePairs {
			if len(e.notes) > pr.b {
				for _, v := range weaves {
					add(v.weave(e.notes[pr.a], e.notes[pr.b]), 2, 3)
				}
			}
		}
		for _, n := range e.notes {
			add(alone(n), 3)
		}
	}
	return out
}

// Learning: how often all lessons are gone through, and by how much a weight moves
// for one count.
const (
	rounds = 5
	pace   = 0.05
)

// learnVoices is the averaged structured perceptron (Collins, Discriminative training
// methods for hidden Markov models, EMNLP 2002): wherever the cheapest links are not
// the right ones, what they meet becomes dearer and what the right ones meet cheaper;
// the weights given are the mean over all lessons. Seeded.
func learnVoices(es []ensemble) *voices.Weights {
	lessons := lessonsOf(es)
	w, late := voices.FirstWeights(), &voices.Weights{}
	r := rand.New(rand.NewPCG(1, 2))
	n := 1.0
	for range rounds {
		r.Shuffle(len(lessons), func(i, j int) { lessons[i], lessons[j] = lessons[j], lessons[i] })
		for _, l := range lessons {
			o := voices.Options{Voices: l.most, Weights: w}
			if got := strandLinks(l.p, voices.Analyze(l.sc, l.p, o)); !slices.Equal(got, l.truth) {
				step := voices.Counts(l.sc, l.p, o, got)
				step.Add(l.right, -1)
				w.Add(step, pace)
				late.Add(step, pace*n)
			}
			n++
		}
	}
	w.Add(late, -1/n)
	return w
}

// strandLinks gives the links that the search itself made, before strands are joined.
func strandLinks(p *score.Part, st *voices.Study) []score.NoteID {
	out := slices.Repeat([]score.NoteID{score.NoNote}, len(p.Notes))
	for _, s := range st.Strands {
		for i := 1; i < len(s.Notes); i++ {
			out[s.Notes[i]] = s.Notes[i-1]
		}
	}
	return out
}

// learnFolds learns for each piece from the others.
func learnFolds(all []ensemble) map[string]*voices.Weights {
	held := map[string]*voices.Weights{}
	var mu sync.Mutex
	var wg sync.WaitGroup
	var pieces []string
	for _, e := range all {
		if !slices.Contains(pieces, e.piece) {
			pieces = append(pieces, e.piece)
		}
	}
	for _, p := range pieces {
		wg.Go(func() {
			w := learnVoices(slices.DeleteFunc(slices.Clone(all), func(e ensemble) bool { return e.piece == p }))
			mu.Lock()
			defer mu.Unlock()
			held[p] = w
		})
	}
	wg.Wait()
	return held
}

// printVoiceWeights prints the weights learned from all pieces as the source of
// internal/voices/weights.go has them.
func printVoiceWeights(w io.Writer, data string) error {
	all, err := readEnsembles(data)
	if err != nil {
		return err
	}
	fmt.Fprint(w, "### Voices: the weights, learned from all pieces\n\n```go\n")
	v := learnVoices(all)
	row := func(t []float64) string {
		var s []string
		for _, x := range t {
			s = append(s, fmt.Sprintf("%.2f", x+0)) // no minus zero
		}
		return strings.ReplaceAll("{"+strings.Join(s, ", ")+"}", "-0.00", "0.00")
	}
	for _, t := range []struct {
		name string
		row  []float64
	}{{"Stay", v.Stay[:]}, {"Go", v.Go[:]}, {"Skip", v.Skip[:]}, {"Wait", v.Wait[:]}} {
		fmt.Fprintf(w, "\t\t%s: [%d]float64%s,\n", t.name, len(t.row), row(t.row))
	}
	fmt.Fprintf(w, "\t\tSide: [2][sideBelow + sideAbove + 1]float64{\n\t\t\t%s,\n\t\t\t%s,\n\t\t},\n", row(v.Side[0][:]), row(v.Side[1][:]))
	fmt.Fprint(w, "\t\tTurn: [runs][2][3]float64{\n")
	for _, t := range v.Turn {
		fmt.Fprintf(w, "\t\t\t{%s, %s},\n", row(t[0][:]), row(t[1][:]))
	}
	fmt.Fprint(w, "\t\t},\n\t\tSplit: [2][splits][2][2]float64{\n")
	for _, t := range v.Split {
		fmt.Fprint(w, "\t\t\t{\n")
		for _, u := range t {
			fmt.Fprintf(w, "\t\t\t\t{%s, %s},\n", row(u[0][:]), row(u[1][:]))
		}
		fmt.Fprint(w, "\t\t\t},\n")
	}
	fmt.Fprintf(w, "\t\t},\n\t\tEnter: %.2f,\n", v.Enter)
	fmt.Fprint(w, "```\n\n")
	return nil
}
