package form

import (
	"fmt"
	"sort"

	"pochette/internal/score"
)

// Tag is what follows the last arrival of a section, a bar or more.
type Tag struct {
	From, To score.Tick // from the arrival to the end of the section
	Bars     int        // after the bar of the arrival
	Section  int
	Repeats  string // kind of the cadence that the tag says again, where harmony told one
	Words    Words
}

// tags finds what is added after the close of a section: the music goes on for a
// full bar or more after the last arrival, or the last phrase is a cadence said
// again within three bars of an equal one.
func (g *grid) tags(ss []Section, ps []Phrase) []Tag {
	var out []Tag
	for i := range ss {
		if n := len(ss[i].Phrases); n > 0 {
			if t, ok := g.tag(&ss[i], &ps[ss[i].Phrases[n-1]]); ok {
				t.Section = i
				out = append(out, t)
			}
		}
	}
	return out
}

// againBars is how soon after a cadence an equal one confirms it.
const againBars = 3

func (g *grid) tag(s *Section, last *Phrase) (Tag, bool) {
	t := Tag{From: last.Arrival, To: s.To}
	if c, ok := g.confirmed(s, last); ok {
		t.From, t.Repeats = c.At, c.Kind
	}
	end := g.from(s.To) - 1
	if end < 0 || g.onsets[end].at <= t.From {
		return t, false
	}
	t.Bars = int(g.barPlace(g.onsets[end].at)) - int(g.barPlace(t.From))
	if t.Bars < 1 {
		return t, false
	}
	at, name := g.loc(t.From), s.Name
	t.Words.Student = fmt.Sprintf("Section %s has already arrived at %v; %s more follow it.", name, at, plural(t.Bars, "bar"))
	if t.Bars == 1 {
		t.Words.Student = fmt.Sprintf("Section %s has already arrived at %v; 1 bar more follows it.", name, at)
	}
	t.Words.Player = t.Words.Student
	if t.Repeats != "" {
		t.Words.Player = fmt.Sprintf("Section %s makes its cadence at %v and says it again in the %s after: a tag.", name, at, barsAfter(t.Bars))
	}
	t.Words.Scholar = t.Words.Player
	if t.Repeats != "" {
		t.Words.Scholar = fmt.Sprintf("Section %s makes its %s cadence at %v and confirms it in the %s after: a codetta.", name, t.Repeats, at, barsAfter(t.Bars))
	}
	return t, true
}

func barsAfter(n int) string {
	if n == 1 {
		return "bar"
	}
	return plural(n, "bar")
}

// confirmed is the first cadence of the section, of the kind and on the bass of that
// which ends the phrase, that the phrase says again shortly after.
func (g *grid) confirmed(s *Section, p *Phrase) (Cadence, bool) {
	if !authentic(p.Cadence) {
		return Cadence{}, false
	}
	end := g.barPlace(p.Arrival)
	i := g.from(p.Arrival)
	cs := g.in.Cadences
	var out Cadence
	found := false
	for k := sort.Search(len(cs), func(k int) bool { return cs[k].At >= p.Arrival }) - 1; k >= 0 && cs[k].At >= s.From && end-g.barPlace(cs[k].At) <= againBars; k-- {
		if j := g.from(cs[k].At); cs[k].Kind == p.Cadence && j < len(g.onsets) && i < len(g.onsets) && class(g.onsets[j].low-g.onsets[i].low) == 0 {
			out, found = cs[k], true
		}
	}
	return out, found
}
