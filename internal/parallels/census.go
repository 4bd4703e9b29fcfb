package parallels

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// sight is one occurrence of a thing in the census. word completes "The only …"; without
// it the sight is counted and not told.
type sight struct {
	class Aspect
	value string
	word  string
	note  score.NoteID
	place score.Loc
}

// Classes of the census beyond the aspects of a comparison.
const (
	Length  Aspect = "length"
	Figure  Aspect = "figure"  // the rhythm of one beat
	Foreign Aspect = "foreign" // a note outside the signature
)

// census lists what occurs once only in the movement: an articulation, a length, the
// rhythm of a beat, an alteration against the signature, an ornament, a dynamic, a
// bow mark.
//
// Surprise is -log2(h/n): n occurrences of the class, h of these the only ones of
// their value. By Good (The population frequencies of species, Biometrika 40, 1953)
// h/n estimates how often this class brings something not met before; where many
// things occur once, one of them says little.
func (r *reader) census() []Odd {
	type kind struct {
		class Aspect
		value string
		part  int
	}
	count := map[kind]int{}
	var all []sight
	var part []int
	for m, span := range r.movements() {
		for _, s := range r.sights(span[0], span[1]) {
			count[kind{s.class, s.value, m}]++
			all, part = append(all, s), append(part, m)
		}
	}
	type group struct {
		class Aspect
		part  int
	}
	total, once := map[group]int{}, map[group]int{}
	for i, s := range all {
		g := group{s.class, part[i]}
		total[g]++
		if count[kind{s.class, s.value, part[i]}] == 1 {
			once[g]++
		}
	}
	var out []Odd
	for i, s := range all {
		g := group{s.class, part[i]}
		if s.value == "" || s.word == "" || count[kind{s.class, s.value, part[i]}] > 1 {
			continue
		}
		o := Odd{Aspect: s.class, Beside: score.Nowhere, Here: s.value, Surprise: math.Log2(float64(total[g]) / float64(once[g]))}
		o.Finding = score.Finding{Kind: "only-" + string(s.class), Grade: score.Remark, Part: r.p.ID, At: s.place, To: s.place, Notes: []score.NoteID{s.note}, Weight: o.Surprise}
		o.Text = "The only " + s.word + "."
		o.Why = onceText(s.class, total[g], once[g])
		out = append(out, o)
	}
	slices.SortStableFunc(out, func(a, b Odd) int {
		return cmp.Or(cmp.Compare(b.Surprise, a.Surprise), cmp.Compare(a.At.Note, b.At.Note))
	})
	return out
}

// classWords names what a class counts: among what, one of it, several.
var classWords = map[Aspect][3]string{Articulation: {"notes", "articulation", "articulations"}, Ornament: {"notes", "ornament", "ornaments"}, Bow: {"notes", "bow mark", "bow marks"},
	Dynamic: {"notes", "dynamic", "dynamics"}, Length: {"notes", "length", "lengths"}, Figure: {"beats of several notes", "rhythm", "rhythms"}, Foreign: {"notes", "note against the signature", "notes against the signature"}}

// onceText says how rare it is that something of a class occurs just once.
func onceText(class Aspect, total, once int) string {
	w := classWords[class]
	if once == 1 {
		return fmt.Sprintf("Among %d %s no other %s occurs just once.", total, w[0], w[1])
	}
	return fmt.Sprintf("Among %d %s, %d %s occur just once.", total, w[0], once, w[2])
}

// sights counts what stands at the steps lo to hi (exclusive). A note without a mark
// counts as one of the class, with the empty value.
func (r *reader) sights(lo, hi int) []sight {
	var out []sight
	for i := lo; i < hi; i++ {
		s := &r.steps[i]
		at := timeline.AtNote(r.p, s.note)
		add := func(class Aspect, value, word string) {
			out = append(out, sight{class, value, word, s.note, at})
		}
		for _, v := range []struct {
			k Aspect
			t string
		}{{Articulation, s.articulate}, {Ornament, s.ornament}, {Bow, s.bow}, {Dynamic, s.dynamic}} {
			if v.t == "" {
				add(v.k, "", "")
				continue
			}
			for _, one := range strings.Split(v.t, ", ") {
				add(v.k, one, one+" in the movement")
			}
		}
		n := &r.p.Notes[s.note]
		if s.relative == 0 {
			add(Foreign, "", "")
		} else {
			q := pitch.Pitch{Step: n.Written.Step, Alter: n.Written.Alter}
			sig := pitch.Pitch{Step: q.Step, Alter: int8(int(q.Alter) - s.relative)}
			add(Foreign, natural(q), natural(q)+" in the movement (the signature has "+natural(sig)+")")
		}
	}
	out = append(out, r.values(lo, hi)...)
	return append(out, r.figures(lo, hi)...)
}

// values gives the written value of every note between two steps, of chords and of
// lower voices too, of tied notes each by itself. Notes of one value that are struck
// together count once: they are one thing to see.
func (r *reader) values(lo, hi int) []sight {
	if lo >= hi {
		return nil
	}
	first, last := r.steps[lo].measure, r.steps[hi-1].measure
	type seen struct {
		at    score.Tick
		value string
	}
	had := map[seen]bool{}
	var out []sight
	at := sort.Search(len(r.p.Notes), func(i int) bool { return r.p.Notes[i].Measure >= first })
	for ; at < len(r.p.Notes) && r.p.Notes[at].Measure <= last; at++ {
		n := &r.p.Notes[at]
		if n.Rest || n.Grace || n.Cue {
			continue
		}
		v := valueName(n.Value)
		if v == "" || had[seen{n.Onset, v}] {
			continue
		}
		had[seen{n.Onset, v}] = true
		word := v + " in the movement"
		if n.Onset >= r.steps[hi-1].onset { // that the last note has a length of its own says nothing
			word = ""
		}
		out = append(out, sight{Length, v, word, n.ID, timeline.AtNote(r.p, n.ID)})
	}
	return out
}

// valueName is "dotted half", "triplet eighth", "eighth of 5 in the time of 4"; "" of
// a note without a written value.
func valueName(v score.Value) string {
	name := strings.Repeat("double-", max(0, v.Dots-1)) + strings.Repeat("dotted ", min(1, v.Dots)) + v.Type
	switch {
	case v.Type == "":
		return ""
	case v.Actual <= 0 || v.Normal <= 0 || v.Actual == v.Normal:
		return name
	case v.Actual == 3 && v.Normal == 2:
		return "triplet " + name
	}
	return fmt.Sprintf("%s of %d in the time of %d", name, v.Actual, v.Normal)
}

// natural is the name of a note with a sign even where it has none.
func natural(q pitch.Pitch) string {
	if q.Alter == 0 {
		return q.Name() + "♮"
	}
	return q.Name()
}

// figures gives the rhythm of each beat that begins with a step and holds two steps
// or more.
func (r *reader) figures(lo, hi int) []sight {
	var out []sight
	for i := lo; i < hi; {
		s := &r.steps[i]
		beat := timeline.Beat(r.p.Measures[s.measure].Meter)
		j := i + 1
		for j < hi && r.steps[j].onset < s.onset+beat {
			j++
		}
		if s.phase != 0 || beat <= 0 || j-i < 2 {
			i++
			continue
		}
		var names []string
		for _, x := range r.steps[i:j] {
			names = append(names, r.length(x.dur))
		}
		v := strings.Join(names, " ")
		out = append(out, sight{Figure, v, "beat with the rhythm " + v, s.note, timeline.AtNote(r.p, s.note)})
		i = j
	}
	return out
}
