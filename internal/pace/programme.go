package pace

// Turn is one playing of a passage in a programme, such as a slow step or one side of
// a comparison.
type Turn struct {
	Label   string
	Passage Passage
	// Count are the clicks of the count-in from 0; the passage begins after Lead.
	Count []Click
	Lead  float64
	// Clicks go along with the passage, in its time; none where no click is wanted.
	Clicks []Click
	// Gap is the silence after it, seconds.
	Gap float64
}

// Seconds of a turn, its gap counted in.
func (t *Turn) Seconds() float64 { return t.Lead + t.Passage.Seconds + t.Gap }

// Programme is played turn after turn.
type Programme []Turn

// Starts gives where each turn begins (with its count-in), and the end.
func (p Programme) Starts() []float64 {
	out := make([]float64, len(p)+1)
	for i := range p {
		out[i+1] = out[i] + p[i].Seconds()
	}
	return out
}
