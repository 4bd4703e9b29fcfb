package listen

import (
	"errors"
	"math"

	"pochette/internal/audio"
)

// Options of an alignment.
type Options struct {
	A4 float64 // Hz, 0: estimated
	// Progress is told how much of the work is done, and ends it by an error.
	Progress func(done, total int) error
}

// Played is one event as it was heard, in the order of the take.
type Played struct {
	Event      int     // index into Line.Events
	Start, End float64 // seconds
	Wrong      bool    // what sounds is another pitch, see Note.Key
	Resumed    bool    // play broke off before it and went on here
	Missing    int     // events passed over right before it
	SkippedTo  bool    // a repeat before it was not taken
	First      bool    // nothing of the line stands before it
}

// Alignment is a take beside a line.
type Alignment struct {
	A4      float64 // Hz
	A4Known bool    // estimated from enough sound, or given
	Played  []Played
	// Fit is how well the sound agrees,, see judge: near 0 for other music, near 1 for this; set by Hear.
	Fit float64
	// Sounding is the share of the take that is no silence, 0 … 1.
	Sounding float64
	// Pitched is the share of the sounding frames that have a pitch.
	Pitched float64
	em      *emission
	of      []int
}

// ErrSilent says that nothing sounds in a take.
var ErrSilent = errors.New("nothing sounds in the take")

// Align puts a take beside a line.
func Align(f *audio.Features, l *Line, o Options) (*Alignment, error) {
	if o.Progress == nil {
		o.Progress = func(int, int) error { return nil }
	}
	al := &Alignment{A4: o.A4, A4Known: o.A4 > 0}
	if o.A4 <= 0 {
		al.A4, al.A4Known = EstimateA4(f, l)
	}
	if f.Frames() < 5 {
		return nil, ErrSilent
	}
	a := newAligner(f, l, al.A4)
	al.em, al.of = a.em, a.of
	if al.census(f); al.Sounding == 0 {
		return nil, ErrSilent
	}
	p, err := a.run(o.Progress)
	if err != nil {
		return nil, err
	}
	al.read(p, l)
	if len(al.Played) > 0 {
		al.settle(f, l)
	}
	return al, nil
}

// census counts what sounds and what has a pitch.
func (al *Alignment) census(f *audio.Features) {
	sounding, pitched := 0, 0
	for t := range f.Frames() {
		if f.LevelAt(t) >= al.em.silence {
			sounding++
			if f.Hz[t] > 0 && f.Clarity[t] > 0.7 {
				pitched++
			}
		}
	}
	al.Sounding = float64(sounding) / float64(max(1, f.Frames()))
	al.Pitched = float64(pitched) / float64(max(1, sounding))
}

// read turns a path into what was played.
func (al *Alignment) read(p *path, l *Line) {
	last := -1 // event before
	for t := 0; t < len(p.states); {
		s := int(p.states[t])
		u := t + 1
		for u < len(p.states) && int(p.states[u]) == s && !p.jumped[u] {
			u++
		}
		if s > 0 && (s-1)%kinds != stGap {
			e := (s - 1) / kinds
			n := Played{Event: e, Start: audio.CoarseTime(t), End: audio.CoarseTime(u), Wrong: (s-1)%kinds == stWrong, Resumed: p.jumped[t] && last >= 0, First: last < 0}
			switch {
			case n.Resumed || last < 0:
			case e == last+2:
				n.Missing = 1
			case e > last+1:
				n.SkippedTo = true
			}
			al.Played = append(al.Played, n)
			last = e
		}
		t = u
	}
}

// Request says what to hear and against what.
type Request struct {
	Options
	Tuning Tuning
	Chords []Chord // for Just, in order of written time
	Open   []int   // MIDI keys of the open strings
	Plan   *Plan   // nil: as printed
	// GivenA4 measures pitches from Options.A4; else from the A that the take is tuned
	// to, as its notes lie on the whole.
	GivenA4 bool
}

// Hear aligns a take with a line and measures all there is.
func Hear(f *audio.Features, l *Line, r Request) (*Hearing, error) {
	al, err := Align(f, l, r.Options)
	if err != nil {
		return nil, err
	}
	h := &Hearing{Line: l, Alignment: al, Plan: r.Plan, Tuning: r.Tuning, Open: r.Open}
	h.Notes = al.Measure(f, l)
	h.Pitches = Intonation(l, h.Notes, r.Tuning, r.Chords, r.Open)
	if !r.GivenA4 {
		h.recenter()
	}
	h.Bars, h.Placed = Bars(l, h.Notes, r.Plan)
	h.Pairs = Pairs(l, h.Notes, r.Plan)
	h.Figures = Figures(h.Pairs)
	h.Scratches = Scratches(f, h.Notes)
	h.Touches = al.Touches(f, l, h.Notes, r.Open)
	al.judge(f, l, h.Notes)
	h.summarize()
	return h, nil
}

// recenter moves the take's A4 to where its notes lie on the whole against the tuning,
// and measures them from there.
func (h *Hearing) recenter() {
	var off []float64
	for _, p := range h.Pitches {
		off = append(off, p.Off)
	}
	if len(off) < 8 {
		return
	}
	shift := median(off)
	h.Alignment.A4 *= math.Exp2(shift / 1200)
	for i := range h.Pitches {
		h.Pitches[i].Off -= shift
	}
	for i := range h.Notes {
		for k := range h.Notes[i].Tones {
			h.Notes[i].Tones[k].Cents -= shift
		}
	}
}

// judge sets Fit: the share of the sounding frames at which the note that is said to
// sound is nearly as good an explanation as the best of all notes, times the share of
// the events that went without a slip or a restart: other music of the same scale can
// be made to sound right only by passing over much and starting again often.
func (al *Alignment) judge(f *audio.Features, l *Line, notes []Note) {
	good, all := 0, 0
	for t := range f.Frames() {
		if f.LevelAt(t) >= al.em.silence {
			all++
		}
	}
	for _, p := range al.Played {
		tm := &al.em.templates[al.of[p.Event]]
		for t := int(p.Start*100) + 2; t < min(f.Frames(), int(p.End*100)-1); t++ {
			if f.LevelAt(t) >= al.em.silence && al.em.single(t, tm) < float64(al.em.wrong[t])-costWrong+0.25 {
				good++
			}
		}
	}
	events, odd := len(notes), 0
	for _, n := range notes {
		events += n.Missing
		odd += n.Missing
		if n.Wrong {
			odd++
		}
		if n.Resumed {
			odd++
		}
	}
	al.Fit = float64(good) / float64(max(1, all)) * (1 - float64(odd)/float64(max(1, events)))
}

// LeastFit is the Fit under which a take is more likely other music: the recorded movement
// of the shared data has 0.80 with its own score and at most 0.22 with the three other
// movements beside it, which share its key; made-up takes of other pieces reach 0.37.
const LeastFit = 0.45
