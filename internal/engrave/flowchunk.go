package engrave

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

var (
	staffDefs   = regexp.MustCompile(`(?s)<staffDef ([^>]*?)(/>|>.*?</staffDef>)`)
	staffNumber = regexp.MustCompile(`\bn="([0-9]+)"`)
	anyID       = regexp.MustCompile(` xml:id="[^"]*"`)
	labels      = regexp.MustCompile(`(?s)<(label|labelAbbr)\b.*?</(label|labelAbbr)>|<(label|labelAbbr)\b[^>]*/>`)
)

// signs writes the staves with clef, key and meter as they are before a measure; the
// meter is printed only where it is new.
func (f *Flow) signs(m *flowMeasure, meter bool) string {
	return staffDefs.ReplaceAllStringFunc(labels.ReplaceAllString(f.staves, ""), func(s string) string {
		attrs := staffDefs.FindStringSubmatch(s)[1]
		n := ""
		if g := staffNumber.FindStringSubmatch(attrs); g != nil {
			n = g[1]
		}
		text := of(m.clef, n) + of(m.key, n)
		t := of(m.meter, n)
		if t != "" && !meter {
			t = strings.Replace(strings.Replace(t, "<meterSig ", `<meterSig visible="false" `, 1), "<meterSigGrp ", `<meterSigGrp visible="false" `, 1)
		}
		return "<staffDef " + strings.TrimSuffix(attrs, "/") + ">" + anyID.ReplaceAllString(text+t, "") + "</staffDef>"
	})
}

func of(signs map[string]string, staff string) string {
	if s, ok := signs[staff]; ok {
		return s
	}
	return signs[""]
}

// byMeasure sorts what is added by the measure of its note. What stands on a note
// outside the system is left out, but for a slur that ends in it.
func (f *Flow) byMeasure(sys *System) [][]Added {
	out := make([][]Added, sys.Last-sys.First+1)
	for _, a := range sys.Added {
		m, ok := f.notes[a.Note]
		if ok && m >= sys.First && m <= sys.Last {
			out[m-sys.First] = append(out[m-sys.First], a)
		} else if end, has := f.notes[a.To]; ok && has && a.Kind == SlurTo && m < sys.First && end >= sys.First {
			out[0] = append(out[0], a)
		}
	}
	return out
}

// measureWith is the text of a measure with marks added and lines cut at the ends of
// the system.
func (f *Flow) measureWith(i int, adds []Added, sys *System) string {
	m := &f.measures[i]
	var edits []edit
	var tail strings.Builder
	children := map[string]string{} // by identifier of the element they go into
	var order []string
	for _, a := range adds {
		if a.Kind != Bow {
			tail.WriteString(f.control(&a, i, sys))
			continue
		}
		at := a.Note
		if p := m.points[at]; p.chord != "" {
			at = p.chord
		}
		if children[at] == "" {
			order = append(order, at)
		}
		children[at] += fmt.Sprintf(`<artic%s artic="%sbow" place="above"/>`, typed(a.Class), a.Text)
	}
	for _, id := range order {
		edits = append(edits, inside(m.points[id], children[id]))
	}
	text := withoutSlurs(splice(m.text, edits), sys.CutSlurs)
	text = f.cutLines(text, i, sys)
	for _, h := range sys.Hide {
		text = without(text, h)
	}
	if i == sys.First {
		tail.WriteString(f.incoming(sys))
	}
	if tail.Len() > 0 {
		text = strings.TrimSuffix(text, "</measure>") + tail.String() + "</measure>"
	}
	return text
}

// without takes all elements of a name out, but for those that were added.
func without(text, name string) string {
	open := regexp.MustCompile(`(?s)<` + regexp.QuoteMeta(name) + `\b[^>]*?(/>|>.*?</` + regexp.QuoteMeta(name) + `>)`)
	return open.ReplaceAllStringFunc(text, func(s string) string {
		if strings.Contains(s, ` type="`) {
			return s
		}
		return ""
	})
}

// inside puts children into an element.
func inside(p point, children string) edit {
	if p.inside > 0 {
		return edit{extent{int64(p.inside), int64(p.inside)}, children}
	}
	return edit{extent{p.tag.to - 2, p.tag.to}, ">" + children + "</" + p.name + ">"}
}

func typed(class string) string {
	if class == "" {
		return ""
	}
	return ` type="` + escape(class) + `"`
}

// control writes a mark that stands beside the notes of a measure.
func (f *Flow) control(a *Added, measure int, sys *System) string {
	at := typed(a.Class) + ` startid="#` + escape(a.Note) + `"`
	place := ` place="above"`
	if a.Below {
		place = ` place="below"`
	}
	style := ` fontstyle="italic" fontweight="normal"`
	if a.Strong {
		style = ` fontstyle="normal" fontweight="bold"`
	}
	text := escape(a.Text)
	switch a.Kind {
	case Finger:
		return "<fing" + at + place + "><rend" + style + ">" + text + "</rend></fing>"
	case Numeral:
		return "<fing" + at + place + `><rend fontsize="small"` + style + ">" + text + "</rend></fing>"
	case Words:
		return "<dir" + at + place + "><rend" + style + ">" + text + "</rend></dir>"
	case Caption:
		return "<dir" + at + ` place="below"><rend fontsize="small" fontstyle="normal">` + text + "</rend></dir>"
	case Dynamic:
		return "<dynam" + at + ` place="below">` + text + "</dynam>"
	case Breath:
		return "<breath" + at + place + "/>"
	case SlurTo:
		return f.addedSlur(a, measure, sys)
	}
	return ""
}

func (f *Flow) addedSlur(a *Added, measure int, sys *System) string {
	start, end := ` startid="#`+escape(a.Note)+`"`, ` endid="#`+escape(a.To)+`"`
	if f.notes[a.Note] < sys.First {
		start = ` tstamp="0" staff="1"`
	}
	if f.notes[a.To] > sys.Last {
		end = f.timeAtEnd(measure, sys)
	}
	return "<slur" + typed(a.Class) + start + end + "/>"
}

// timeAtEnd is the bar line at the end of a system, counted from a measure.
func (f *Flow) timeAtEnd(from int, sys *System) string {
	return fmt.Sprintf(` tstamp2="%dm+%g"`, sys.Last-from, f.measures[sys.Last].count+1)
}

var endID = regexp.MustCompile(` endid="[^"]*"`)

// cutLines ends the lines of a measure that go on after the system at its bar line.
func (f *Flow) cutLines(text string, i int, sys *System) string {
	for k := range f.spans {
		s := &f.spans[k]
		if s.measure != i || s.to <= sys.Last {
			continue
		}
		cut := endID.ReplaceAllString(s.text, f.timeAtEnd(i, sys))
		if s.name == "tie" {
			cut = strings.Replace(endID.ReplaceAllString(s.text, ""), "<tie", "<lv", 1)
			cut = strings.Replace(cut, "</tie>", "</lv>", 1)
		}
		text = strings.Replace(text, s.text, cut, 1)
	}
	return text
}

var startAt = regexp.MustCompile(` (startid|tstamp)="[^"]*"`)

// incoming continues lines that began before the system.
func (f *Flow) incoming(sys *System) string {
	var b strings.Builder
	for k := range f.spans {
		s := &f.spans[k]
		if s.measure >= sys.First || s.to < sys.First || withoutSlurs(s.text, sys.CutSlurs) == "" || !slices.Contains([]string{"slur", "tie", "hairpin", "phrase"}, s.name) {
			continue
		}
		text := startAt.ReplaceAllString(anyID.ReplaceAllString(s.text, ""), "")
		text = strings.Replace(text, "<"+s.name, "<"+s.name+` tstamp="0"`, 1)
		if !strings.Contains(text, " staff=") {
			text = strings.Replace(text, "<"+s.name, "<"+s.name+` staff="1"`, 1)
		}
		if s.to > sys.Last {
			text = endID.ReplaceAllString(text, f.timeAtEnd(sys.First, sys))
		}
		b.WriteString(text)
	}
	return b.String()
}

var (
	innerPicture = regexp.MustCompile(`(?s)<svg class="definition-scale"[^>]*viewBox="0 0 ([0-9.]+) ([0-9.]+)"[^>]*>(.*)</svg>\s*</svg>`)
	pictureStyle = regexp.MustCompile(`(?s)<style[^>]*>.*?</style>`)
)

// unwrap takes a picture out of its frame.
func unwrap(svg string) (Drawn, error) {
	id := pictureID.FindStringSubmatch(svg)
	m := innerPicture.FindStringSubmatch(svg)
	if id == nil || m == nil {
		return Drawn{}, fmt.Errorf("engrave: a picture of %d bytes has no frame", len(svg))
	}
	var d Drawn
	if _, err := fmt.Sscanf(m[1]+" "+m[2], "%g %g", &d.Width, &d.Height); err != nil {
		return d, fmt.Errorf("engrave: the size of a picture: %w", err)
	}
	d.Width, d.Height = d.Width/100, d.Height/100
	d.Body = strings.ReplaceAll(m[3], "-"+id[1]+`"`, GlyphMark+`"`)
	if g := glyphDefs.FindStringSubmatch(svg); g != nil {
		d.Defs = strings.ReplaceAll(g[1], "-"+id[1]+`"`, GlyphMark+`"`)
	}
	d.Body = pictureStyle.ReplaceAllString(d.Body, "")
	return d, nil
}

// Glyphs are the shapes of a picture one by one.
func Glyphs(defs string) []string { return glyphShape.FindAllString(defs, -1) }

// Within keeps of marks what belongs to some measures: what stands on their notes,
// and slurs that cross them.
func (f *Flow) Within(adds []Added, first, last int) []Added {
	var out []Added
	for _, a := range adds {
		m, ok := f.notes[a.Note]
		end := m
		if a.Kind == SlurTo {
			end = f.notes[a.To]
		}
		if ok && end >= first && m <= last {
			out = append(out, a)
		}
	}
	return out
}

// withoutSlurs takes printed slurs out.
func withoutSlurs(text string, ends [][2]string) string {
	for _, e := range ends {
		start, end := ` startid="#`+e[0]+`"`, ` endid="#`+e[1]+`"`
		if !strings.Contains(text, start) {
			continue
		}
		text = slurElement.ReplaceAllStringFunc(text, func(s string) string {
			if strings.Contains(s, start) && strings.Contains(s, end) {
				return ""
			}
			return s
		})
	}
	return text
}

var slurElement = regexp.MustCompile(`<slur\b[^>]*/>`)
