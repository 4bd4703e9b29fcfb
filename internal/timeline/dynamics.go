package timeline

import (
	"cmp"
	"slices"
	"sort"
	"strings"

	"pochette/internal/score"
)

// Stretch begins a stretch of a curve at a tick, at one value; it goes on a line to the
// next stretch, where it has the value To.
type Stretch struct {
	At       score.Tick
	From, To float64
}

// Curve is a value over the length of a part.
type Curve []Stretch

// At is the value at a tick, usual before the curve begins.
func (c Curve) At(t score.Tick, usual float64) float64 {
	i := sort.Search(len(c), func(i int) bool { return c[i].At > t }) - 1
	if i < 0 {
		return usual
	}
	s := c[i]
	if s.From == s.To || i+1 >= len(c) || c[i+1].At <= s.At {
		return s.From
	}
	return s.From + (s.To-s.From)*float64(t-s.At)/float64(c[i+1].At-s.At)
}

// Unmarked is what a part without dynamics is taken to be, in steps of the printed
// scale: mf (common practice, no source).
const Unmarked = 3

// dynamicSigns are the signs that hold until the next one, in steps of the printed
// scale, pp being 0; those that strike loud and fall back go on at this step. That the
// steps are equal is our choice.
var dynamicSigns = map[string]float64{
	"pppp": -2, "ppp": -1, "pp": 0, "p": 1, "mp": 2, "mf": 3, "f": 4, "ff": 5, "fff": 6, "ffff": 7,
	"fp": 1, "sfp": 1, "sfpp": 0, "pf": 4,
}

// sign is one mark of loudness in order of place.
type sign struct {
	at   score.Tick
	step float64
	way  float64    // of a hairpin or word +1, -1; 0: a dynamic
	end  score.Tick // of a hairpin, 0 for one that has no stop and leads nowhere; -1: of a word, which leads to the next sign
}

// Dynamics makes the loudness of a part from its dynamics and hairpins, in steps of the
// printed scale (pp 0, p 1, mp 2, mf 3, f 4, ff 5; see Unmarked). A hairpin leads to the
// sign at its end (or within a beat after it) where that lies in its direction, else one
// step up or down; the words cresc. and dim. lead to the next sign.
func Dynamics(p *score.Part, beat score.Tick) Curve {
	signs := dynamicMarks(p)
	var out Curve
	now := float64(Unmarked)
	for i, s := range signs {
		if s.way == 0 {
			now = s.step
			out = append(out, Stretch{s.at, now, now})
			continue
		}
		end, target := s.goal(signs[i+1:], now, beat)
		if end <= s.at {
			continue
		}
		out = append(out, Stretch{s.at, now, target}, Stretch{end, target, target})
		now = target
	}
	slices.SortStableFunc(out, func(a, b Stretch) int { return cmp.Compare(a.At, b.At) })
	return out
}

// goal is where a hairpin or word ends and how loud it is there; a sign inside a hairpin
// cuts it short.
func (s *sign) goal(later []sign, now float64, beat score.Tick) (score.Tick, float64) {
	step := now + s.way
	for _, n := range later {
		switch {
		case n.way != 0 && s.end < 0:
			return n.at, step // a word up to the next hairpin
		case n.way != 0:
		case s.end >= 0 && n.at > s.end+beat:
			return s.end, step
		case (n.step-now)*s.way > 0:
			return n.at, n.step
		case s.end >= 0:
			return min(s.end, n.at), step // "p < p": it grows before falling back
		default:
			return n.at, step
		}
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
				out = append(out, sign{at: d.At, step: l})
			}
		case "wedge":
			way := map[string]float64{"crescendo": 1, "diminuendo": -1}[d.Text]
			if k, ok := open[d.Number]; ok && d.Text == "stop" {
				out[k].end = d.At
				delete(open, d.Number)
			} else if way != 0 {
				open[d.Number] = len(out)
				out = append(out, sign{at: d.At, way: way})
			}
		case "words":
			if way := growing(d.Text); way != 0 {
				out = append(out, sign{at: d.At, way: way, end: -1})
			}
		}
	}
	for i := range p.Notes {
		if mk, ok := p.Notes[i].Get(score.NoteDynamics); ok {
			if l, ok := dynamicSigns[mk.Text]; ok {
				out = append(out, sign{at: p.Notes[i].Onset, step: l})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b sign) int { return cmp.Compare(a.at, b.at) })
	return out
}

// growing reads the words of swelling (+1) and fading (-1).
func growing(text string) float64 {
	t := strings.ToLower(text)
	switch {
	case strings.Contains(t, "decresc"), strings.HasPrefix(t, "dim"), strings.HasPrefix(t, "decr"), strings.Contains(t, "morendo"):
		return -1
	case strings.Contains(t, "cresc"):
		return 1
	}
	return 0
}
