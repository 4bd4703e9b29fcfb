package fingering

// term is the index of a named part of the cost.
type term int

// The terms. Unit and source stand beside each; "[R]" is the list of cost terms
// in RESEARCH.md, Fingering (a synthesis from memory of the literature named
// there), "[T]" the treatise of 1756, ch. VIII, "[C]" common practice, no source.
const (
	shiftSlur      term = iota // shifts inside a slur [R]
	shiftBow                   // shifts at a bow change [R]
	shiftRest                  // shifts in a rest [R]
	shiftOpen                  // shifts while an open string sounds [T: shift down under an open string, unnoticed]
	shiftMM                    // hand travel, 10 mm [R]
	shiftRate                  // hand travel over the time available, m/s [R]
	adjust                     // the hand leans by a semitone within its position, or opens and closes [C]
	slide                      // one finger moves a semitone on one string without a shift [R: same-finger slide]
	sameFinger                 // shifts on one finger, heard as a glide [R]
	stringChange               // bow goes to another string [R]
	stringSkip                 // strings skipped over, by the square of the bow's haste: 1 within a quarter of a second [C: a skip takes the arm's speed, and with time it is nothing]
	stringSlur                 // string change inside a slur [C]
	hop                        // a finger must jump to another string, not a fifth; 1 within a quarter of a second, less with more time, as the upper strings of a broken chord have it [T: the first would have to slide]
	fifth                      // a finger stops a fifth across two strings, one after the other [R]
	cross                      // a higher finger on a lower note of the same hand [R: finger order]
	refinger                   // a repeated pitch taken by another finger or string [C]
	openNote                   // open strings: tone colour [C]
	openLong                   // seconds of open string beyond half a second [R]
	fourth                     // fourth finger [R: weak 4]
	fourthLong                 // seconds of fourth finger beyond half a second [R]
	drawnBack                  // first finger drawn back out of the frame, 10 mm [R: extension]
	extend                     // fingers stretched out of the frame, 10 mm [R: extension]
	extendedHand               // cello's extended shape, 10 mm beyond the closed one [C]
	half                       // half position, by the letters of the notes [C]
	even                       // second, fourth, sixth position [C: odd ones are landmarks]
	height                     // hand's distance from first position, 100 mm [R: stay low where one can]
	highLow                    // the same, times how many strings lie above [R: high position on low strings]
	thumb                      // cello thumb position [C]
	thumbLow                   // thumb below the octave, semitones [R: thumb from about semitone 12]
	thumbSet                   // thumb set or taken off [C]
	stretch                    // chord wider than a fourth, 10 mm [C]
	crowd                      // two fingers side by side at one place on two strings [C]
	barre                      // one finger stops a fifth of a chord [R]
	trillFourth                // trill with the fourth finger, or above it [C]
	trillOpen                  // trill of an open string [C]
	fastFourth                 // fourth finger drawn in to the half step above the third, quick [C]
	letter                     // finger other than the note's letter asks for in the position, semitones of the hand [C]
	letGo                      // held notes given up early, by the share of their length that is cut off [C: the ear completes what has sounded for long]
	leftOut                    // struck notes that no grip reaches
	openTop                    // the highest string open: it sounds harsh beside stopped ones [C]
	openUp                     // open strings while the hand stands above first position [C]
	openSlow                   // open strings in slow surroundings [C: no vibrato]
	notOpen                    // a finger where the next string is open [C: the open string spares the fourth finger]
	highQuick                  // hand's distance from first position, 100 mm, times strings above, in quick surroundings [C: strings speak slowly high up]
	heightSlow                 // hand's distance from first position, 100 mm, in slow surroundings [C]
	shiftDown                  // shifts towards the nut [C: the thumb must lead]
	shiftFar                   // semitones of a shift beyond five [C]
	shiftOff                   // shifts that arrive off the beat [C: shift on the beat]
	shiftRepeat                // shifts on a repeated pitch [C]
	shiftTurn                  // shifts where the line returns to a note [T: don't shift again when the line turns back]
	shiftContrary              // shifts against the direction of the line [C]
	shiftLeap                  // shifts at a leap of more than a fourth [C]
	shiftStep                  // shifts at a step [C]
	shiftHalf                  // shifts at a half step [C: the half step hides it]
	shiftSlow                  // shifts in slow surroundings [C]
	stringStep                 // string changes at a step [C: one colour for what moves by step]
	stringHalf                 // string changes at a half step [C]
	stringThird                // string changes at a third [C]
	stringLeap                 // string changes at more than a fifth [C]
	stringTurn                 // string changes where the line returns to a note [C]
	stringContrary             // string changes against the direction of the line [C]
	stringQuick                // string changes in quick surroundings [C]
	stringSlow                 // string changes in slow surroundings [C: one string for a phrase]
	stringOff                  // string changes off the beat [C]
	leapOne                    // leaps of more than a fifth on one string [C]
	slideWhole                 // a finger moves a semitone in quick surroundings [C]
	adjustTurn                 // the hand leans where the line returns to a note [C]
	octaveHand                 // a note an octave from its neighbour by another finger than the fourth above, the first or the open string below [C: octaves lie in the frame of the hand]
	shiftQuick                 // shifts in quick surroundings [C: a quick group lies under one hand]
	shiftInside                // the same off the beat [C: no glide inside a beat group]
	shiftRush                  // shifts faster than a metre a second, m/s [C: about as fast as hands go]
	highCurve                  // semitones of the hand beyond fourth position, squared, by ten, times strings above [C: the string stiffens and the arm must come round]
	aboveFirst                 // hand above first position where no note around goes beyond it [C: the first pages of every method]
	fourthReach                // fourth finger stretched out of the frame, 10 mm, over what extension costs [R: weak 4]
	shiftBare                  // shifts under a slur though a bow change, a rest or the pitch of an open string is within two notes [C: hide the shift; T: under an open string]
	shiftGroup                 // shifts inside a beat, neither in a rest nor under an open string, though a beat is within two notes; 1 where notes around last a quarter of a second or less, 0 from half a second on [C: shift on the beat]
	openInChord                // stopped notes of a chord for which the bow could have an open string beside the others [C: it rings, and spares the hand]
	pluckStopped               // left-hand pizzicato of a stopped note [C: the open string rings and leaves all fingers free]
	pluckNone                  // left-hand pizzicato with no finger free above the one that stops [C]
	slideFourth                // the fourth finger slides a semitone, with the hand or without [C: it is weak, and a neighbouring string or a shift is safer]
	nScalars
)

// The terms of a taste in harmonics, see harmonics.go; their weights are not in weights.txt.
const (
	harmonicTouched = nScalars + iota // natural harmonics that the print does not ask for
	harmonicInside                    // the same elsewhere than at the top of a run, or on a note shorter than a quarter of a second
	harmonicPassed                    // a finger stops the top of a run where a harmonic would serve
	firstMove
)

// The rest are the cells of tables, see tables.go.
const (
	firstPlace  = firstMove + 225
	firstFinger = firstPlace + 96
	firstPace   = firstFinger + 30
	nTerms      = firstPace + 30
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
	openTop:        "open_top",
	openUp:         "open_in_position",
	openSlow:       "open_slow",
	notOpen:        "stopped_for_open",
	highQuick:      "high_on_low_quick",
	heightSlow:     "height_slow",
	shiftDown:      "shift_down",
	shiftFar:       "shift_far",
	shiftOff:       "shift_off_beat",
	shiftRepeat:    "shift_on_repeat",
	shiftTurn:      "shift_in_turn",
	shiftContrary:  "shift_contrary",
	shiftLeap:      "shift_at_leap",
	shiftStep:      "shift_at_step",
	shiftHalf:      "shift_at_half_step",
	shiftSlow:      "shift_slow",
	stringStep:     "string_change_step",
	stringHalf:     "string_change_half_step",
	stringThird:    "string_change_third",
	stringLeap:     "string_change_leap",
	stringTurn:     "string_change_in_turn",
	stringContrary: "string_change_contrary",
	stringQuick:    "string_change_quick",
	stringSlow:     "string_change_slow",
	stringOff:      "string_change_off_beat",
	leapOne:        "leap_on_one_string",
	slideWhole:     "slide_quick",
	shiftQuick:     "shift_quick", shiftInside: "shift_quick_off_beat",
	shiftRush:       "shift_rush",
	harmonicTouched: "harmonic", harmonicInside: "harmonic_inside_run", harmonicPassed: "stopped_for_harmonic",
	octaveHand: "octave_hand", adjustTurn: "adjust_in_turn",
	highCurve: "high_on_low_convex", aboveFirst: "above_first", fourthReach: "fourth_extension", slideFourth: "slide_of_fourth",
	shiftBare: "shift_slur_needless", shiftGroup: "shift_inside_beat", openInChord: "stopped_for_open_in_chord",
	pluckStopped: "plucked_stopped", pluckNone: "plucked_without_finger",
}

// TermNames lists the names in the order of feature vectors.
func TermNames() []string { return append([]string(nil), termNames[:]...) }

// tally adds up weighted terms, and keeps their values, times by where that is
// set, where vals is.
type tally struct {
	w    *[nTerms]float64
	sum  float64
	vals *[nTerms]float64
	by   float64
	// enough, where above 0, is a sum from which on the rest need not be added: it is
	// not negative, and the caller has something cheaper.
	enough float64
}

func (t *tally) add(k term, v float64) {
	t.sum += t.w[k] * v
	if t.vals != nil {
		t.keep(k, v)
	}
}

func (t *tally) keep(k term, v float64) {
	if t.by != 0 {
		v *= t.by
	}
	t.vals[k] += v
}
