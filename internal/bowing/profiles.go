package bowing

// Profile is a style of bowing: the default weights with some of them changed.
type Profile struct {
	Name   string
	Says   string
	Source string
	change map[int]float64
}

// Profiles lists the styles. What each changes against the default is a reading
// of its source into weights; the sizes are ours.
var Profiles = []Profile{
	{"early", "the rule of the down-bow is strict, the bow is freely lifted, most readily before every other bar",
		"treatise of 1756, ch. IV (p. 71 nos. 1 and 3, p. 73 no. 5); Muffat 1698 (from memory); retakes much more frequent before odd bars, marking the two-bar phrase (Akatsuka, abstract; RESEARCH.md)",
		map[int]float64{BarStart: 13, PhraseStart: 8, RetakeLift: 6, RetakeEvenBar: 2, LinkPair: 12, LinkDotted: 8, LongStroke: 2, LegatoStart: 0.8, SoftEntry: 0}},
	{"classical", "the bar begins down, put right by linked notes rather than by lifting",
		"treatise of 1756, ch. IV (p. 74 nos. 1 and 2, p. 82 no. 4: the same notes linked or slurred instead of lifted)",
		map[int]float64{RetakeLift: 9, LinkPair: 6, LinkDotted: 4, JoinNotes: 4}},
	{"romantic", "the bow alternates, the meter is minded less, and a slur is divided before the bow runs out",
		"common practice, no source; for the freedom from the bar Montéclair 1711–12 and the teaching of 1751 (RESEARCH.md)",
		map[int]float64{BarStart: 6, PhraseStart: 3, StrongPart1: 1, StrongPart2: 0.6, StrongPart3: 0.2, LeadInBar: 1.2, LeadInThird: 0.6, LeadInHalf: 0.8, LeadInBeat: 0.5, LeadInPart: 0.3,
			RetakeLift: 9, LinkPair: 11, SplitSlur: 8, BowRunsOut: 25, LongCrescendo: 3, LongDiminuendo: 3, SoftEntry: 2}},
	{"free", "equal fluency both ways: bars may begin up; chords, accents and the last note keep their down-bow",
		"the teaching of 1751 against the rule of the down-bow (RESEARCH.md, from memory)", freeChange},
}

var freeChange = map[int]float64{BarStart: 0, StrongPart1: 0, StrongPart2: 0, StrongPart3: 0, LeadInBar: 0, LeadInHalf: 0, LeadInBeat: 0, LeadInPart: 0, GoesOn: 0}

// ProfileNamed finds a profile; "" is common practice, the default weights.
func ProfileNamed(name string) (Profile, bool) {
	if name == "" {
		return Profile{}, true
	}
	for _, p := range Profiles {
		if p.Name == name {
			return p, true
		}
	}
	return Profile{}, false
}

// Weights are those of the profile.
func (p Profile) Weights() *Weights {
	w := DefaultWeights()
	for i, v := range p.change {
		w[i] = v
	}
	return w
}

func weightsOf(profile string) *Weights {
	p, ok := ProfileNamed(profile)
	if !ok {
		panic("bowing: no profile is named " + profile)
	}
	return p.Weights()
}

// FreeWeights are those of the profile "free".
func FreeWeights() *Weights { return weightsOf("free") }
