package timeline

import (
	"math"
	"testing"

	"pochette/internal/score"
)

func TestPace(t *testing.T) {
	sc := &score.Score{Quarter: 4}
	p := bars("x x x")
	for i := range p.Measures {
		p.Measures[i].Meter = meter(4, 4, 4)
	}
	if got := PaceOf(sc, p); got.Source != PaceAssumed || math.Abs(got.Seconds(0, 4)-60.0/assumedBeats) > 1e-9 {
		t.Errorf("no tempo: source %v, a quarter lasts %v s", got.Source, got.Seconds(0, 4))
	}
	p.Directions = []score.Direction{{Kind: "words", Text: "Allegro moderato"}}
	if got := PaceOf(sc, p); got.Source != PaceWord || got.Quarter(0) != 132 {
		t.Errorf("word: %v %v", got.Source, got.Quarter(0))
	}
	p.Directions = append(p.Directions, score.Direction{Kind: "metronome", Tempo: 60, At: 0}, score.Direction{Kind: "metronome", Tempo: 120, At: 8})
	got := PaceOf(sc, p)
	// 2 quarters at 60 (2 s) and 2 at 120 (1 s)
	if s := got.Seconds(0, 16); got.Source != PacePrinted || math.Abs(s-3) > 1e-9 {
		t.Errorf("two tempi: %v s, source %v", s, got.Source)
	}
	if s := got.Seconds(16, 0); math.Abs(s+3) > 1e-9 {
		t.Errorf("backwards: %v", s)
	}
	for i := range p.Measures {
		p.Measures[i].Meter = meter(6, 8, 4)
	}
	p.Directions = []score.Direction{{Kind: "words", Text: "Presto"}}
	if got := PaceOf(sc, p).Quarter(0); got != 176*1.5 {
		t.Errorf("presto in 6/8: %v quarters a minute", got)
	}
}

// Figures that no music has, and words inside a sentence, are no tempo marks.
func TestPaceSlips(t *testing.T) {
	sc := &score.Score{Quarter: 4}
	for _, d := range []score.Direction{{Kind: "metronome", Tempo: 0.01}, {Kind: "sound", Tempo: 1e7}, {Kind: "sound", Tempo: -60},
		{Kind: "words", Text: "The player is asked to hold back wherever the dance goes fast, and to leave the last bar slow."}} {
		p := &score.Part{Directions: []score.Direction{d}}
		sc.Parts = []*score.Part{p}
		if got := PaceOf(sc, p); got.Source != PaceAssumed || got.Quarter(0) != assumedBeats {
			t.Errorf("%+v: source %v, %v quarters a minute", d, got.Source, got.Quarter(0))
		}
	}
}

// A guessed pace is kept down by the shortest common notes of any part, not by a few
// ornaments; a printed one stands.
func TestPaceHeld(t *testing.T) {
	part := func(thirtySeconds, quarters int) *score.Part {
		p := bars("x")
		p.Measures[0].Meter = meter(4, 4, 8)
		for range thirtySeconds {
			p.Notes = append(p.Notes, score.Note{Dur: 1, TieFrom: score.NoNote, TieTo: score.NoNote})
		}
		for range quarters {
			p.Notes = append(p.Notes, score.Note{Dur: 8, TieFrom: score.NoNote, TieTo: score.NoNote})
		}
		return p
	}
	sc := &score.Score{Quarter: 8}
	for _, c := range []struct {
		short, long int
		quarter     float64
	}{{0, 40, assumedBeats}, {4, 40, assumedBeats}, {40, 40, 90}, {8, 1000, assumedBeats}} {
		p := part(c.short, c.long)
		if got := PaceOf(sc, p); math.Abs(got.Quarter(0)-c.quarter) > 1e-9 || (got.Held.Note == 1) != (c.quarter == 90) {
			t.Errorf("%d thirty-seconds, %d quarters: %v quarters a minute, %+v", c.short, c.long, got.Quarter(0), got.Held)
		}
	}
	slow := part(0, 40)
	sc.Parts = []*score.Part{slow, part(40, 40)}
	if got := PaceOf(sc, slow).Quarter(0); got != 90 {
		t.Errorf("beside a quick part: %v", got)
	}
	slow.Directions = []score.Direction{{Kind: "metronome", Tempo: 120}}
	if got := PaceOf(sc, slow).Quarter(0); got != 120 {
		t.Errorf("printed: %v", got)
	}
}
