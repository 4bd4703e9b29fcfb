package harmony

import (
	"math"

	"pochette/internal/score"
)

// Profiles of Temperley after the corpus of Kostka and Payne (Temperley, Music
// and Probability, 2007, ch. 6), from the tonic by semitones.
var (
	profileMajor = [12]float64{.748, .060, .488, .082, .670, .460, .096, .715, .104, .366, .057, .400}
	profileMinor = [12]float64{.712, .084, .474, .618, .049, .460, .105, .747, .404, .067, .133, .330}
)

// Shares of the other signs of the home key, beside a correlation of at most 1:
// a tonal piece ends on its tonic and stands in its signature (common practice;
// an old minor signature may lack a flat, so the signature weighs least).
const (
	homeLastBass  = 0.35
	homeFirstBass = 0.10
	homeSignature = 0.20
	homeSpelling  = 0.50
)

// HomeKey is the key a movement stands in: the best sum of profile fit, last and
// first bass, signature and spelling. runner is the second best and by how much
// it loses. ok is false for a part without pitched notes.
func HomeKey(p *score.Part) (k, runner Key, gap float64, ok bool) {
	var dur [tones]float64
	total := 0.0
	first, last := lowestAt(p, false), lowestAt(p, true)
	for i := range p.Notes {
		n := &p.Notes[i]
		if t := ToneOf(n.Sounding); !n.Rest && !n.Unpitched && n.Dur > 0 && t.known() {
			dur[t-loTone] += float64(n.Dur)
			total += float64(n.Dur)
		}
	}
	if total == 0 || len(p.Measures) == 0 {
		return Key{}, Key{}, 0, false
	}
	best, second := math.Inf(-1), math.Inf(-1)
	fifths := p.Measures[0].Key.Fifths
	for f := -9; f <= 9; f++ {
		for _, c := range []Key{{Tone(f), false}, {Tone(f + 3), true}} {
			v := fit(&dur, total, c) + homeSpelling*spelled(&dur, total, c)
			if c.Tonic == last {
				v += homeLastBass
			}
			if c.Tonic == first {
				v += homeFirstBass
			}
			if f == fifths {
				v += homeSignature
			}
			if v > best {
				k, runner, best, second = c, k, v, best
			} else if v > second {
				runner, second = c, v
			}
		}
	}
	return k, runner, best - second, true
}

// lowestAt is the lowest tone of the first, or last, moment that strikes a note.
func lowestAt(p *score.Part, last bool) Tone {
	at, low := score.Tick(-1), 1000
	tone := Tone(loTone - 1)
	for j := range p.Notes {
		i := j
		if last {
			i = len(p.Notes) - 1 - j
		}
		n := &p.Notes[i]
		if n.Rest || n.Unpitched || n.Grace || n.Cue {
			continue
		}
		if at >= 0 && n.Onset != at {
			if last && n.Onset < at || !last {
				break
			}
		}
		at = n.Onset
		if k := n.Sounding.MIDI(); k < low {
			low, tone = k, ToneOf(n.Sounding)
		}
	}
	return tone
}

// fit correlates durations with the profile of a key (Krumhansl 1990, ch. 4).
func fit(dur *[tones]float64, total float64, k Key) float64 {
	var pc [12]float64
	for i, d := range dur {
		pc[(loTone + Tone(i)).Class()] += d / total
	}
	prof := profileMajor
	if k.Minor {
		prof = profileMinor
	}
	tonic := k.Tonic.Class()
	var mx, my float64
	for i := range 12 {
		mx, my = mx+pc[i]/12, my+prof[i]/12
	}
	var xy, xx, yy float64
	for i := range 12 {
		x, y := pc[(i+tonic)%12]-mx, prof[i]-my
		xy, xx, yy = xy+x*y, xx+x*x, yy+y*y
	}
	if xx == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// spelled is the share of time on tones within a key's span of the line of
// fifths: it parts F♯ from G♭.
func spelled(dur *[tones]float64, total float64, k Key) float64 {
	in := 0.0
	for i, d := range dur {
		t := loTone + Tone(i) - Tone(k.Fifths())
		if t >= -6 && t <= 10 {
			in += d
		}
	}
	return in / total
}
