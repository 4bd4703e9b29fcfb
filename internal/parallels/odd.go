package parallels

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// steady is the weight, in moments, of the whole piece's habit against that of a
// single passage.
const steady = 16

// surprise measures each difference: -log2 of how often this aspect differs at
// comparable moments. The rate is that of its own passage, drawn to that of all
// parallels of the piece: (d + steady*r) / (n + steady), where d of the passage's n
// moments differ in the aspect, and r is the rate over all passages. So one slur
// missing among forty that agree says much; one of thirty that differ, little. The
// moments by which a passage was completed to the bar line are counted for themselves,
// over all passages: there the places often part.
//
// The bits are weighed by the square of the likeness of the two places (about the
// chance that what stands before and after a moment both agree): where the places are
// hardly parallel, that they differ once more says little.
func surprise(st *Study) {
	var all, edges rates
	here := make([]rates, len(st.Passages))
	for i := range st.Passages {
		p := &st.Passages[i]
		n := float64(p.lead + p.trail)
		edges.n += n
		here[i].n = float64(p.Pairs) - n
		all.n += here[i].n
	}
	for i := range st.Differences {
		if d := &st.Differences[i]; d.edge {
			edges.add(d.Aspect)
		} else {
			all.add(d.Aspect)
			here[d.Passage].add(d.Aspect)
		}
	}
	for i := range st.Differences {
		d := &st.Differences[i]
		like := st.Passages[d.Passage].likeness(d)
		rate := edges.of(d.Aspect)
		if !d.edge {
			h := &here[d.Passage]
			rate = (h.differ[d.Aspect] + steady*all.of(d.Aspect)) / (h.n + steady)
		}
		d.Surprise = -math.Log2(min(1, rate)) * like * like
	}
}

// likeness is the share of the moments alike in pitch and length, those that differ
// together with d left out.
func (p *Passage) likeness(d *Difference) float64 {
	lo, hi := d.col, d.col
	for lo > 0 && !p.like[lo-1] {
		lo--
	}
	for hi < len(p.like) && !p.like[hi] {
		hi++
	}
	if p.like[d.col] { // a mark differs
		return float64(p.Agree-1) / float64(max(1, p.Pairs-1))
	}
	return float64(p.Agree) / float64(max(1, p.Pairs-(hi-lo)))
}

// rates counts how many of n moments differ in each aspect.
type rates struct {
	n      float64
	differ map[Aspect]float64
}

func (r *rates) add(k Aspect) {
	if r.differ == nil {
		r.differ = map[Aspect]float64{}
	}
	r.differ[k]++
}

func (r *rates) of(k Aspect) float64 { return (r.differ[k] + 0.5) / (r.n + 1) }

type place struct {
	step   int
	aspect Aspect
}

// odd joins the differences by place: of two parallel notes that differ, the one that
// differs from the larger share of its parallels is the odd one, of two alike the
// later. A share of few counts for less (as with one more parallel that agrees). The
// surprise of a place is the mean over all its parallels, 0 for one that agrees.
func (r *reader) odd(st *Study) []Odd {
	met := make([]int, len(r.steps)) // parallels of each step
	for i := range st.Passages {
		for _, c := range st.Passages[i].cols {
			if c.both() {
				met[c.a]++
				met[c.b]++
			}
		}
	}
	differ := map[place]int{}
	for i := range st.Differences {
		d := &st.Differences[i]
		differ[place{d.colA, d.Aspect}]++
		differ[place{d.colB, d.Aspect}]++
	}
	share := func(step int, k Aspect) float64 {
		n := differ[place{step, k}]
		return float64(n) / float64(max(met[step], n)+1)
	}
	group := map[place][]int{}
	var order []place
	for i := range st.Differences {
		d := &st.Differences[i]
		at := place{d.colB, d.Aspect}
		if share(d.colA, d.Aspect) > share(d.colB, d.Aspect) {
			at.step = d.colA
		}
		if group[at] == nil {
			order = append(order, at)
		}
		group[at] = append(group[at], i)
	}
	var out []Odd
	for _, at := range order {
		out = append(out, r.oddAt(st, at, group[at], max(met[at.step], differ[at]), differ[at]))
	}
	slices.SortStableFunc(out, func(a, b Odd) int {
		return cmp.Or(cmp.Compare(b.Surprise, a.Surprise), cmp.Compare(a.At.Measure, b.At.Measure), cmp.Compare(a.At.Note, b.At.Note))
	})
	return out
}

// oddAt tells of one place against its parallels; the one set beside it is that of
// the most unlikely agreement otherwise.
func (r *reader) oddAt(st *Study, at place, diffs []int, met, differ int) Odd {
	best := slices.MaxFunc(diffs, func(i, j int) int {
		return cmp.Compare(st.Passages[st.Differences[i].Passage].Bits, st.Passages[st.Differences[j].Passage].Bits)
	})
	sum := 0.0
	for _, i := range diffs {
		sum += st.Differences[i].Surprise
	}
	d := &st.Differences[best]
	here, there := d.A, d.B
	o := Odd{Aspect: at.aspect, Here: d.InA, There: d.InB, Agree: met - differ, Other: len(diffs), Surprise: sum / float64(len(diffs)+met-differ)}
	if d.colA != at.step {
		here, there, o.Here, o.There = d.B, d.A, d.InB, d.InA
	}
	o.Finding = score.Finding{Kind: "parallel-" + string(at.aspect), Grade: score.Remark, Part: r.p.ID, At: timeline.AtNote(r.p, here), Notes: []score.NoteID{here, there}, Weight: o.Surprise}
	o.To = o.At
	o.carried = r.carry(&st.Passages[d.Passage], d, d.colA == at.step)
	o.Beside = timeline.AtNote(r.p, there)
	for _, i := range diffs { // all the places that it differs from, the one set beside it first
		for _, id := range []score.NoteID{st.Differences[i].A, st.Differences[i].B} {
			if !slices.Contains(o.Notes, id) {
				o.Notes = append(o.Notes, id)
			}
		}
	}
	respelled := strings.HasPrefix(d.InA, "written ")
	if at.aspect == Accidental || at.aspect == PitchAspect && !respelled {
		o.Here, o.There = r.written(here), r.written(there)
	}
	if respelled && !strings.HasPrefix(o.Here, "written ") {
		o.Here = "written " + o.Here
	}
	o.Text = r.sentence(&o)
	o.Why = r.why(st, &st.Passages[d.Passage], &o)
	return o
}

// sentence says what differs, the other place in words.
func (r *reader) sentence(o *Odd) string {
	beside := "the parallel place, " + o.Beside.String() + ","
	switch o.Aspect {
	case Slur, Articulation, Ornament, Bow, Finger, Dynamic:
		what := map[Aspect]string{Slur: "slur", Articulation: "articulation", Ornament: "ornament", Bow: "bow mark", Finger: "finger or string mark", Dynamic: "dynamic"}[o.Aspect]
		switch {
		case o.Here == "none":
			return fmt.Sprintf("No %s here; %s has %s.", what, beside, o.There)
		case o.There == "none":
			return fmt.Sprintf("Here stands %s; %s has no %s.", o.Here, beside, what)
		}
		return fmt.Sprintf("Here stands %s; %s has %s.", o.Here, beside, o.There)
	case Chord:
		return fmt.Sprintf("Under the highest note lies %s; in %s %s.", chordText(o.Here), beside, chordText(o.There))
	case Rhythm:
		return fmt.Sprintf("The rhythm is %s; %s has %s.", restText(o.Here), beside, restText(o.There))
	}
	if written, ok := strings.CutPrefix(o.Here, "written "); ok {
		return fmt.Sprintf("%s is written here; %s has %s: the same key, spelled otherwise.", written, beside, strings.TrimPrefix(o.There, "written "))
	}
	return fmt.Sprintf("%s is written here; after %s it would be %s.", o.Here, beside, o.carried)
}

// Plain is what to look at, without what a note would be by the transposition.
func (o *Odd) Plain() string {
	if o.Beside.Measure >= 0 && (o.Aspect == Accidental || o.Aspect == PitchAspect) {
		return fmt.Sprintf("%s is written here; look at %s: there stands %s.", strings.TrimPrefix(o.Here, "written "), o.Beside, strings.TrimPrefix(o.There, "written "))
	}
	return o.Text
}

// carry takes the note of the other place over to this one, by the shift of the
// passages: by its semitones, or, of a shift that keeps to the key, with the
// alteration that the other note has against its signature.
func (r *reader) carry(p *Passage, d *Difference, toA bool) pitch.Pitch {
	from, to, iv := d.colA, d.colB, p.Shift
	if toA {
		from, to, iv = d.colB, d.colA, pitch.Interval{Diatonic: -iv.Diatonic, Chromatic: -iv.Chromatic}
	}
	q := r.p.Notes[r.steps[from].note].Written.Transpose(iv)
	s := &r.steps[to]
	fifths := fifthsAt(&r.p.Measures[s.measure], s.onset)
	if p.Tonal {
		q.Alter = int8(pitch.KeyAlter(fifths, q.Step) + r.steps[from].relative)
	}
	return spelled(q, fifths)
}

// spelled gives a pitch two alterations or more from the signature the spelling nearest
// to it: F♯ for E𝄪, but F𝄪 stays where the signature has F♯.
func spelled(q pitch.Pitch, fifths int) pitch.Pitch {
	away := func(q pitch.Pitch) int {
		d := int(q.Alter) - pitch.KeyAlter(fifths, q.Step)
		return max(d, -d)
	}
	if away(q) < 2 {
		return q
	}
	best := q
	for _, d := range [2]int{-1, 1} {
		if o := q.Transpose(pitch.Interval{Diatonic: d}); away(o) < away(best) {
			best = o
		}
	}
	return best
}

func chordText(s string) string {
	if s == "none" {
		return "nothing"
	}
	return "the " + s
}

func restText(s string) string {
	if s == "" || s == "none" {
		return "without a note of its own"
	}
	return s
}

// why says how alike the passages are, and that no verdict is given.
func (r *reader) why(st *Study, p *Passage, o *Odd) string {
	how := "at the same pitch"
	if p.Shift.Diatonic != 0 || p.Shift.Chromatic != 0 {
		how = "transposed"
	}
	t := fmt.Sprintf("%s and %s run parallel (%s), alike in pitch and length at %d of %d moments.", capital(r.span(p.A)), r.span(p.B), how, p.Alike, p.Pairs)
	unlike := ""
	if len(o.Notes) > 2 {
		unlike = r.measures(o.Notes[1:])
	}
	switch {
	case o.Agree > 0 && unlike != "":
		t += fmt.Sprintf(" Of %d parallels of this place %d %s like it; unlike it: %s.", o.Agree+o.Other, o.Agree, isAre(o.Agree), unlike)
	case o.Agree > 0:
		t += fmt.Sprintf(" Of %d parallels of this place %d %s like it.", o.Agree+o.Other, o.Agree, isAre(o.Agree))
	case unlike != "":
		t += fmt.Sprintf(" None of its %d parallels is like it: %s.", o.Other, unlike)
	}
	return t
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// measures names the measures of notes in order, each once: "measures 3, 7 and 12".
func (r *reader) measures(ids []score.NoteID) string {
	var at []int
	for _, id := range ids {
		at = append(at, r.p.Notes[id].Measure)
	}
	slices.Sort(at)
	at = slices.Compact(at)
	if len(at) == 1 {
		return "measure " + timeline.Name(r.p, at[0])
	}
	var names []string
	for _, m := range at {
		names = append(names, timeline.Name(r.p, m))
	}
	return "measures " + strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func (r *reader) span(ids [2]score.NoteID) string {
	a, b := timeline.Name(r.p, r.p.Notes[ids[0]].Measure), timeline.Name(r.p, r.p.Notes[ids[1]].Measure)
	if a == b {
		return "measure " + a
	}
	return "measures " + a + "–" + b
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}
