package instrument

// Thumb is the finger number of the thumb; 0 is an open string, 1–4 the fingers.
const Thumb = 5

// Shape is how the fingers lie over the string.
type Shape int8

// Shapes of the hand.
const (
	// Square: violin and viola, a perfect fourth from finger 1 to 4.
	Square Shape = iota
	// Closed: cello, a semitone from finger to finger.
	Closed
	// Extended: cello, a whole tone from 1 to 2, a major third from 1 to 4.
	Extended
	// Upper: cello beyond fourth position, where the little finger is too short.
	Upper
	// Capo: cello, the thumb on the string.
	Capo
)

func (s Shape) String() string {
	return [...]string{"square", "closed", "extended", "upper", "thumb"}[s]
}

// Hand is a hand on the fingerboard: the semitone over which the first finger
// stands in its plain place, and its shape. In thumb position the thumb lies a
// whole tone behind it.
type Hand struct {
	Place int8
	Shape Shape
}

// Reach is one place of a finger, in semitones from Hand.Place.
type Reach struct {
	Off int8
	// Wide counts the semitones by which it leaves the frame of the hand (an
	// extension outwards or a finger drawn back), 0 inside.
	Wide int8
}

// A frame is the places of each finger (index 0 unused, 5 the thumb), with the
// Hand.Place from and to which the shape is used. The first entries of a finger
// serve single notes and chords, those from chord on only chords, where the hand
// is set freshly and may open further.
type frame struct {
	from, to int8
	fingers  [6][]Reach
	chord    [6][]Reach
}

// Offsets: RESEARCH.md, Fingering ("Violin and viola", "Cello"), from memory. The frames
// are published. Square: the fourth finger takes on one string what the first takes
// on the next higher one in the position below, a perfect fourth above the first
// (Grove, A Dictionary of Music and Musicians, vol. 3, 1883, p. 20, "Positions", P.
// David; for the viola vol. 4, 1889, p. 89, "Tenor Violin", E. J. Payne: execution as on
// the violin). Closed, a half step from finger to finger and a minor third in all;
// Extended, a major third, the first finger moved back by a half step; Upper, at most a
// major third from first to third finger, no fourth: C. Davidoff, Violoncell-Schule,
// 1888, part 1, art. XI, and part 3, art. I (English by M. Wilson, 2022).
var frames = [...]frame{
	Square: {1, 30, [6][]Reach{
		1: {{0, 0}, {-1, 1}},
		2: {{1, 0}, {2, 0}},
		3: {{3, 0}, {4, 0}, {2, 1}},
		4: {{5, 0}, {4, 0}, {6, 1}},
	}, [6][]Reach{
		1: {{-2, 2}},
		2: {{0, 1}, {3, 1}},
		3: {{5, 1}},
		4: {{7, 2}, {3, 1}},
	}},
	Closed: {1, 7, [6][]Reach{
		1: {{0, 0}}, 2: {{1, 0}}, 3: {{2, 0}}, 4: {{3, 0}},
	}, [6][]Reach{}},
	Extended: {1, 7, [6][]Reach{
		1: {{0, 0}}, 2: {{2, 0}}, 3: {{3, 0}}, 4: {{4, 0}},
	}, [6][]Reach{4: {{5, 1}}}},
	Upper: {8, 14, [6][]Reach{
		1: {{0, 0}}, 2: {{1, 0}, {2, 0}}, 3: {{2, 0}, {3, 0}, {4, 1}},
	}, [6][]Reach{}},
	Capo: {9, 30, [6][]Reach{
		1: {{0, 0}, {-1, 1}}, 2: {{1, 0}, {2, 0}}, 3: {{3, 0}, {2, 0}, {4, 1}}, Thumb: {{-2, 0}},
	}, [6][]Reach{}},
}

// Shapes lists those that the instrument uses.
func (in *Instrument) Shapes() []Shape {
	if in.Kind == CelloKind {
		return celloShapes
	}
	return squareShapes
}

var (
	celloShapes  = []Shape{Closed, Extended, Upper, Capo}
	squareShapes = []Shape{Square}
)

// Places is the range of Hand.Place in which a shape is used.
func Places(s Shape) (from, to int) { return int(frames[s].from), int(frames[s].to) }

// Fits says whether the finger can stop that semitone in the hand, and how far
// (in semitones) it leaves the frame.
func Fits(h Hand, finger, semitone int, chord bool) (wide int, ok bool) {
	from, to := Places(h.Shape)
	if int(h.Place) < from || int(h.Place) > to || finger < 1 || finger > Thumb {
		return 0, false
	}
	f := &frames[h.Shape]
	for _, r := range f.fingers[finger] {
		if int(h.Place)+int(r.Off) == semitone {
			return int(r.Wide), true
		}
	}
	if chord {
		for _, r := range f.chord[finger] {
			if int(h.Place)+int(r.Off) == semitone {
				return int(r.Wide), true
			}
		}
	}
	return 0, false
}

// WideSpan is how many mm a finger at that semitone lies outside the frame.
func (in *Instrument) WideSpan(h Hand, finger, semitone int) float64 {
	wide, ok := Fits(h, finger, semitone, true)
	if !ok || wide == 0 {
		return 0
	}
	off := semitone - int(h.Place)
	inner := off - wide
	if off < 0 || finger < 4 && off < int(frames[h.Shape].fingers[finger][0].Off) {
		inner = off + wide
	}
	return in.Span(semitone, int(h.Place)+inner)
}

// averageStretch is MaxStretch of an average hand on the usual size of each
// kind, mm. A tenth in first position asks for 118 mm on the violin and 134 on
// the viola; the cello's widest is the extended hand with a semitone more, in
// half position. Common practice, no source.
var averageStretch = [...]float64{ViolinKind: 120, ViolaKind: 136, CelloKind: 175}

// reachShare is what a hand gives of its widest stretch while it plays on: set
// freshly for a chord it opens further than in a running line. Common practice,
// no source; an average hand reaches with it, in half position, a fourth finger
// raised by a semitone on every usual size.
const reachShare = 0.8

// MaxStretch is the widest distance along the string, in mm, between two
// fingers (or thumb and finger) set at once.
func (in *Instrument) MaxStretch() float64 {
	if in.Stretch > 0 {
		return in.Stretch
	}
	return averageStretch[in.Kind]
}

// MaxReach is the widest distance along the string, in mm, from the first
// finger's place to a finger stretched outwards in a running line.
func (in *Instrument) MaxReach() float64 { return reachShare * in.MaxStretch() }

// Fits is Fits for the hand that plays this instrument: what would open it
// beyond its limit is refused. The limit is in mm, so it binds first at the nut,
// where semitones are widest: a small hand on a large viola has no raised fourth
// finger in first position and has it higher up. It holds for fingers stretched
// outwards (MaxReach in a line, MaxStretch in a chord) and for the whole of the
// cello's extended hand. A finger drawn back is not measured: the fourth need not
// stay down for it.
func (in *Instrument) Fits(h Hand, finger, semitone int, chord bool) (wide int, ok bool) {
	wide, ok = Fits(h, finger, semitone, chord)
	if !ok {
		return 0, false
	}
	limit := in.MaxReach()
	if chord {
		limit = in.MaxStretch()
	}
	far := int(h.Place)
	if wide > 0 && semitone > far {
		far = semitone
	}
	if h.Shape == Extended {
		far = max(far, int(h.Place)+4)
	}
	return wide, in.Span(int(h.Place), far) <= limit
}
