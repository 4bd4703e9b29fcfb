package fingering

// term is the index of a named part of the cost.
type term int

// The terms. Unit and source stand beside each; "[R]" is the list of cost terms
// in RESEARCH.md, Fingering (a synthesis from memory of the literature named
// there), "[T]" the treatise of 1756, ch. VIII, "[C]" common practice, no source.
const (
	shiftSlur    term = iota // shifts inside a slur [R]
	shiftBow                 // shifts at a bow change [R]
	shiftRest                // shifts in a rest [R]
	shiftOpen                // shifts while an open string sounds [T: shift down under an open string, unnoticed]
	shiftMM                  // hand travel, 10 mm [R]
	shiftRate                // hand travel over the time available, m/s [R]
	adjust                   // the hand leans by a semitone within its position, or opens and closes [C]
	slide                    // one finger moves a semitone on one string without a shift [R: same-finger slide]
	sameFinger               // shifts on one finger, heard as a glide [R]
	stringChange             // bow goes to another string [R]
	stringSkip               // strings skipped over [C]
	stringSlur               // string change inside a slur [C]
	hop                      // a finger must jump to another string, not a fifth; 1 within a quarter of a second, less with more time [T: the first would have to slide]
	fifth                    // a finger stops a fifth across two strings, one after the other [R]
	cross                    // a higher finger on a lower note of the same hand [R: finger order]
	refinger                 // a repeated pitch taken by another finger or string [C]
	openNote                 // open strings: tone colour [C]
	openLong                 // seconds of open string beyond half a second [R]
	fourth                   // fourth finger [R: weak 4]
	fourthLong               // seconds of fourth finger beyond half a second [R]
	drawnBack                // first finger drawn back out of the frame, 10 mm [R: extension]
	extend                   // fingers stretched out of the frame, 10 mm [R: extension]
	extendedHand             // cello's extended shape, 10 mm beyond the closed one [C]
	half                     // half position [C]
	even                     // second, fourth, sixth position [C: odd ones are landmarks]
	height                   // hand's distance from first position, 100 mm [R: stay low where one can]
	highLow                  // the same, times how many strings lie above [R: high position on low strings]
	thumb                    // cello thumb position [C]
	thumbLow                 // thumb below the octave, semitones [R: thumb from about semitone 12]
	thumbSet                 // thumb set or taken off [C]
	stretch                  // chord wider than a fourth, 10 mm [C]
	crowd                    // two fingers side by side at one place on two strings [C]
	barre                    // one finger stops a fifth of a chord [R]
	trillFourth              // trill with the fourth finger, or above it [C]
	trillOpen                // trill on an open string [C]
	fastFourth               // fourth finger drawn in to the half step above the third, quick [C]
	letter                   // finger other than the note's letter asks for in the position, semitones of the hand [C]
	letGo                    // held notes given up early [C]
	leftOut                  // struck notes that no grip reaches
	nTerms
)

var termNames = [nTerms]string{
	shiftSlur: "shift_slur", shiftBow: "shift_bow", shiftRest: "shift_rest", shiftOpen: "shift_open",
	shiftMM: "shift_mm", shiftRate: "shift_rate", adjust: "adjust", slide: "slide", sameFinger: "same_finger_shift",
	stringChange: "string_change", stringSkip: "string_skip", stringSlur: "string_change_slurred",
	hop: "hop", fifth: "fifth_across", cross: "finger_order", refinger: "refinger",
	openNote: "open", openLong: "open_long", fourth: "fourth", fourthLong: "fourth_long",
	drawnBack: "drawn_back", extend: "extension", extendedHand: "extended_hand", half: "half_position",
	even: "even_position", height: "height", highLow: "high_on_low_string",
	thumb: "thumb", thumbLow: "thumb_low", thumbSet: "thumb_set",
	stretch: "chord_stretch", crowd: "crowded_fingers", barre: "fifth_stopped",
	trillFourth: "trill_fourth", trillOpen: "trill_open", fastFourth: "narrow_fourth",
	letter: "letter",
	letGo:  "let_go", leftOut: "left_out",
}

// TermNames lists the names in the order of feature vectors.
func TermNames() []string { return append([]string(nil), termNames[:]...) }

// tally adds up weighted terms, and keeps their values where vals is set.
type tally struct {
	w    *[nTerms]float64
	sum  float64
	vals *[nTerms]float64
}

func (t *tally) add(k term, v float64) {
	t.sum += t.w[k] * v
	if t.vals != nil {
		t.vals[k] += v
	}
}
