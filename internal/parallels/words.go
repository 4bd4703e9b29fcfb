package parallels

import (
	"math/big"
	"strconv"

	"pochette/internal/score"
)

func itoa(n int) string { return strconv.Itoa(n) }

var values = []struct {
	num, den int64 // quarters
	name     string
}{{8, 1, "breve"}, {4, 1, "whole"}, {2, 1, "half"}, {1, 1, "quarter"}, {1, 2, "eighth"}, {1, 4, "16th"}, {1, 8, "32nd"}, {1, 16, "64th"}, {1, 32, "128th"}}

// lengthName is "quarter", "dotted eighth", "triplet eighth", or a fraction of a
// quarter for what no single value has.
func lengthName(d, quarter score.Tick) string {
	if d <= 0 || quarter <= 0 {
		return "no length"
	}
	q := big.NewRat(int64(d), int64(quarter))
	for _, v := range values {
		for _, k := range []struct {
			r    *big.Rat
			name string
		}{{big.NewRat(1, 1), ""}, {big.NewRat(3, 2), "dotted "}, {big.NewRat(7, 4), "double-dotted "}, {big.NewRat(2, 3), "triplet "}} {
			if new(big.Rat).Mul(big.NewRat(v.num, v.den), k.r).Cmp(q) == 0 {
				return k.name + v.name
			}
		}
	}
	return q.RatString() + " quarters"
}
