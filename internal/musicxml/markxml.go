package musicxml

import (
	"bytes"
	"fmt"
	"strings"

	"pochette/internal/score"
)

// holders names, for each kind of mark that can be written, the element it
// stands in: technical, articulations, ornaments, or notations itself.
// From the content models of MusicXML 4.0.
var holders = func() map[score.MarkKind]string {
	m := map[score.MarkKind]string{}
	for holder, kinds := range map[string]string{
		"technical": `up-bow down-bow harmonic open-string thumb-position fingering pluck double-tongue triple-tongue stopped snap-pizzicato
			fret string hammer-on-start hammer-on-stop pull-off-start pull-off-stop tap heel toe fingernails brass-bend flip smear open half-muted golpe other-technical`,
		"articulations": `accent strong-accent staccato tenuto detached-legato staccatissimo spiccato scoop plop doit falloff breath-mark caesura
			stress unstress soft-accent other-articulation`,
		"ornaments": `trill-mark turn delayed-turn inverted-turn delayed-inverted-turn vertical-turn inverted-vertical-turn shake
			wavy-line-start wavy-line-stop wavy-line-continue mordent inverted-mordent schleifer tremolo haydn other-ornament`,
		"notations": `glissando-start glissando-stop slide-start slide-stop dynamics fermata arpeggiate non-arpeggiate accidental-mark other-notation let-ring`,
	} {
		for _, k := range strings.Fields(kinds) {
			m[score.MarkKind(k)] = holder
		}
	}
	return m
}()

// holderOf is the element that a kind of mark stands in, "" if it cannot be written.
func holderOf(k score.MarkKind) string { return holders[k] }

// withText are the kinds whose element holds text.
var withText = map[score.MarkKind]bool{
	score.Fingering: true, score.String: true, "pluck": true, "fret": true, "tap": true, score.OtherTechnical: true, "other-articulation": true,
	"other-ornament": true, "other-notation": true, score.BreathMark: true, score.Caesura: true, "accidental-mark": true,
}

// markXML is the element of a mark as notations reads it back.
func markXML(m score.Mark) (string, bool) {
	if holderOf(m.Kind) == "" {
		return "", false
	}
	name, attrs, body := string(m.Kind), "", ""
	for _, end := range []string{"start", "stop", "continue"} {
		if base, ok := strings.CutSuffix(name, "-"+end); ok {
			name = base
			attrs = ` type="` + end + `"`
		}
	}
	var text bytes.Buffer
	escapeAttr(&text, m.Text)
	switch {
	case m.Kind == score.Fingering:
		if m.Substitution {
			attrs += ` substitution="yes"`
		}
		if m.Alternate {
			attrs += ` alternate="yes"`
		}
		body = text.String()
	case withText[m.Kind]:
		body = text.String()
	case m.Kind == score.Harmonic && m.Text != "":
		body = "<" + m.Text + "/>"
		if m.Text != "natural" && m.Text != "artificial" {
			return "", false
		}
	case m.Kind == score.Tremolo:
		attrs, body = tremoloXML(m.Text)
	case m.Kind == score.Fermata:
		body = text.String()
	case m.Kind == score.StrongAccent && m.Text != "":
		attrs = ` type="` + text.String() + `"`
	case m.Kind == score.Arpeggiate && m.Text != "":
		attrs = ` direction="` + text.String() + `"`
	case m.Kind == score.NonArpeggiate:
		attrs = ` type="bottom"`
	case m.Kind == "let-ring":
		name, attrs = "tied", ` type="let-ring"`
	case m.Kind == score.NoteDynamics:
		if body = "<" + m.Text + "/>"; !dynamicNames[m.Text] {
			body = "<other-dynamics>" + text.String() + "</other-dynamics>"
		}
	}
	switch { // where the schema has placement
	case !m.Below || name == "glissando" || name == "slide":
	case m.Kind == score.Fermata:
		attrs += ` type="inverted"`
	default:
		attrs += ` placement="below"`
	}
	if body == "" {
		return fmt.Sprintf("<%s%s/>", name, attrs), true
	}
	return fmt.Sprintf("<%s%s>%s</%s>", name, attrs, body, name), true
}

func tremoloXML(text string) (attrs, body string) {
	f := strings.Fields(text)
	kind := "single"
	if len(f) > 0 && (f[0] == "start" || f[0] == "stop" || f[0] == "unmeasured") {
		kind, f = f[0], f[1:]
	}
	return ` type="` + kind + `"`, strings.Join(f, "")
}

// dynamicNames are the signs that have an element of their own.
var dynamicNames = func() map[string]bool {
	m := map[string]bool{}
	for _, d := range strings.Fields("p pp ppp pppp ppppp pppppp f ff fff ffff fffff ffffff mp mf sf sfp sfpp fp rf rfz sfz sffz fz n pf sfzp") {
		m[d] = true
	}
	return m
}()
