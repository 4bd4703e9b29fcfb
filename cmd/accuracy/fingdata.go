package main

import (
	"pochette/internal/learn"
	"pochette/internal/score"
)

// fingPiece is a fingered piece as a score.
type fingPiece struct {
	name string
	sc   *score.Score
}

// fingRow is a row of a fingered piece, for what the bow does.
type fingRow struct {
	bar    int
	start  float64 // from the bar's beginning, quarters
	dur    float64
	bowing int
	key    int
}

const fingQuarter = learn.Quarter

func readFingering(path string) (*fingPiece, error) {
	p, err := learn.Read(path)
	if err != nil {
		return nil, err
	}
	return &fingPiece{name: p.Name, sc: p.Score}, nil
}

func fingRows(path string) ([]fingRow, error) {
	rows, err := learn.ReadRows(path)
	if err != nil {
		return nil, err
	}
	out := make([]fingRow, len(rows))
	for i, r := range rows {
		out[i] = fingRow{bar: r.Bar, start: r.Start, dur: r.Dur, key: r.Key, bowing: r.Bowing}
	}
	return out, nil
}
