package main

import (
	"fmt"
	"io"
	"math"
	"os"

	"pochette/internal/audio"
	"pochette/internal/demo"
	"pochette/internal/listen"
	lt "pochette/internal/listentest"
	"pochette/internal/musicxml"
	"pochette/internal/score"
)

func init() {
	register("listen", measureListen)
	register("listen-real", measureRealTakes)
}

// listenPiece is a part that takes are made of.
type listenPiece struct {
	name   string
	sc     *score.Score
	p      *score.Part
	lowest float64 // Hz, of the instrument
	open   []int
}

var (
	violinOpen = []int{55, 62, 69, 76}
	celloOpen  = []int{36, 43, 50, 57}
)

// listenBars is the length of the invented pieces; each is played twice, in two halves.
const listenBars = 6

// listenPieces are invented ones for violin and cello.
func listenPieces() []listenPiece {
	var out []listenPiece
	for i, kind := range lt.Kinds {
		sc, p := lt.Piece(kind, listenBars, 55, uint64(20+i))
		out = append(out, listenPiece{kind + " (violin)", sc, p, 170, violinOpen})
	}
	sc, p := lt.Piece("running", listenBars, 36, 31)
	return append(out, listenPiece{"running (cello)", sc, p, 55, celloOpen})
}

// jig is the demo, which is heard in a few ways only, being long.
func jig() (listenPiece, error) {
	sc, err := decodeListen("", demo.Jig)
	if err != nil {
		return listenPiece{}, err
	}
	return listenPiece{"the demo jig", sc, sc.Parts[0], 170, violinOpen}, nil
}

// condition is one way of playing.
type condition struct {
	name string
	o    lt.Options
}

var conditions = []condition{
	{"plain", lt.Options{}},
	{"vibrato, mistuned notes", lt.Options{Vibrato: 25, Detune: 8}},
	{"reverberant and noisy", lt.Options{Vibrato: 20, Detune: 6, Reverb: 1.2, Noise: -50}},
	{"rubato, give and take", lt.Options{Vibrato: 20, Detune: 6, Rubato: 0.08, InsideBar: 0.08, Jitter: 0.01, Quarter: 70}},
	{"dotting 0.68, A4 415", lt.Options{Vibrato: 15, Detune: 5, Dotting: 0.68, DotSpread: 0.02, A4: 415, Rubato: 0.03}},
	{"dotting 0.82, A4 466", lt.Options{Vibrato: 15, Detune: 5, Dotting: 0.82, DotSpread: 0.02, A4: 466, Rubato: 0.03}},
	{"A4 392, quick, no repeats", lt.Options{Vibrato: 15, Detune: 5, A4: 392, Quarter: 110, SkipRepeats: true}},
	{"wrong and missing notes", lt.Options{Vibrato: 20, Detune: 6, Wrong: 0.03, Missing: 0.03, Rubato: 0.04}},
	{"restarts", lt.Options{Vibrato: 20, Detune: 6, Restarts: 3, Rubato: 0.04}},
	{"all at once", lt.Options{Vibrato: 25, Detune: 8, Reverb: 0.8, Noise: -55, Rubato: 0.06, InsideBar: 0.05, Jitter: 0.008, Wrong: 0.02, Missing: 0.02, Restarts: 2, Dotting: 0.72, DotSpread: 0.02, A4: 443}},
}

// tally gathers errors over takes.
type tally struct {
	cents, onset, tempo, dot, dotMean []float64
	blindHit, blindRef, blindEst      int
	hit, ref, est                     int // onsets of aligned notes
	slipHit, slipTrue, slipSaid       int
	back, backTrue, backSaid          int
	takes                             int
}

func (t *tally) add(o *tally) {
	t.cents, t.onset, t.tempo = append(t.cents, o.cents...), append(t.onset, o.onset...), append(t.tempo, o.tempo...)
	t.dot, t.dotMean = append(t.dot, o.dot...), append(t.dotMean, o.dotMean...)
	t.blindHit, t.blindRef, t.blindEst = t.blindHit+o.blindHit, t.blindRef+o.blindRef, t.blindEst+o.blindEst
	t.hit, t.ref, t.est = t.hit+o.hit, t.ref+o.ref, t.est+o.est
	t.slipHit, t.slipTrue, t.slipSaid = t.slipHit+o.slipHit, t.slipTrue+o.slipTrue, t.slipSaid+o.slipSaid
	t.back, t.backTrue, t.backSaid = t.back+o.back, t.backTrue+o.backTrue, t.backSaid+o.backSaid
	t.takes += o.takes
}

// measureListen prints the tables of made-up takes.
func measureListen(w io.Writer, _ string) error {
	pieces := listenPieces()
	long, err := jig()
	if err != nil {
		return err
	}
	pieces = append(pieces, long)
	byPiece, byCondition, all := make([]tally, len(pieces)), make([]tally, len(conditions)), tally{}
	for i, p := range pieces {
		for k, c := range conditions {
			if p.name == long.name && k != 1 && k != len(conditions)-1 {
				continue
			}
			o := c.o
			o.Seed, o.Rate = uint64(1000*i+k+1), listenRate
			t, err := listenTake(p, o)
			if err != nil {
				return fmt.Errorf("%s, %s: %w", p.name, c.name, err)
			}
			byPiece[i].add(t)
			byCondition[k].add(t)
			all.add(t)
		}
		fmt.Fprintln(os.Stderr, "heard", p.name) // it takes minutes
	}
	fmt.Fprintf(w, "## Listening\n\n%d made-up takes (`internal/listentest`: %d pieces, played up to %d ways; seeds fixed), whose truth is known exactly. Definitions as in mir_eval (Raffel et al. 2014; from memory): an onset is hit within 50 ms, each partner once; F is the harmonic mean of precision and recall. A note of the truth that was not found counts as 1 s off. Slips: a planted wrong or missing note is found where the take is said to go otherwise than printed at that note.\n\n", all.takes, len(pieces), len(conditions))
	head := "pitch, cents (median / 95th) | onsets F, sound alone | onsets F, with the score | alignment, ms (median / 95th) | within 40 ms | bar tempo, % (median / 95th) | dotted share of one pair (median) | of a figure's mean (largest) | slips F | restarts placed\n"
	rule := "|---|---|---|---|---|---|---|---|---|---|---|\n"
	fmt.Fprintf(w, "| way of playing | %s%s", head, rule)
	for k, c := range conditions {
		byCondition[k].row(w, c.name)
	}
	all.row(w, "**all**")
	fmt.Fprintf(w, "\n| piece | %s%s", head, rule)
	for i, p := range pieces {
		byPiece[i].row(w, p.name)
	}
	fmt.Fprintln(w)
	return nil
}

func (t *tally) row(w io.Writer, name string) {
	f := func(hit, ref, est int) string {
		if ref == 0 {
			if est > 0 {
				return fmt.Sprintf("none planted, %d said", est)
			}
			return ""
		}
		v, _, _ := lt.FMeasure(hit, ref, est)
		return fmt.Sprintf("%.3f", v)
	}
	two := func(v []float64, scale float64, format string) string {
		if len(v) == 0 {
			return ""
		}
		return fmt.Sprintf(format+" / "+format, scale*lt.Quantile(v, 0.5), scale*lt.Quantile(v, 0.95))
	}
	dot, mean, back := "", "", ""
	if len(t.dot) > 0 {
		dot = fmt.Sprintf("%.4f", lt.Quantile(t.dot, 0.5))
	}
	if len(t.dotMean) > 0 {
		mean = fmt.Sprintf("%.4f", lt.Quantile(t.dotMean, 1))
	}
	if t.backTrue+t.backSaid > 0 {
		back = fmt.Sprintf("%d of %d, %d said", t.back, t.backTrue, t.backSaid)
	}
	fmt.Fprintf(w, "| %s | %s | %s | %s | %s | %.1f %% | %s | %s | %s | %s | %s |\n", name, two(t.cents, 1, "%.1f"), f(t.blindHit, t.blindRef, t.blindEst), f(t.hit, t.ref, t.est), two(t.onset, 1000, "%.1f"), 100*lt.Within(t.onset, 0.04),
		two(t.tempo, 100, "%.2f"), dot, mean, f(t.slipHit, t.slipTrue, t.slipSaid), back)
}

// listenRate of the made-up takes: not the analysis's own, so that they are resampled.
const listenRate = 32000

// listenTake plays one take, hears it and counts.
func listenTake(p listenPiece, o lt.Options) (*tally, error) {
	sound, truth := lt.Play(p.sc, p.p, o)
	l, err := listen.NewLine(p.sc, p.p)
	if err != nil {
		return nil, err
	}
	f := listenFeatures(sound, listenRate, p.lowest)
	h, err := listen.Hear(f, l, listen.Request{Open: p.open})
	if err != nil {
		return nil, err
	}
	t := &tally{takes: 1}
	t.onsets(f, h, &truth)
	t.notes(h, &truth)
	t.bars(h, &truth)
	t.pairs(h, &truth)
	t.slips(h, &truth)
	t.restarts(h, &truth)
	return t, nil
}

func listenFeatures(sound []float32, rate int, lowest float64) *audio.Features {
	r, a := audio.NewResampler(rate, audio.Rate), audio.NewAnalyzer(lowest)
	a.Push(r.Push(nil, sound))
	a.Push(r.Flush(nil))
	return a.Finish()
}

func (t *tally) onsets(f *audio.Features, h *listen.Hearing, truth *lt.Truth) {
	var ref, blind, est []float64
	for _, s := range truth.Sounded {
		ref = append(ref, s.Onset)
	}
	for _, o := range f.Onsets() {
		blind = append(blind, o.Time)
	}
	for _, n := range h.Notes {
		est = append(est, n.Start)
	}
	t.blindHit, t.blindRef, t.blindEst = len(lt.Match(ref, blind, 0.05)), len(ref), len(blind)
	t.hit, t.ref, t.est = len(lt.Match(ref, est, 0.05)), len(ref), len(est)
}

// heardAs finds, for each sounded note of the truth, the note that was heard as the
// same note of the score nearest in time, within a second; -1 for none.
func heardAs(h *listen.Hearing, truth *lt.Truth) []int {
	out := make([]int, len(truth.Sounded))
	from := 0
	for i, s := range truth.Sounded {
		out[i] = -1
		for k := from; k < len(h.Notes) && h.Notes[k].Start < s.Onset+1; k++ {
			n := &h.Notes[k]
			if h.Line.Events[n.Event].Notes[0] == s.Note && n.Start > s.Onset-1 && (out[i] < 0 || math.Abs(n.Start-s.Onset) < math.Abs(h.Notes[out[i]].Start-s.Onset)) {
				out[i] = k
			}
		}
		if out[i] >= 0 {
			from = out[i] + 1
		}
	}
	return out
}

func (t *tally) notes(h *listen.Hearing, truth *lt.Truth) {
	shift := 1200 * math.Log2(h.Alignment.A4/truth.A4)
	for i, k := range heardAs(h, truth) {
		s := &truth.Sounded[i]
		if k < 0 {
			t.onset = append(t.onset, 1)
			continue
		}
		t.onset = append(t.onset, math.Abs(h.Notes[k].Start-s.Onset))
		if s.Wrong || len(h.Notes[k].Tones) != len(s.MIDI) {
			continue
		}
		for v, tone := range h.Notes[k].Tones {
			for c, key := range s.MIDI { // both from the lowest, but a chord may be written otherwise
				if key == tone.Heard && !math.IsNaN(tone.Cents) && (len(s.MIDI) > 1 || v == c) {
					t.cents = append(t.cents, math.Abs(tone.Cents+shift-s.Cents[c]))
				}
			}
		}
	}
}

func (t *tally) bars(h *listen.Hearing, truth *lt.Truth) {
	for _, b := range truth.Bars {
		if !b.Whole {
			continue
		}
		for _, g := range h.Bars {
			if g.Whole && h.Line.Visits[g.Visit].Measure == b.Measure && math.Abs(g.Start-b.Start) < 0.3 {
				t.tempo = append(t.tempo, math.Abs((b.End-b.Start)/(g.End-g.Start)-1))
				break
			}
		}
	}
}

func (t *tally) pairs(h *listen.Hearing, truth *lt.Truth) {
	type sum struct {
		played, heard float64
		n             int
	}
	by := map[string]*sum{}
	used := map[int]bool{}
	for _, q := range truth.Pairs {
		for i, g := range h.Pairs {
			e := &h.Line.Events[h.Notes[g.Note].Event]
			if used[i] || e.Notes[0] != q.Long || h.Line.Visits[e.Visit].Measure != h.Line.Part.Notes[q.Long].Measure || !sameVisit(h, g.Note, q, truth) {
				continue
			}
			used[i] = true
			t.dot = append(t.dot, math.Abs(g.Fraction-q.Fraction))
			if by[g.Figure] == nil {
				by[g.Figure] = &sum{}
			}
			s := by[g.Figure]
			s.played, s.heard, s.n = s.played+q.Fraction, s.heard+g.Fraction, s.n+1
			break
		}
	}
	for _, s := range by {
		if s.n >= 4 {
			t.dotMean = append(t.dotMean, math.Abs(s.played-s.heard)/float64(s.n))
		}
	}
}

// sameVisit: the pair of the truth sounded within 0.3 s of the note.
func sameVisit(h *listen.Hearing, note int, q lt.Pair, truth *lt.Truth) bool {
	for _, s := range truth.Sounded {
		if s.Note == q.Long && s.Visit == q.Visit && math.Abs(s.Onset-h.Notes[note].Start) < 0.3 {
			return true
		}
	}
	return false
}

func (t *tally) slips(h *listen.Hearing, truth *lt.Truth) {
	type slip struct {
		note score.NoteID
		at   float64
	}
	var real, said []slip
	for _, s := range truth.Sounded {
		if s.Wrong {
			real = append(real, slip{s.Note, s.Onset})
		}
	}
	for _, m := range truth.Missed {
		real = append(real, slip{m.Note, m.At})
	}
	for _, s := range h.Slips() {
		said = append(said, slip{h.Line.Events[s.Event].Notes[0], h.Notes[s.Note].Start})
	}
	t.slipTrue, t.slipSaid = len(real), len(said)
	for _, r := range real {
		for i, s := range said {
			if s.note == r.note && math.Abs(s.at-r.at) < 1 {
				t.slipHit++
				said[i].note = score.NoNote
				break
			}
		}
	}
}

func (t *tally) restarts(h *listen.Hearing, truth *lt.Truth) {
	t.backTrue = len(truth.Restarts)
	for _, n := range h.Notes {
		if !n.Resumed {
			continue
		}
		t.backSaid++
		for _, r := range truth.Restarts {
			if r.Note == h.Line.Events[n.Event].Notes[0] && math.Abs(r.Resumed-n.Start) < 0.1 {
				t.back++
				break
			}
		}
	}
}

func decodeListen(name string, data []byte) (*score.Score, error) {
	src, err := openListen(name, data)
	if err != nil {
		return nil, err
	}
	sc, _, err := musicxml.Decode(src)
	return sc, err
}
