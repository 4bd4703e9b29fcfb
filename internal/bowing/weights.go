package bowing

// Rule names one term of the cost: what it says, where it comes from, and its
// default weight.
type Rule struct {
	Name    string
	Says    string
	Source  string
	Default float64
}

// The rules, as indices into Weights and Rules.
const (
	BarStart = iota
	PhraseStart
	StrongPart1
	StrongPart2
	StrongPart3
	LeadInBar
	LeadInThird
	LeadInHalf
	LeadInBeat
	LeadInPart
	ChordOfThree
	ChordOfFour
	ChordsInRow
	Accented
	FinalNote
	LongCrescendo
	LongDiminuendo
	SoftEntry
	GoesOn
	LongStroke
	LegatoStart
	RestartAfterRest
	RestHaste
	RetakeLift
	RetakeHaste
	RetakeLifted
	RetakeChords
	RetakeUp
	RetakeLegato
	RetakeToWeak
	RetakeEvenBar
	LinkPair
	LinkDotted
	LinkHaste
	SplitSlur
	JoinNotes
	BowRunsOut
	LinkSyncopated
	TooQuick
	WrittenTie
	numRules
)

// Weights gives each rule its weight. One unit is what a player hardly
// minds; a bar that begins up-bow costs twelve.
type Weights [numRules]float64

// Rules is the one table of rules. The weights order the rules against each
// other; they were set by hand while looking at the treatise's chapter and the
// études named in docs/ACCURACY.md, which also tells what moving them does.
var Rules = [numRules]Rule{
	BarStart:    {"bar-start", "the first note of a bar is taken down", "treatise of 1756, ch. IV (p. 71 no. 1); Muffat 1698 (from memory)", 12},
	PhraseStart: {"phrase-start", "a bar that opens the piece, follows a rest or a double bar begins down all the more", "treatise of 1756, ch. IV (p. 71 no. 2); Montéclair 1711–12: up-bows on bar starts, but never at the start of a phrase", 6},
	StrongPart1: {"strong-half", "the half bar, or a beat that begins a group of smaller notes, is taken down", "Muffat 1698 (from memory): of equal parts the odd ones down, rests counted", 2.5},
	StrongPart2: {"strong-beat", "a beat before its division is taken down", "Muffat 1698 (from memory), as strong-half", 1.5},
	StrongPart3: {"strong-division", "a division before its own division is taken down", "Muffat 1698 (from memory), as strong-half", 0.5},
	LeadInBar:   {"pickup-to-bar", "a weak note that leads to the bar line is taken up", "treatise of 1756, ch. IV (p. 73 no. 3, p. 76 nos. 3–6)", 2},
	LeadInThird: {"third-of-three", "the last of three equal beats may go either way, up before the bar if nothing else speaks", "Muffat 1698 (from memory): triple time down-up-down with a lift, or down-up-up; treatise of 1756 (p. 71 no. 3)", 1},
	LeadInHalf:  {"pickup-to-half", "a weak note that leads to the half bar or to a beat of small meters is taken up", "Muffat 1698 (from memory): even parts up; treatise of 1756 (p. 72 no. 6)", 1.5},
	LeadInBeat:  {"pickup-to-beat", "a note between beats that leads to a beat is taken up, after a short rest too", "treatise of 1756, ch. IV (p. 71 no. 5, p. 72 no. 2)", 1},
	LeadInPart:  {"pickup-to-division", "a quick weak note is taken up", "treatise of 1756, ch. IV (p. 72 no. 2)", 0.7},

	ChordOfThree:   {"chord-of-three", "a chord of three notes is broken from the bass with a down-bow", "common practice, no source", 6},
	ChordOfFour:    {"chord-of-four", "a chord of four notes is broken from the bass with a down-bow", "common practice, no source", 8},
	ChordsInRow:    {"chords-in-row", "of chords that follow each other without a rest the one at the strongest place, of equals the first, has the wish for a down-bow; the others mind the direction less (times this) and are taken as they come", "common practice, no source; the treatise of 1756, ch. IV, lifts for the meter's sake alone (see retake-to-weak)", 0.25},
	Accented:       {"accent", "an accent or sforzando is taken down", "common practice, no source", 5},
	FinalNote:      {"final", "the last note is taken down", "common practice, no source", 5},
	LongCrescendo:  {"long-crescendo", "a long note that grows is taken up", "common practice, no source", 1.5},
	LongDiminuendo: {"long-diminuendo", "a long note that fades is taken down", "common practice, no source", 1.5},
	SoftEntry:      {"soft-entry", "a soft entry (p or less) after a rest begins in the light half of the bow, up", "common practice, no source", 1.5},
	GoesOn:         {"goes-on", "where the music goes on past its last measure, the bar to come should begin down", "follows from bar-start", 0.5},
	LongStroke:     {"long-stroke", "a stroke that lasts longer than this many seconds minds the meter less, as the square of the ratio: in slow music the bow simply alternates", "common practice, no source; the form is ours", 1.4},
	LegatoStart:    {"legato-start", "a slurred stroke, or one reached from a slur without a break, minds the meter less (times this): the slurs themselves lead the bow", "common practice, no source", 0.5},

	RestartAfterRest: {"restart-after-rest", "after a rest the bow may start again either way", "treatise of 1756, ch. IV (p. 71 nos. 2 and 4)", 0.2},
	RestHaste:        {"haste-in-rest", "a very short rest leaves little time to travel back (times seconds of rest, inverted)", "RESEARCH.md, \"Bow physics\" (1 m/s at most, from memory there); the form is ours", 0.05},
	RetakeLift:       {"retake", "the same direction again without a rest lifts the bow", "treatise of 1756, ch. IV (p. 71 no. 3)", 6.5},
	RetakeHaste:      {"retake-haste", "the shorter the note before, the harder the lift; after a half note it is easy (divided by its seconds squared)", "treatise of 1756, ch. IV (p. 78 no. 3); the form is ours", 0.6},
	RetakeLifted:     {"retake-lifted", "a breath, a fermata or a caesura has lifted the bow already", "common practice, no source", 1},
	RetakeChords:     {"retake-chords", "between two broken chords the bow leaves the string anyhow", "common practice, no source", 1.5},
	RetakeUp:         {"retake-up", "the lift brings the bow back for a down-bow; up-bow again is linked rather than lifted", "treatise of 1756, ch. IV: every printed lift is down-down (p. 71 nos. 1 and 3, p. 73 no. 6, p. 78 no. 3)", 4},
	RetakeLegato:     {"retake-legato", "a lift beside a slurred stroke breaks the line", "treatise of 1756, ch. IV: no lift is printed beside a slur", 8},
	RetakeToWeak:     {"retake-to-weak", "a lift belongs before a stroke on a beat that the meter wants down", "treatise of 1756, ch. IV: the printed lifts stand before a bar, a half bar or a beat with its division", 3},
	RetakeEvenBar:    {"retake-even-bar", "a lift belongs before an odd bar of the phrase rather than before an even one", "retakes are much more frequent before odd bars and mark the two-bar phrase (Akatsuka, abstract; RESEARCH.md); a matter of the early style", 0},
	LinkPair:         {"link", "two articulated notes in one direction, the second the weaker and the last of its group", "treatise of 1756, ch. IV (p. 74 no. 1, p. 82 no. 4); Muffat 1698 (from memory): down, up-up when quick", 10},
	LinkDotted:       {"link-dotted", "a long and a short note of a dotted figure in one direction", "treatise of 1756, ch. IV (p. 74 no. 2, p. 75 no. 2)", 6},
	LinkHaste:        {"link-haste", "quick notes are hard to articulate in one stroke (divided by the shorter note's seconds)", "common practice, no source; the form is ours", 0.4},
	SplitSlur:        {"split-slur", "a printed slur is taken in two strokes", "the printed text comes first", 14},
	JoinNotes:        {"join-notes", "a few detached notes of a beat are bound by a slur the print does not have; asked for only by a player who lets slurs change", "treatise of 1756, ch. IV (p. 74 no. 1: the notes of p. 73 no. 5 under slurs, in place of its lifts)", 5},
	BowRunsOut:       {"bow-runs-out", "a stroke that lasts longer than the slowest bow (times what it asks beyond one bow)", "RESEARCH.md, \"Bow physics\" (hair 650 mm, 0.05 m/s; from memory there)", 6},
	LinkSyncopated:   {"link-syncopated", "syncopated notes alternate: none is linked to its neighbour", "treatise of 1756, ch. IV (p. 79 no. 1, p. 82 nos. 1 and 2)", 6},
	TooQuick:         {"too-quick", "the bow can neither stop between two notes of 0.3 seconds in all or less nor be lifted and set again after one of 0.2 or less (times the squared ratio of the limit to the time), unless marks ask for it", "common practice, no source; form and limits are ours", 300},
	WrittenTie:       {"as-written", "of equals, what simple alternation gives", "so that nothing is changed without need", 1e-6},
}

// DefaultWeights is the weights of the table: common practice with the down-bow
// for the bar.
func DefaultWeights() *Weights {
	var w Weights
	for i, r := range Rules {
		w[i] = r.Default
	}
	return &w
}
