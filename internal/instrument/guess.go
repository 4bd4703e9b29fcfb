package instrument

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"pochette/internal/score"
)

// words for each instrument in several languages, longest first where one
// holds another ("violoncello" before "viola" before "violin" is settled by
// whole-word matching).
var names = map[Kind][]string{
	ViolinKind: {"violin", "violins", "violine", "violinen", "violino", "violini", "violon", "violons", "violín", "geige", "geigen", "fiddle", "vln", "vl", "vn", "vno", "viool", "skrzypce", "housle", "hegedű", "скрипка"},
	ViolaKind:  {"viola", "violas", "viole", "violen", "bratsche", "bratschen", "alto", "altos", "altviool", "altówka", "vla", "va", "br", "альт"},
	CelloKind:  {"violoncello", "violoncelli", "violoncelle", "violoncelles", "violonchelo", "cello", "celli", "cellos", "vcl", "vc", "vlc", "violoncel", "wiolonczela", "виолончель"},
}

// others that would be misread for one of the three.
var strangers = []string{"sax", "saxophone", "saxofon", "saxophon", "flute", "flöte", "voice", "choir", "clarinet", "recorder", "horn", "trombone", "guitar", "bass", "contrabass", "kontrabass", "double"}

// others are instruments whose names hold none of the words above: with one of
// them alone a part is not for the three, whatever its range.
var others = []string{
	"piano", "pianoforte", "klavier", "keyboard", "clavecin", "cembalo", "harpsichord", "organ", "orgel", "orgue", "organo", "celesta", "accordion", "harmonium",
	"flauto", "flauti", "flûte", "traverso", "piccolo", "oboe", "oboen", "hautbois", "bassoon", "fagott", "fagotto", "basson", "klarinette", "clarinetto", "clarinette", "clarinets", "flutes",
	"trumpet", "trumpets", "trompete", "tromba", "trombe", "trompette", "posaune", "cornet", "corno", "corni", "cor", "horns", "tuba", "euphonium", "bugle",
	"harp", "harfe", "arpa", "harpe", "lute", "laute", "luth", "guitarra", "guitare", "gitarre", "chitarra", "mandolin", "mandoline", "ukulele", "banjo",
	"timpani", "timp", "pauken", "timbales", "drum", "drums", "drumset", "percussion", "schlagzeug", "batterie", "batteria", "cymbals", "triangle", "tambourine",
	"xylophone", "glockenspiel", "marimba", "vibraphone", "soprano", "tenor", "baritone", "vocals", "singer", "gesang",
}

// Stranger is what tells that a part is for an instrument other than the three: its
// name, or its MusicXML sound; "" where nothing does.
func Stranger(p *score.Part) string {
	for _, text := range []string{p.Name, p.Instrument, p.Abbreviation} {
		if _, ours := kindByWord(text); ours {
			return ""
		}
	}
	for _, text := range []string{p.Name, p.Instrument} {
		if stranger(text) {
			return text
		}
	}
	if p.Sound != "" && !strings.HasPrefix(p.Sound, "strings.") {
		return p.Sound
	}
	return ""
}

// Guess finds the instrument of a part from its names, its MusicXML sound, its
// MIDI program (41 violin, 42 viola, 43 cello, General MIDI level 1), its clefs
// and its range, in that order; why says from which. ok is false where the part
// names another instrument or fits none of the three; the best guess is given all the same.
func Guess(p *score.Part) (in Instrument, why string, ok bool) {
	for _, s := range []struct{ what, text string }{
		{"the part is named", p.Name}, {"its instrument is named", p.Instrument}, {"it is abbreviated", p.Abbreviation},
	} {
		if k, found := kindByWord(s.text); found {
			return Of(k), fmt.Sprintf("%s %q", s.what, s.text), true
		}
	}
	if other := Stranger(p); other != "" {
		in, why, _ = byClefAndRange(p)
		return in, fmt.Sprintf("%s, though the part is for %q", why, other), false
	}
	for k, sound := range []string{"strings.violin", "strings.viola", "strings.cello"} {
		if strings.HasPrefix(p.Sound, sound) {
			return Of(Kind(k)), fmt.Sprintf("its sound is %q", p.Sound), true
		}
	}
	if p.Program >= 41 && p.Program <= 43 {
		return Of(Kind(p.Program - 41)), fmt.Sprintf("its MIDI program is %d", p.Program), true
	}
	return byClefAndRange(p)
}

func kindByWord(text string) (Kind, bool) {
	ws := words(text)
	for _, w := range ws {
		for _, s := range strangers {
			if w == s {
				return 0, false
			}
		}
	}
	for _, w := range ws {
		for k := ViolinKind; k <= CelloKind; k++ {
			for _, n := range names[k] {
				if w == n {
					return k, true
				}
			}
		}
	}
	return 0, false
}

func stranger(text string) bool {
	for _, w := range words(text) {
		if slices.Contains(strangers, w) || slices.Contains(others, w) {
			return true
		}
	}
	return false
}

func words(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) })
}

// GuessNotes is the guess from clefs and range alone.
func GuessNotes(p *score.Part) (in Instrument, why string, ok bool) { return byClefAndRange(p) }

func byClefAndRange(p *score.Part) (Instrument, string, bool) {
	low, high, any := 127, 0, false
	for i := range p.Notes {
		if n := &p.Notes[i]; !n.Rest && !n.Unpitched {
			low, high, any = min(low, n.Sounding.MIDI()), max(high, n.Sounding.MIDI()), true
		}
	}
	if !any {
		return Violin(), "it has no notes", false
	}
	clef := firstClef(p)
	order := []Kind{ViolinKind, ViolaKind, CelloKind}
	why := "it fits the range"
	switch {
	case clef.Sign == "F" || clef.Sign == "C" && clef.Line == 4:
		order, why = []Kind{CelloKind}, "it begins in the bass or tenor clef"
	case clef.Sign == "C":
		order, why = []Kind{ViolaKind, CelloKind}, "it begins in the alto clef"
	case clef.Sign == "G":
		why = "it begins in the treble clef and fits the range"
	}
	for _, k := range order {
		in := Of(k)
		if lo, hi := in.Range(); low >= lo && high <= hi {
			return in, why, true
		}
	}
	return Of(order[0]), why + ", though notes lie outside the instrument's range", false
}

func firstClef(p *score.Part) score.Clef {
	for i := range p.Measures {
		if c := p.Measures[i].Clefs; len(c) > 0 {
			return c[0]
		}
	}
	return score.Clef{}
}
