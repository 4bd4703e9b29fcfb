package bowing

import (
	"cmp"
	"slices"
	"sort"
	"strings"

	"pochette/internal/score"
)

// Loudness is a place on the printed scale of dynamics, 0 for pp, one step for
// each sign: p 1, mp 2, mf 3, f 4, ff 5. Between signs a hairpin gives fractions.
type Loudness float64

// The signs that hold until the next one. Their order is the printed scale;
// that the steps are equal is our choice.
var dynamicSigns = map[string]Loudness{
	"pppp": -2, "ppp": -1, "pp": 0, "p": 1, "mp": 2, "mf": 3, "f": 4, "ff": 5, "fff": 6, "ffff": 7,
	"fp": 1, "sfp": 1, "sfpp": 0, "pf": 4,
}

// unmarked is what a part without dynamics is taken to be: mf (common practice,
// no source).
const unmarked = dynamicMF

const dynamicMF Loudness = 3

var dynamicNames = [...]string{"ppp or less", "pp", "p", "mp", "mf", "f", "ff", "fff or more"}

// String names the nearest sign.
func (l Loudness) String() string {
	i := int(l + 1.5)
	if l < -1.5 {
		i = 0
	}
	return dynamicNames[min(max(i, 0), len(dynamicNames)-1)]
}

// knot begins a stretch of loudness at a tick, at one level; the stretch ends
// at the next knot, at the level to.
type knot struct {
	at       score.Tick
	from, to Loudness
}

// dynamics is the loudness of a part over its length.
type dynamics []knot

// sign is one mark of loudness in order of place.
type sign struct {
	at    score.Tick
	level Loudness
	wedge int        // +1, -1; 0: a dynamic
	end   score.Tick // of a hairpin
}

// readDynamics makes the loudness of a part from its dynamics and hairpins. A
// hairpin leads to the sign at its end (or within a beat after it), and where
// none stands there one step up or down; the words cresc. and dim. lead to the
// next sign.
func readDynamics(p *score.Part, beat score.Tick) dynamics {
	signs := dynamicMarks(p)
	out := dynamics{{0, unmarked, unmarked}}
	now := unmarked
	for i, s := range signs {
		if s.wedge == 0 {
			now = s.level
			out = append(out, knot{s.at, now, now})
			continue
		}
		end, target := hairpinEnd(signs[i+1:], s, now, beat)
		if end <= s.at {
			continue
		}
		out = append(out, knot{s.at, now, target}, knot{end, target, target})
		now = target
	}
	slices.SortStableFunc(out, func(a, b knot) int { return cmp.Compare(a.at, b.at) })
	return out
}

// hairpinEnd is where a hairpin ends and how loud it is there; a sign inside it
// cuts it short.
func hairpinEnd(later []sign, s sign, now Loudness, beat score.Tick) (score.Tick, Loudness) {
	step := now + Loudness(s.wedge)
	for _, n := range later {
		if n.wedge != 0 {
			if s.end < 0 {
				return n.at, step // a word up to the next hairpin
			}
			continue
		}
		if s.end >= 0 && n.at > s.end+beat {
			break
		}
		if (n.level-now)*Loudness(s.wedge) > 0 {
			return n.at, n.level
		}
		if s.end >= 0 {
			return min(s.end, n.at), step // "p < p": it grows before falling back
		}
		return n.at, step
	}
	return s.end, step
}

func dynamicMarks(p *score.Part) []sign {
	var out []sign
	open := map[int]int{}
	for _, d := range p.Directions {
		switch d.Kind {
		case "dynamics":
			if l, ok := dynamicSigns[d.Text]; ok {
				out = append(out, sign{at: d.At, level: l})
			}
		case "wedge":
			way := map[string]int{"crescendo": 1, "diminuendo": -1}[d.Text]
			if k, ok := open[d.Number]; ok && way == 0 && d.Text == "stop" {
				out[k].end = d.At
				delete(open, d.Number)
			} else if way != 0 {
				open[d.Number] = len(out)
				out = append(out, sign{at: d.At, wedge: way})
			}
		case "words":
			if way := growing(d.Text); way != 0 {
				out = append(out, sign{at: d.At, wedge: way, end: -1})
			}
		}
	}
	for i := range p.Notes {
		if mk, ok := p.Notes[i].Get(score.NoteDynamics); ok {
			if l, ok := dynamicSigns[mk.Text]; ok {
				out = append(out, sign{at: p.Notes[i].Onset, level: l})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b sign) int { return cmp.Compare(a.at, b.at) })
	return out
}

// growing reads the words of swelling (+1) and fading (-1).
func growing(text string) int {
	t := strings.ToLower(text)
	switch {
	case strings.Contains(t, "decresc"), strings.HasPrefix(t, "dim"), strings.HasPrefix(t, "decr"), strings.Contains(t, "morendo"):
		return -1
	case strings.Contains(t, "cresc"):
		return 1
	}
	return 0
}

// at is the loudness at a tick.
func (d dynamics) at(t score.Tick) Loudness {
	i := sort.Search(len(d), func(i int) bool { return d[i].at > t }) - 1
	if i < 0 {
		return unmarked
	}
	k := d[i]
	if k.from == k.to || i+1 >= len(d) || d[i+1].at <= k.at {
		return k.from
	}
	return k.from + (k.to-k.from)*Loudness(t-k.at)/Loudness(d[i+1].at-k.at)
}
