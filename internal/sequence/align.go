package sequence

// Pair is one step of an alignment: element A of the first sequence beside element
// B of the second; -1 where one has nothing.
type Pair struct{ A, B int }

// Align puts two sequences of lengths n and m beside each other so that the sum of
// pair(i, j) for what stands together, and of skipA(i) and skipB(j) for what stands
// alone, is least (Needleman and Wunsch 1970). It is exact; costs must be finite and
// not negative. Of equal alignments the one that pairs earlier elements is taken.
// Time and memory are O(n·m).
func Align(n, m int, pair func(i, j int) float64, skipA, skipB func(i int) float64) ([]Pair, float64) {
	best := make([]float64, (n+1)*(m+1)) // cost of what is left from (i, j)
	at := func(i, j int) *float64 { return &best[i*(m+1)+j] }
	for i := n; i >= 0; i-- {
		for j := m; j >= 0; j-- {
			if i == n && j == m {
				continue
			}
			c := -1.0
			consider := func(v float64) {
				if c < 0 || v < c {
					c = v
				}
			}
			if i < n && j < m {
				consider(pair(i, j) + *at(i+1, j+1))
			}
			if i < n {
				consider(skipA(i) + *at(i+1, j))
			}
			if j < m {
				consider(skipB(j) + *at(i, j+1))
			}
			*at(i, j) = c
		}
	}
	var out []Pair
	for i, j := 0, 0; i < n || j < m; {
		c := *at(i, j)
		switch {
		case i < n && j < m && pair(i, j)+*at(i+1, j+1) == c:
			out = append(out, Pair{i, j})
			i, j = i+1, j+1
		case i < n && skipA(i)+*at(i+1, j) == c:
			out = append(out, Pair{i, -1})
			i++
		default:
			out = append(out, Pair{-1, j})
			j++
		}
	}
	return out, best[0]
}
