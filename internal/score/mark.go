package score

// Origin says where a mark comes from.
type Origin int8

// Printed marks stand in the source; decided ones were set by a person;
// proposed ones come from a solver.
const (
	Printed Origin = iota
	Decided
	Proposed
)

func (o Origin) String() string { return [...]string{"printed", "decided", "proposed"}[o] }

// MarkKind names a mark on a note; the values are MusicXML 4.0 element names.
type MarkKind string

// The marks that the studies look at. A codec may give other kinds too, under
// their MusicXML names.
const (
	UpBow           MarkKind = "up-bow"
	DownBow         MarkKind = "down-bow"
	Fingering       MarkKind = "fingering" // Text: 0–4, or what is printed
	String          MarkKind = "string"    // Text: 1 = highest
	OpenString      MarkKind = "open-string"
	ThumbPosition   MarkKind = "thumb-position"
	Harmonic        MarkKind = "harmonic" // Text: "natural", "artificial" or ""
	Stopped         MarkKind = "stopped"
	SnapPizzicato   MarkKind = "snap-pizzicato"
	Staccato        MarkKind = "staccato"
	Staccatissimo   MarkKind = "staccatissimo"
	Spiccato        MarkKind = "spiccato"
	Tenuto          MarkKind = "tenuto"
	DetachedLegato  MarkKind = "detached-legato"
	Accent          MarkKind = "accent"
	StrongAccent    MarkKind = "strong-accent"
	BreathMark      MarkKind = "breath-mark"
	Caesura         MarkKind = "caesura"
	Fermata         MarkKind = "fermata"
	Trill           MarkKind = "trill-mark"
	Tremolo         MarkKind = "tremolo"
	Arpeggiate      MarkKind = "arpeggiate"
	NonArpeggiate   MarkKind = "non-arpeggiate"
	GlissandoStart  MarkKind = "glissando-start"
	GlissandoStop   MarkKind = "glissando-stop"
	SlideStart      MarkKind = "slide-start"
	SlideStop       MarkKind = "slide-stop"
	NotePizzicato   MarkKind = "pizzicato" // <note pizzicato="yes">
	NoteDynamics    MarkKind = "dynamics"  // Text: f, pp …
	OtherTechnical  MarkKind = "other-technical"
	LeftHandPlucked MarkKind = "plucked"
)

// Mark is one thing on a note.
type Mark struct {
	Kind   MarkKind
	Text   string
	Origin Origin
	// Substitution and Alternate are attributes of <fingering>.
	Substitution, Alternate bool
	Below                   bool // printed below the note
}

// Has reports whether the note carries a mark of this kind.
func (n *Note) Has(k MarkKind) bool {
	_, ok := n.Get(k)
	return ok
}

// Get is the first mark of a kind.
func (n *Note) Get(k MarkKind) (Mark, bool) {
	for _, m := range n.Marks {
		if m.Kind == k {
			return m, true
		}
	}
	return Mark{}, false
}
