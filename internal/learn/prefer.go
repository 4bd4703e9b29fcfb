package learn

import (
	"fmt"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

// preference is a printed judgement: of two fingerings of one passage the first is
// better.
type preference struct {
	better, worse []float64 // terms
}

// preferMargin is by how much the better one should be cheaper; preferWeight is the
// pull of a judgement that is not met, in notes.
const (
	preferMargin = 1
	preferWeight = 3
)

// pull adds the gradient of a judgement that the weights do not meet by the margin.
func (p *preference) pull(w, g []float64) {
	d := 0.0
	for k := range w {
		d += w[k] * (p.worse[k] - p.better[k])
	}
	if d >= preferMargin {
		return
	}
	for k := range w {
		g[k] += preferWeight * (p.better[k] - p.worse[k])
	}
}

// TreatisePassage is the passage of the violin treatise of 1756, chapter VIII §20,
// that is printed with four fingerings, and TreatiseFingerings are these, nos. 1-4
// (pages 156 and 157), as string numeral and finger. Source: the print, read from
// the digital edition ism-dme/lm-vs, examples 1756_156_2, 156_3, 156_4 and 157_1;
// where the print has no finger the one before settles the position, and strings
// follow from it.
const TreatisePassage = "F#5 G5 A5 B5 C#6 D6 E5 F#5 G5 A5 B5 C#6 D5 E5 F#5 G5 A5 B5 C#5 D5 E5 F#5 G5 A5"

// TreatiseFingerings has no. 1 at index 1.
var TreatiseFingerings = [...]string{
	1: "I1 I2 I1 I2 I3 I4 I0 I1 I2 I1 I2 I3 II3 I0 I1 I2 I3 I4 II2 II3 I0 I1 I2 I3",
	2: "II3 II4 I1 I2 I3 I4 II2 II3 II4 I1 I2 I3 II1 II2 II3 II4 I1 I2 II2 II3 I0 I1 I2 I3",
	3: "II3 II4 I1 I2 I3 I4 II2 II3 II4 I1 I2 I3 II1 II2 II3 II4 I1 I2 III4 II1 II2 II3 II4 I1",
	4: "II3 II4 I1 I2 I3 I4 II2 II3 II4 I1 I2 I3 II1 I0 I1 I2 I3 I4 II2 II3 I0 I1 I2 I3",
}

// treatiseJudged are the judgements of the text (as worded in RESEARCH.md): no. 4
// is the best, no. 2 better than no. 1.
var treatiseJudged = [][2]int{{4, 1}, {4, 2}, {4, 3}, {2, 1}}

// sharps are lines in which the first finger would have to slide up from the nut
// to the next note, with the fourth finger on the lower string instead (better) and
// with the slide (worse): D sharp, A sharp and E sharp, the three notes that the
// treatise names (ch. VIII, as worded in RESEARCH.md; the lines are ours).
var sharps = []struct{ line, better, worse string }{
	{"B3 C#4 D#4 E4 F#4 E4", "IV2 IV3 IV4 III1 III2 III1", "IV2 IV3 III1 III1 III2 III1"},
	{"F#4 G#4 A#4 B4 C#5 B4", "III2 III3 III4 II1 II2 II1", "III2 III3 II1 II1 II2 II1"},
	{"C#5 D#5 E#5 F#5 G#5 F#5", "II2 II3 II4 I1 I2 I1", "II2 II3 I1 I1 I2 I1"},
}

// judgements lays out the printed judgements in sixteenths at two tempi.
func judgements() ([]preference, error) {
	var out []preference
	for _, pace := range []float64{tempo, 60} {
		var terms [5][]float64
		for k := 1; k <= 4; k++ {
			v, err := termsOf(TreatisePassage, TreatiseFingerings[k], pace)
			if err != nil {
				return nil, err
			}
			terms[k] = v
		}
		for _, j := range treatiseJudged {
			out = append(out, preference{better: terms[j[0]], worse: terms[j[1]]})
		}
		for _, l := range sharps {
			better, err := termsOf(l.line, l.better, pace)
			if err != nil {
				return nil, err
			}
			worse, err := termsOf(l.line, l.worse, pace)
			if err != nil {
				return nil, err
			}
			out = append(out, preference{better, worse})
		}
	}
	return out, nil
}

// termsOf adds up the terms of a line in sixteenths with all strings and fingers given.
// One hand place at least is free, so that the cheapest by the unlearned weights is taken.
func termsOf(line, given string, pace float64) ([]float64, error) {
	pr, err := asGiven(line, given, pace, Bare(fingering.UnlearnedWeights()), fingering.Plain)
	if err != nil {
		return nil, err
	}
	return pr.Features(pr.Solve().States), nil
}

// TreatiseCosts is what the default weights say to the four printed fingerings with a
// profile, in sixteenths at a number of quarters a minute; no. 1 at index 1. The default
// was fitted to the judgements (see judgements): that it ranks them as the treatise does
// says that it holds a constraint, and is no test on what it has not seen.
func TreatiseCosts(profile fingering.Profile, pace float64) (out [5]float64, err error) {
	for k := 1; k < len(TreatiseFingerings); k++ {
		pr, err := asGiven(TreatisePassage, TreatiseFingerings[k], pace, fingering.DefaultWeights(), profile)
		if err != nil {
			return out, err
		}
		out[k] = pr.Solve().Cost
	}
	return out, nil
}

// asGiven lays out a line in sixteenths with all strings and fingers given.
func asGiven(line, given string, pace float64, weights *fingering.Weights, profile fingering.Profile) (*fingering.Problem, error) {
	p := &score.Part{ID: "P1", Directions: []score.Direction{{Kind: "metronome", Tempo: pace}}}
	sc := &score.Score{Quarter: quarter, Parts: []*score.Part{p}}
	o := fingering.Options{Instrument: instrument.Violin(), Decided: map[score.NoteID]fingering.Decision{}, Weights: weights, Profile: profile}
	names, fingers := strings.Fields(line), strings.Fields(given)
	if len(names) != len(fingers) {
		return nil, fmt.Errorf("%d notes, %d fingers", len(names), len(fingers))
	}
	const sixteenth = quarter / 4
	for i, n := range names {
		q, err := pitch.Parse(n)
		if err != nil {
			return nil, err
		}
		id := score.NoteID(i)
		at := score.Tick(i * sixteenth)
		if i%6 == 0 {
			p.Measures = append(p.Measures, score.Measure{Index: i / 6, Number: fmt.Sprint(i/6 + 1), Start: at, Len: 6 * sixteenth,
				Meter: score.Meter{Beats: "3", Unit: "8", Num: 3, Den: 8, Len: 6 * sixteenth}})
		}
		p.Notes = append(p.Notes, score.Note{ID: id, Head: id, Measure: i / 6, Onset: at, Dur: sixteenth, Voice: "1", Staff: 1, Written: q, Sounding: q, TieFrom: score.NoNote, TieTo: score.NoNote})
		numeral := strings.TrimRight(fingers[i], "01234")
		f := int8(fingers[i][len(numeral)] - '0')
		o.Decided[id] = fingering.Decision{Finger: &f, String: map[string]int{"I": 1, "II": 2, "III": 3, "IV": 4}[numeral]}
	}
	return fingering.NewProblem(sc, p, o), nil
}
