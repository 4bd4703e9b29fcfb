package form

import (
	"fmt"
	"sort"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Edge says what ends a section.
type Edge string

// What ends a section.
const (
	EdgeRepeat  Edge = "repeat sign"
	EdgeDouble  Edge = "double bar"
	EdgeFinal   Edge = "final bar line"
	EdgeCadence Edge = "cadence"
	EdgeEnd     Edge = "end of the music"
)

// Section is a stretch of the movement between signs, or, inside one, between
// strong cadences.
type Section struct {
	Name        string // A, B, …; the same letter with a mark where the music comes back
	First, Last int    // measures
	From, To    score.Tick
	Bars        int // counted
	Times       int // how often the repeat signs have it played, 1 without
	By          Edge
	Phrases     []int // indices of the phrases that begin in it
	Cadence     string
	Words       Words

	usual *float64 // see grid.usual
}

// sections cuts the part at repeat signs, double and final bar lines. A repeat
// sign or double bar inside a bar leaves the pickup with what it leads to.
func (g *grid) sections() []Section {
	var out []Section
	first := 0
	movement := map[int]bool{}
	for _, m := range timeline.Movements(g.p) {
		movement[m] = true
	}
	ms := g.p.Measures
	for i := range ms {
		by := g.edge(i, movement)
		if by == "" {
			continue
		}
		s := Section{First: first, Last: i, From: ms[first].Start, To: ms[i].Start + ms[i].Len, Times: max(1, ms[i].RepeatTimes), By: by}
		out = append(out, s)
		first = i + 1
	}
	return g.joinEndings(out)
}

// edge says whether a section ends after measure i, and by what.
func (g *grid) edge(i int, movement map[int]bool) Edge {
	ms := g.p.Measures
	switch {
	case i == len(ms)-1 && ms[i].RepeatTimes > 1:
		return EdgeRepeat
	case i == len(ms)-1 && strings.HasSuffix(ms[i].RightBar, "heavy"):
		return EdgeFinal
	case i == len(ms)-1:
		return EdgeEnd
	case ms[i].RepeatTimes > 1, ms[i+1].RepeatStart:
		return EdgeRepeat
	case movement[i+1], ms[i].RightBar == "light-heavy":
		return EdgeFinal
	case ms[i].RightBar == "light-light", ms[i+1].LeftBar == "light-light":
		return EdgeDouble
	}
	return ""
}

// joinEndings puts what stands under a second ending with the section whose end
// it is.
func (g *grid) joinEndings(ss []Section) []Section {
	var out []Section
	for _, s := range ss {
		if n := len(out); n > 0 && len(g.p.Measures[s.First].Endings) > 0 && len(g.p.Measures[out[n-1].Last].Endings) > 0 && out[n-1].Times > 1 {
			last := s.Last
			end := s.First
			for end < s.Last && len(g.p.Measures[end+1].Endings) > 0 {
				end++
			}
			out[n-1].Last, out[n-1].To = end, g.p.Measures[end].Start+g.p.Measures[end].Len
			if end == last {
				if s.By != EdgeRepeat {
					out[n-1].By = s.By
				}
				continue
			}
			s.First, s.From = end+1, out[n-1].To
		}
		out = append(out, s)
	}
	return out
}

// divideFrom is the least strength of a cadence that divides a section without
// signs, and divideBars the fewest bars that either side must have: a section of
// less is a phrase. Common practice, no source.
const (
	divideFrom = 0.75
	divideBars = 8
)

// divide cuts long sections after phrases that end with a strong cadence. The
// parts of a repeated section keep its number of times.
func (g *grid) divide(ss []Section, ps []Phrase) []Section {
	var out []Section
	for _, s := range ss {
		rest := s
		for _, p := range ps[phrasesFrom(ps, s.From):phrasesFrom(ps, s.To)] {
			if p.To >= s.To || p.Strength < divideFrom || p.Overlaps {
				continue
			}
			if g.barPlace(p.To)-g.barPlace(rest.From) < divideBars || g.barPlace(s.To-1)-g.barPlace(p.To) < divideBars {
				continue
			}
			head := rest
			head.To, head.By, head.Cadence = p.To, EdgeCadence, p.Cadence
			head.Last = g.measureAt(p.To - 1)
			out = append(out, head)
			rest.From, rest.First = p.To, g.measureAt(p.To)
		}
		out = append(out, rest)
	}
	return out
}

// phrasesFrom is the first phrase that begins at or after a tick.
func phrasesFrom(ps []Phrase, at score.Tick) int {
	return sort.Search(len(ps), func(i int) bool { return ps[i].From >= at })
}

// describe names and words sections and phrases.
func (g *grid) describe(s *Study) {
	for i := range s.Sections {
		sec := &s.Sections[i]
		for j := phrasesFrom(s.Phrases, sec.From); j < phrasesFrom(s.Phrases, sec.To); j++ {
			s.Phrases[j].Section = i
			sec.Phrases = append(sec.Phrases, j)
		}
		sec.Bars = g.countedBars(sec.From, sec.To)
	}
	g.nameSections(s.Sections)
	for i := range s.Sections {
		s.Sections[i].Words = g.sectionWords(s, &s.Sections[i])
	}
	for i := range s.Phrases {
		s.Phrases[i].Words = g.phraseWords(&s.Phrases[i])
	}
}

// countedBars counts the bars whose downbeat lies in a stretch.
func (g *grid) countedBars(from, to score.Tick) int {
	n := 0
	for m := g.measureAt(from); m < len(g.p.Measures) && g.p.Measures[m].Start < to; m++ {
		if g.p.Measures[m].Start >= from && g.counts(m) {
			n++
		}
	}
	return n
}

// sameSection is the share of moments, by place, pitch and length, from which a
// section counts as an earlier one come back.
const sameSection = 0.6

// comparedSections is with how many sections before it one is compared: more would
// make a part of very many repeat signs slow.
const comparedSections = 64

func (g *grid) nameSections(ss []Section) {
	letters := 0
	moments := make([]map[score.Tick][2]int, len(ss))
	for i := range ss {
		moments[i] = g.moments(ss[i].From, ss[i].To)
		ss[i].Name = ""
		for j := max(0, i-comparedSections); j < i; j++ {
			if share := alike(moments[j], moments[i]); share >= sameSection {
				ss[i].Name = strings.TrimRight(ss[j].Name, "′")
				if share < 1 || ss[i].Bars != ss[j].Bars {
					ss[i].Name += "′"
				}
				break
			}
		}
		if ss[i].Name == "" {
			ss[i].Name = letter(letters)
			letters++
		}
	}
}

func letter(n int) string {
	if n < 26 {
		return string(rune('A' + n))
	}
	return fmt.Sprintf("%c%d", 'A'+n%26, n/26+1)
}

// alike is the share of the moments of the longer of two stretches that the other
// has at the same distance from its first downbeat with the same pitches.
func alike(a, b map[score.Tick][2]int) float64 {
	most := float64(max(len(a), len(b)))
	if float64(min(len(a), len(b))) < sameSection*most || most == 0 {
		return 0
	}
	same := 0
	for at, keys := range a {
		if other, ok := b[at]; ok && other == keys {
			same++
		}
	}
	return float64(same) / most
}

// moments are the onsets of a stretch, from its first downbeat, with their lowest
// and highest pitches.
func (g *grid) moments(from, to score.Tick) map[score.Tick][2]int {
	out := map[score.Tick][2]int{}
	zero := from
	if g.place(from) > 0 {
		zero = g.nextDownbeat(from)
	}
	for _, o := range g.onsets[g.from(from):g.from(to)] {
		out[o.at-zero] = [2]int{o.low, o.top}
	}
	return out
}

func (g *grid) sectionWords(s *Study, sec *Section) Words {
	first, last := sec.First, sec.Last
	for first < last && !g.counts(first) {
		first++
	}
	for last > first && !g.counts(last) {
		last--
	}
	span := "bar " + g.number(first)
	if last > first {
		span = fmt.Sprintf("bars %s to %s", g.number(first), g.number(last))
	}
	base := fmt.Sprintf("Section %s, %s: %s", sec.Name, span, plural(sec.Bars, "bar"))
	if sec.Times == 2 {
		base += ", played twice"
	} else if sec.Times > 2 {
		base += fmt.Sprintf(", played %d times", sec.Times)
	}
	w := Words{Student: base + "."}
	lens := g.lengths(s.Phrases, sec.Phrases)
	phrases := ""
	if lens != "" {
		phrases = fmt.Sprintf(" %s of %s.", capital(plural(len(sec.Phrases), "phrase")), lens)
	}
	w.Player = base + "." + phrases
	end := fmt.Sprintf(" It ends at the %s.", sec.By)
	if sec.By == EdgeCadence {
		end = fmt.Sprintf(" It is closed off by a cadence (%s), not by a sign.", sec.Cadence)
	} else if sec.By == EdgeEnd {
		end = ""
	}
	w.Scholar = base + "." + phrases + end
	return w
}

// lengths writes phrase lengths as "4 + 4 + 8 bars".
func (g *grid) lengths(ps []Phrase, of []int) string {
	var parts []string
	for _, j := range of {
		parts = append(parts, fmt.Sprint(ps[j].Bars))
	}
	if len(parts) == 0 {
		return ""
	}
	if len(parts) == 1 {
		return plural(ps[of[0]].Bars, "bar")
	}
	return strings.Join(parts, " + ") + " bars"
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
