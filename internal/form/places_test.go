package form

import (
	"strings"
	"testing"

	"pochette/internal/score"
)

// A bar belongs to the phrase that has its downbeat: the phrases of a section add up to it.
func TestPhrasesAddUp(t *testing.T) {
	half := "C4:48 E4:24 F4:24 G4:96 A4:48 F4:48 D4:48 G4:24 r:24 "
	for _, in := range []Input{
		music(t, 4, 4, 0, half+half+"C4:96 r:48 G4:48 "+half+half+"E4:48 D4:48 C4:96 :| "+half+half+half+"C4:192"),
		music(t, 4, 4, 24, "G4:24 "+strings.Repeat("C4:72 D4:24 E4:48 F4:48 G4:144 G4:48 ", 6)+":| "+strings.Repeat("E4:24 F4:24 G4:48 E4:48 C4:48 B3:120 r:48 G4:24 ", 7)+"C4:192"),
	} {
		st := Analyze(in)
		for i := range st.Sections {
			sum := 0
			for _, k := range st.Sections[i].Phrases {
				sum += st.Phrases[k].Bars
			}
			if sum != st.Sections[i].Bars || sum == 0 {
				t.Errorf("section %s of %d bars, phrases of %d: %s", st.Sections[i].Name, st.Sections[i].Bars, sum, st.Sections[i].Words.Player)
			}
		}
	}
}

// Inside a bar a phrase begins after a rest or a longer note, or with the pickup of the
// section's head; not out of notes that run on.
func TestNoPhraseOutOfRunningNotes(t *testing.T) {
	g := newGrid(music(t, 4, 4, 0, strings.Repeat("C4:24 D4:24 E4:24 F4:24 G4:24 F4:24 E4:24 D4:24 ", 4)))
	down := g.p.Measures[1].Start
	if at := g.begins(0, 3*192, Phrase{}); at != down {
		t.Errorf("a phrase begins at %d, want the bar line %d", at, down)
	}
	if at := g.begins(0, 3*192, Phrase{Pickup: 48, From: -96}); at != down {
		t.Errorf("with a pickup of another rhythm a phrase begins at %d, want %d", at, down)
	}
	g = newGrid(music(t, 4, 4, 0, "C4:120 D4:24 E4:24 F4:24 "+strings.Repeat("G4:24 F4:24 E4:24 D4:24 ", 6)))
	if at := g.begins(0, 3*192, Phrase{From: -96, Pickup: 72}); at != 120 {
		t.Errorf("after a long note a phrase begins at %d, want 120", at)
	}
}

// Only pickups of the same notes are "so"; others are told by what is equal.
func TestPickupsCompared(t *testing.T) {
	in := music(t, 4, 4, 48, "G4:48 C4:96 D4:48 E4:48 C4:144 G4:48 D4:96 E4:48 F4:48 D4:144 A4:24 B4:24 C4:192")
	g := newGrid(in)
	ps := []Phrase{{From: 0, Pickup: 48}, {From: 48 + 336, Pickup: 48}}
	if got := g.othersBegin(ps, 2); got != " Both phrases begin so." {
		t.Errorf("%q", got)
	}
	last := score.Tick(48 + 3*192 + 144)
	ps[1].From = last
	if got := g.othersBegin(ps, 2); got != " Both phrases begin with a pickup of the same length." {
		t.Errorf("%q", got)
	}
}
