package joint

// Comparable says that two plans are of one part with the same notes under the
// same strokes, so that they can be held against each other event by event.
func Comparable(a, b *Plan) bool {
	return a.pr == b.pr || len(a.Grips) == len(b.Grips) && len(a.Bows) == len(b.Bows)
}
