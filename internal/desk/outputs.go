package desk

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/decide"
	"pochette/internal/musicxml"
	"pochette/internal/score"
	"pochette/internal/store"
	"pochette/internal/study"
)

// attach names the file that a browser saves an answer under.
func attach(w http.ResponseWriter, kind, name string) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", "attachment; filename*=UTF-8''"+url.PathEscape(name))
}

func fileStem(p store.Piece) string {
	name := strings.Map(func(r rune) rune {
		if strings.ContainsRune(`/\:*?"<>|`, r) || r < ' ' {
			return '-'
		}
		return r
	}, p.Title)
	if name = strings.TrimSpace(name); name == "" {
		return "piece"
	}
	return name
}

// ExportEnding ends the name of a piece as one file.
const ExportEnding = ".pochette"

func (d *Desk) exportPiece(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	var buf bytes.Buffer
	p, err := d.Export(&buf, id)
	if err != nil {
		return err
	}
	attach(w, "application/zip", fileStem(p)+ExportEnding)
	_, _ = w.Write(buf.Bytes()) // a page that has gone cannot be told
	return nil
}

// Export writes a piece as one file.
func (d *Desk) Export(buf *bytes.Buffer, id string) (store.Piece, error) {
	meta, err := d.store.Piece(id)
	if err != nil {
		return meta, err
	}
	var decisions []byte
	err = d.with(id, func(p *piece) error {
		decisions = p.decisionsFile()
		return nil
	})
	if err != nil {
		return meta, err
	}
	return meta, d.store.Export(buf, id, decisions)
}

// decisionsFile is what stands decided in the form of docs/DECISIONS.md.
func (p *piece) decisionsFile() []byte {
	f := decide.File{Part: p.live.Print.ID}
	ids := make([]score.NoteID, 0, len(p.st.notes))
	for ref := range p.st.notes {
		if id, ok := p.refs.note(ref); ok {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	for _, id := range ids {
		ref := p.refs.of[id]
		s, ok := settledOf(p.st.notes[ref].set)
		at, err := decide.ParsePlace(ref)
		if !ok || err != nil {
			continue
		}
		f.Decisions = append(f.Decisions, decide.Decision{At: at, Finger: s.Finger, String: s.String, Position: s.Position, Bow: s.Bow, Reason: s.Reason})
	}
	return f.Format()
}

func (d *Desk) importPiece(w http.ResponseWriter, r *http.Request) error {
	data, _, err := upload(w, r, store.MaxArchive)
	if err != nil {
		return err
	}
	p, err := d.Import(data)
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusCreated, p)
}

// Import takes a piece that was exported; a source that cannot be studied, or a
// history that cannot be read, is refused before anything is kept.
func (d *Desk) Import(data []byte) (store.Piece, error) {
	p, err := d.store.Import(data, func(p store.Piece, source []byte) error {
		_, err := study.OpenLive(study.Request{Name: p.File, Data: source, Part: p.Part, Instrument: p.Instrument})
		return err
	})
	if err != nil {
		return p, refused{err}
	}
	if _, err := d.open(p.ID); err != nil {
		return p, refused{fmt.Errorf("the history of %s cannot be followed: %w", p.File, cleared(err, d.store.Remove(p.ID)))}
	}
	d.news.tell(change1{Piece: p.ID})
	return p, nil
}

// cleared adds what went wrong while tidying up.
func cleared(err, also error) error {
	if also != nil {
		return fmt.Errorf("%w (and it could not be taken out again: %w)", err, also)
	}
	return err
}

// markedXML is the source with all that was decided and proposed put in.
func (p *piece) markedXML() ([]byte, error) {
	changes := slices.Concat(p.live.Bow.Plan.SlurChanges, p.st.slurChanges(p.live.Print, p.refs))
	marks := slices.Clone(p.live.Marks)
	var said []musicxml.Said
	for ref, s := range p.st.notes {
		id, ok := p.refs.note(ref)
		if !ok {
			continue
		}
		if s.set[keyBreath] != "" && !p.live.Print.Notes[id].Has(score.BreathMark) {
			marks = append(marks, score.NoteMark{Note: id, Mark: score.Mark{Kind: score.BreathMark, Origin: score.Decided}})
		}
		if v := s.set[keyDynamic]; v != "" {
			said = append(said, musicxml.Said{Note: id, Dynamic: v})
		}
		if v := s.set[keyWords]; v != "" {
			said = append(said, musicxml.Said{Note: id, Words: v})
		}
	}
	slices.SortStableFunc(marks, func(a, b score.NoteMark) int { return int(a.Note) - int(b.Note) })
	slices.SortStableFunc(said, func(a, b musicxml.Said) int {
		if a.Note != b.Note {
			return int(a.Note) - int(b.Note)
		}
		return strings.Compare(a.Dynamic+" "+a.Words, b.Dynamic+" "+b.Words)
	})
	out, err := musicxml.Splice(p.live.Source, p.live.Print, marks, changes)
	if err != nil {
		return nil, fmt.Errorf("marking the part: %w", err)
	}
	return musicxml.SpliceSaid(out, p.file, p.live.Print.ID, said)
}

func (d *Desk) getPart(w http.ResponseWriter, r *http.Request) error {
	meta, err := d.store.Piece(r.PathValue("id"))
	if err != nil {
		return err
	}
	var xml []byte
	err = d.with(meta.ID, func(p *piece) error {
		xml, err = p.markedXML()
		return err
	})
	if err != nil {
		return err
	}
	attach(w, "application/vnd.recordare.musicxml+xml", fileStem(meta)+".musicxml")
	_, _ = w.Write(xml)
	return nil
}

func (d *Desk) getPlaces(w http.ResponseWriter, r *http.Request) error {
	out := []lessonPlace{}
	err := d.with(r.PathValue("id"), func(p *piece) error {
		out = append(out, p.st.places...)
		return nil
	})
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusOK, out)
}

func (d *Desk) putPlaces(w http.ResponseWriter, r *http.Request) error {
	var q []lessonPlace
	if err := read(w, r, &q); err != nil {
		return err
	}
	if len(q) > 500 {
		return bad("at most 500 places are kept")
	}
	return d.with(r.PathValue("id"), func(p *piece) error {
		for _, pl := range q {
			if pl.From < 0 || pl.To < pl.From || pl.To >= len(p.live.Print.Measures) || len(pl.Note) > 2000 {
				return bad("a place wants from and to, measures by index, and a note of at most 2000 bytes")
			}
		}
		_, err := d.take(p, kindPlaces, fmt.Sprintf("%d places for a lesson", len(q)), "", body{Places: append([]lessonPlace{}, q...)}, nil)
		if err != nil {
			return err
		}
		return writeJSON(w, http.StatusOK, q)
	})
}

func (d *Desk) postReason(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Reason string `json:"reason"`
		Base   *int   `json:"base"`
	}
	if err := read(w, r, &q); err != nil {
		return err
	}
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil {
		return bad("step %q: want its number", oneLine(r.PathValue("n")))
	}
	reason, err := checkReason(q.Reason)
	if err != nil {
		return err
	}
	return d.with(r.PathValue("id"), func(p *piece) error {
		if !slices.ContainsFunc(p.log, func(e store.Entry) bool { return e.N == n }) {
			return store.ErrNone
		}
		a, err := d.take(p, kindReason, fmt.Sprintf("a reason for step %d", n), reason, body{Of: n}, nil)
		if err != nil {
			return err
		}
		return writeJSON(w, http.StatusOK, a)
	})
}
