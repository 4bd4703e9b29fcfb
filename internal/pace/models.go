package pace

import "math"

// Model is a curve of the plan with the place it comes from.
type Model struct {
	Name    string `json:"name"`
	Formula string `json:"formula"`
	Source  string `json:"source"`
	// Sizes says where its sizes come from.
	Sizes string `json:"sizes"`
}

// Models are the curves in the order in which they are laid over each other.
var Models = []Model{
	{"dotting", "the long note takes the share d of its frame; 3:1 as written is d = 0.75, double dotting 0.875",
		"dotting as a share of the pair: Fabian and Schubert 2004 and later (what is heard as dotted depends on articulation and tempo too)", "as written, until decided"},
	{"inequality", "r : 1 for pairs of equal notes by step; r falls from 1.9 to 1.6 with the tempo",
		"Moelants 2011 (range from memory; the line between is ours)", "none, until decided"},
	{"pairs", "the first of two slurred notes takes 1/2 + 0.03 of the pair, and is 1.5 dB louder",
		"treatise of 1756, ch. XII §10: the first longer and louder; sizes ours", "ours"},
	{"give and take", "t' = F (t/F)^i inside the bar F, both bar lines fixed; i = 2^(2 (c - 1/2)), c the centre of the bar's tension (1 and what it is over the bar's least, in twice the deviation of the whole)",
		"power map in a fixed frame: Berndt and Hähnel 2010; where time is taken (at tension) and the size are ours", "ours, at most 0.85 to 1.18: the middle of the bar moves by 6 % of it"},
	{"arch", "tempo x (1 + a (6u(1-u) - 1)) over the phrase, u 0 to 1, mean 1; constant inside a bar",
		"parabola over the phrase: Todd 1985 and 1992 (from memory)", "a = 0.02, ours: about what is just noticed"},
	{"broadening", "v(x) = [1 + (w^q - 1) x]^(1/q), q = 3, then w to the end",
		"final ritard: Friberg and Sundberg 1999; q = 3 the one preferred there, from memory", "w = 0.65 at the end, 0.88 at the end of a section; ours"},
	{"breath", "a silence between two phrases, longer after a stronger close",
		"small pauses between phrases: Friberg, Bresin and Sundberg 2006 (rule system, from memory)", "at most a quarter of a beat and 0.25 s; ours"},
	{"accent", "dB by the level of the metrical grid, and where a chord is tenser than the one before",
		"grid: Lerdahl and Jackendoff 1983, ch. 4; chords far from the tonic are played out: Sundberg, Friberg and Frydén (harmonic charge, from memory)", "ours, within 1.5 dB each"},
	{"tension", "dB in proportion to tension, from the middle of a chord to the middle of the next",
		"tension: Lerdahl and Krumhansl 2007; loudness that follows it: as harmonic charge", "1.5 dB for a standard deviation, at most 3 dB; ours"},
	{"dynamics", "the printed signs, 4 dB a step, hairpins in between", "order of the signs: MusicXML 4.0, element <dynamics>; the step is ours", "ours"},
}

// PowerMap is t' = F (t/F)^i for t in [0, F]: give and take inside a fixed frame
// (Berndt and Hähnel). i over 1 hurries first and broadens later.
func PowerMap(t, frame, i float64) float64 {
	switch {
	case t <= 0 || frame <= 0:
		return 0
	case t >= frame:
		return frame
	case i == 1:
		return t
	}
	return frame * math.Pow(t/frame, i)
}

// RitardTempo is the tempo at x in [0, 1] of a final ritard, as a ratio to the tempo
// before it: [1 + (w^q - 1) x]^(1/q) (Friberg and Sundberg 1999). w is the last
// tempo's ratio. q = 2 is the constant braking of a runner.
func RitardTempo(x, w, q float64) float64 {
	return math.Pow(1+(math.Pow(w, q)-1)*x, 1/q)
}

// RitardTime is the integral of 1/RitardTempo from 0 to x: the time that the first x
// of the stretch takes, in units of what the whole takes without ritard. q is not 1.
func RitardTime(x, w, q float64) float64 {
	if w == 1 {
		return x
	}
	k := math.Pow(w, q) - 1
	return (math.Pow(1+k*x, 1-1/q) - 1) / (k * (1 - 1/q))
}

// ritardCurve is q: "3 was preferred by listeners" (Friberg and Sundberg 1999, from
// memory).
const ritardCurve = 3

// archSize is a of Models.
const archSize = 0.02

// ArchTempo is the ratio of tempo at u in [0, 1] of a phrase, mean 1.
func ArchTempo(u, amount float64) float64 {
	return 1 + archSize*amount*(6*u*(1-u)-1)
}

// Bounds of what is proposed for give and take.
const leastPower, mostPower = 0.85, 1.18

// powerFor gives the exponent from the centre of tension of a bar, 0 its beginning,
// 1 its end: time is taken where the tension is.
func powerFor(centre, amount float64) float64 {
	return min(max(math.Pow(2, 2*amount*(centre-0.5)), leastPower), mostPower)
}

// InequalityFor is the ratio of long to short that players choose at a tempo, pairs a
// minute: 1.9 : 1 at 60 and slower, 1.6 : 1 at 120 and quicker, on a line between
// (range: Moelants 2011; the tempi and the line are ours).
func InequalityFor(pairs float64) float64 {
	return 1.9 - 0.3*min(max((pairs-60)/60, 0), 1)
}

// VelocityOf turns a level in dB into a MIDI velocity 1 to 127: the loudness of a
// velocity v is 40 log10(v/127) dB (General MIDI 2 and DLS, from memory).
func VelocityOf(level float64) int {
	return int(min(max(math.Round(127*math.Pow(10, level/40)), 1), 127))
}

// breathFor is the length of a breath in seconds. strength (0 to 1) is that of the
// close before it, beat the length of a felt beat in seconds.
func breathFor(strength, beat, amount float64) float64 {
	return amount * min(0.25, beat*(0.08+0.17*min(max(strength, 0), 1)))
}
