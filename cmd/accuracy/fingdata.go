package main

import "pochette/internal/learn"

// fingRow is a row of a fingered piece, for what the bow does.
type fingRow struct {
	bar    int
	start  float64 // from the bar's beginning, quarters
	dur    float64
	bowing int
	key    int
}

const fingQuarter = learn.Quarter

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
