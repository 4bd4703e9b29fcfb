package musicxml

import (
	"fmt"
	"strings"

	"pochette/internal/score"
)

// Said is a dynamic or words to be put before a note, as a <direction>.
type Said struct {
	Note    score.NoteID // as Decode of the same music numbers it
	Dynamic string       // an element of <dynamics>: "mf"
	Words   string
}

// SpliceSaid puts directions before notes of a part of a marked file, between the
// same comments as Splice, so that Strip takes them out too. What it is given must
// hold the same notes as the source that Said numbers: marks that Splice added are
// no matter.
func SpliceSaid(data []byte, name, partID string, said []Said) ([]byte, error) {
	if len(said) == 0 {
		return data, nil
	}
	src, err := Open(data, name)
	if err != nil {
		return nil, err
	}
	sc, _, err := Decode(src)
	if err != nil {
		return nil, err
	}
	var part *score.Part
	for _, p := range sc.Parts {
		if p.ID == partID {
			part = p
		}
	}
	if part == nil {
		return nil, fmt.Errorf("musicxml: no part %q", partID)
	}
	var edits []edit
	for _, s := range said {
		if s.Note < 0 || int(s.Note) >= len(part.Notes) {
			return nil, fmt.Errorf("musicxml: words on note %d of a part that has %d", s.Note, len(part.Notes))
		}
		n := &part.Notes[part.Notes[s.Note].Head]
		at := int(n.Src.Start)
		indent := indentBefore(src.XML, at)
		body, place := "<words>"+escapeText(s.Words)+"</words>", "above"
		if s.Dynamic != "" {
			body, place = "<dynamics><"+s.Dynamic+"/></dynamics>", "below"
		}
		text := fmt.Sprintf(`<direction placement="%s"><direction-type>%s</direction-type>`, place, body)
		if n.Voice != "" {
			text += "<voice>" + escapeText(n.Voice) + "</voice>"
		}
		if n.Staff > 1 {
			text += fmt.Sprintf("<staff>%d</staff>", n.Staff)
		}
		text += "</direction>"
		edits = append(edits, edit{at, at, "<!--" + addOpen + "-->" + text + indent + "<!--" + addClose + "-->"})
	}
	return src.Bytes(applyEdits(src.XML, edits)), nil
}

func escapeText(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(s)
}
