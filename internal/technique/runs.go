package technique

// run is a stretch of indices, both ends included.
type run struct{ first, last int }

// maximalRuns finds all maximal scoring runs of a sequence of gains and losses:
// the run of the largest sum, then the same to its left and to its right, as
// long as sums are positive. They come in order and do not touch each other's
// gains. Ruzzo and Tompa 1999 (ISMB, A linear time algorithm for finding all
// maximal scoring subsequences): one pass, each candidate run kept with the sums
// before its first and up to its last element.
func maximalRuns(gains []float64) []run {
	type candidate struct {
		run
		before, upto float64
	}
	var list []candidate
	sum := 0.0
	for i, g := range gains {
		before := sum
		sum += g
		if g <= 0 {
			continue
		}
		c := candidate{run{i, i}, before, sum}
		for {
			j := len(list) - 1
			for j >= 0 && list[j].before >= c.before {
				j--
			}
			if j < 0 || list[j].upto >= c.upto {
				break
			}
			c.first, c.before = list[j].first, list[j].before
			list = list[:j]
		}
		list = append(list, c)
	}
	out := make([]run, len(list))
	for i, c := range list {
		out[i] = c.run
	}
	return out
}
