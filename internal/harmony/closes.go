package harmony

import (
	"math"

	"pochette/internal/score"
)

// labelledCloses is a study with the places and kinds of its labelled cadences and
// phrase ends.
type labelledCloses struct {
	study   *Study
	at      []score.Tick
	half    []bool // the label is a half cadence
	phrases []score.Tick
}

// cadenceNear is the distance within which a cadence counts as found, in quarters.
const cadenceNear = 1

// closeRow is one chord change to learn from: it closes a phrase, or makes a
// cadence, or does not.
type closeRow struct {
	x    [signs]float64
	y    float64
	half bool
}

// learnCadences fits the weights of the signs into w. Ends of phrases, of which
// there are more labels, are learned first; how likely the end of a phrase is, is
// itself a sign of a cadence. Authentic and half cadences share their weights, and
// the half ones learn what they have of their own beside (a common prior for tasks
// alike: Evgeniou and Pontil 2004).
func learnCadences(w *Weights, all []labelledCloses) {
	for _, b := range []*block{blPhrase, blAuthentic, blHalf} {
		clear(w.w[b.at : b.at+signs])
	}
	var rows []closeRow
	for _, l := range all {
		ctx := l.study.closeContext()
		for i := 1; i < len(l.study.Chords); i++ {
			if l.study.Chords[i].Movement == l.study.Chords[i-1].Movement {
				r := closeRow{x: l.study.signsAt(ctx, i, nil)}
				r.y = placed(l.study.Chords[i].From, l.phrases, l.study.q)
				rows = append(rows, r)
			}
		}
	}
	logistic(rows, w.w[blPhrase.at:blPhrase.at+signs], nil)
	rows = rows[:0]
	for _, l := range all {
		if len(l.at) == 0 {
			continue
		}
		for _, c := range l.study.candidates(w) {
			r := closeRow{x: c.sign, half: c.Type == Half}
			for i := range l.at {
				if l.half[i] == r.half {
					r.y = max(r.y, placed(c.At, l.at[i:i+1], l.study.q))
				}
			}
			rows = append(rows, r)
		}
	}
	logistic(rows, w.w[blAuthentic.at:blAuthentic.at+signs], w.w[blHalf.at:blHalf.at+signs])
}

// placed is 1 where one of the places lies near.
func placed(at score.Tick, places []score.Tick, q score.Tick) float64 {
	for _, p := range places {
		if d := p - at; d <= cadenceNear*q && d >= -cadenceNear*q {
			return 1
		}
	}
	return 0
}

// Settings of logistic.
const (
	closePasses = 1500
	closeRate   = 0.5
	closePull   = 2
)

// logistic fits a logistic regression by plain gradient descent with a small pull
// to zero; own, where there is one, adds to the weights for half cadences.
func logistic(rows []closeRow, v, own []float64) {
	n := float64(len(rows))
	if n == 0 {
		return
	}
	for range closePasses {
		var g, h [signs]float64
		for i := range rows {
			r := &rows[i]
			z := dot(&r.x, v)
			if r.half && own != nil {
				z += dot(&r.x, own)
			}
			e := 1/(1+math.Exp(-z)) - r.y
			for j, x := range r.x {
				g[j] += e * x
				if r.half {
					h[j] += e * x
				}
			}
		}
		for j := range v {
			v[j] -= closeRate * (g[j] + closePull*v[j]) / n
			if own != nil {
				own[j] -= closeRate * (h[j] + closePull*own[j]) / n
			}
		}
	}
}

func dot(x *[signs]float64, v []float64) float64 {
	z := 0.0
	for i, a := range x {
		z += a * v[i]
	}
	return z
}
