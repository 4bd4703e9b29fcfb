package store

import (
	"archive/zip"
	"bytes"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// A piece as one file is a zip (docs/PIECE_FILE.md):
//
//	piece.json       what the library knows of the piece, with format and version
//	source/NAME      the source's bytes
//	decisions.yaml   what stands decided, as docs/DECISIONS.md has it
//	history.json     the log
//	plans.json       named plans
//	witnesses.json   names of the witnesses, and
//	witness/N        their bytes, by place in that list from 1
//
// history.json is what the piece is rebuilt from; decisions.yaml says the same of
// fingers, strings, positions and bow to a reader and to other programs.

// Format and FormatVersion stand in piece.json.
const (
	Format        = "pochette-piece"
	FormatVersion = 1
)

// Limits on a file that is imported.
const (
	MaxArchive  = 160 << 20 // bytes as sent
	maxUnpacked = 256 << 20 // bytes of all members together
	maxMembers  = 200
	maxRatio    = 300 // unpacked to packed, of one member above a megabyte
	maxList     = 32 << 20
	maxWitness  = 64
)

type manifest struct {
	Format  string `json:"format"`
	Version int    `json:"version"`
	Piece
}

type planFile struct {
	Plan
	Body json.RawMessage `json:"body"`
}

// Export writes a piece as one file. decisions is the text of decisions.yaml.
func (s *Store) Export(w io.Writer, id string, decisions []byte) error {
	a, err := s.gather(id)
	if err != nil {
		return err
	}
	z := zip.NewWriter(w)
	put := func(name string, data []byte) {
		if err != nil {
			return
		}
		var f io.Writer
		if f, err = z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: a.meta.Changed.UTC()}); err == nil {
			_, err = f.Write(data)
		}
	}
	putJSON := func(name string, v any) {
		b, jerr := json.MarshalIndent(v, "", " ")
		if err = errors.Join(err, jerr); err == nil {
			put(name, append(b, '\n'))
		}
	}
	putJSON("piece.json", manifest{Format, FormatVersion, a.meta})
	put("source/"+a.meta.File, a.source)
	put("decisions.yaml", decisions)
	putJSON("history.json", a.log)
	putJSON("plans.json", a.plans)
	putJSON("witnesses.json", a.witnesses)
	for i, b := range a.texts {
		put(fmt.Sprintf("witness/%d", i+1), b)
	}
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	return z.Close()
}

// archive is all of one piece.
type archive struct {
	meta      Piece
	source    []byte
	log       []Entry
	plans     []planFile
	witnesses []Witness
	texts     [][]byte
}

func (s *Store) gather(id string) (*archive, error) {
	a := &archive{}
	var err error
	if a.meta, err = s.Piece(id); err != nil {
		return nil, err
	}
	if a.source, err = s.Source(id); err != nil {
		return nil, err
	}
	if a.log, err = s.Log(id); err != nil {
		return nil, err
	}
	plans, err := s.Plans(id)
	if err != nil {
		return nil, err
	}
	a.plans = []planFile{}
	for _, p := range plans {
		full, err := s.Plan(id, p.ID)
		if err != nil {
			return nil, err
		}
		a.plans = append(a.plans, planFile{p, full.Body})
	}
	if a.witnesses, err = s.Witnesses(id); err != nil {
		return nil, err
	}
	for _, w := range a.witnesses {
		_, b, err := s.WitnessSource(id, w.ID)
		if err != nil {
			return nil, err
		}
		a.texts = append(a.texts, b)
	}
	return a, nil
}

// Import reads a piece that Export wrote and puts it into the library under a new
// ID. check may look at the piece before anything is kept. The error is one line;
// then nothing was kept.
func (s *Store) Import(data []byte, check func(p Piece, source []byte) error) (Piece, error) {
	a, err := readArchive(data)
	if err != nil {
		return Piece{}, fmt.Errorf("this file is no piece of a library: %w", err)
	}
	if check != nil {
		if err := check(a.meta, a.source); err != nil {
			return Piece{}, err
		}
	}
	p := a.meta
	p.ID, p.File, p.Revision = newID(), BaseName(p.File), len(a.log)
	err = s.write(func(tx *sql.Tx) error { return a.insert(tx, p) })
	return p, err
}

func (a *archive) insert(tx *sql.Tx, p Piece) error {
	if err := insertPiece(tx, p, a.source); err != nil {
		return err
	}
	for _, e := range a.log {
		if _, err := tx.Exec(`INSERT INTO log (piece, n, base, at, who, kind, text, reason, body) VALUES (?,?,?,?,?,?,?,?,?)`, p.ID, e.N, e.Base, e.At.UnixMilli(), e.Who, e.Kind, e.Text, e.Reason, string(e.Body)); err != nil {
			return err
		}
	}
	for _, pl := range a.plans {
		if _, err := tx.Exec(`INSERT INTO plan (piece, name, who, at, base, body) VALUES (?,?,?,?,?,?)`, p.ID, pl.Name, pl.Who, pl.At.UnixMilli(), pl.Base, string(pl.Body)); err != nil {
			return err
		}
	}
	renamed := map[int64]int64{}
	for i, w := range a.witnesses {
		res, err := tx.Exec(`INSERT INTO witness (piece, name, at, source) VALUES (?,?,?,?)`, p.ID, w.Name, w.At.UnixMilli(), a.texts[i])
		var id int64
		if err := inserted(res, err, &id); err != nil {
			return err
		}
		renamed[w.ID] = id
	}
	return renumber(tx, p.ID, renamed)
}

// renumber brings the witnesses that the log names to their numbers here.
func renumber(tx *sql.Tx, piece string, to map[int64]int64) error {
	for old, now := range to {
		// two steps, through negative numbers, so that no number is taken for another
		if _, err := tx.Exec(`UPDATE log SET body = json_set(body, '$.choose.witness', ?) WHERE piece = ? AND json_extract(body, '$.choose.witness') = ?`, -now, piece, old); err != nil {
			return err
		}
	}
	_, err := tx.Exec(`UPDATE log SET body = json_set(body, '$.choose.witness', -json_extract(body, '$.choose.witness')) WHERE piece = ? AND json_extract(body, '$.choose.witness') < 0`, piece)
	return err
}

// members unpacks a zip within the limits; a name twice is refused.
func members(data []byte) (map[string][]byte, error) {
	if len(data) > MaxArchive {
		return nil, fmt.Errorf("it is larger than %d MB", MaxArchive>>20)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, errors.New("it is no zip, or it is cut off")
	}
	if len(z.File) > maxMembers {
		return nil, fmt.Errorf("it has %d members; at most %d are read", len(z.File), maxMembers)
	}
	out := map[string][]byte{}
	left := int64(maxUnpacked)
	for _, f := range z.File {
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		if _, twice := out[f.Name]; twice {
			return nil, fmt.Errorf("it has the member %.60q twice", f.Name)
		}
		if f.UncompressedSize64 > 1<<20 && f.UncompressedSize64/max(1, f.CompressedSize64) > maxRatio {
			return nil, fmt.Errorf("the member %.60q would grow %d times", f.Name, f.UncompressedSize64/max(1, f.CompressedSize64))
		}
		b, err := unpack(f, left)
		if err != nil {
			return nil, fmt.Errorf("the member %.60q: %w", f.Name, err)
		}
		left -= int64(len(b))
		out[f.Name] = b
	}
	return out, nil
}

func unpack(f *zip.File, most int64) ([]byte, error) {
	if f.UncompressedSize64 > uint64(most) {
		return nil, fmt.Errorf("all together is more than %d MB", maxUnpacked>>20)
	}
	r, err := f.Open()
	if err != nil {
		return nil, errors.New("it cannot be unpacked")
	}
	b, err := io.ReadAll(io.LimitReader(r, most+1))
	if err = errors.Join(err, r.Close()); err != nil {
		return nil, errors.New("it is damaged")
	}
	if int64(len(b)) > most {
		return nil, fmt.Errorf("all together is more than %d MB", maxUnpacked>>20)
	}
	return b, nil
}

func readArchive(data []byte) (*archive, error) {
	files, err := members(data)
	if err != nil {
		return nil, err
	}
	var m manifest
	if err := list1(files, "piece.json", &m); err != nil {
		return nil, err
	}
	if m.Format != Format {
		return nil, fmt.Errorf("piece.json has the format %.40q, not %q", m.Format, Format)
	}
	if m.Version != FormatVersion {
		return nil, fmt.Errorf("it has version %d of the form; this program reads %d", m.Version, FormatVersion)
	}
	a := &archive{meta: m.Piece}
	for _, t := range []string{m.Title, m.Part, m.Instrument, m.File} {
		if len(t) > MaxText {
			return nil, errors.New("piece.json has a text that is too long")
		}
	}
	if err := a.sourceFrom(files); err != nil {
		return nil, err
	}
	if err := a.logFrom(files); err != nil {
		return nil, err
	}
	return a, a.othersFrom(files)
}

// list1 reads a member that is JSON.
func list1(files map[string][]byte, name string, v any) error {
	b, ok := files[name]
	switch {
	case !ok:
		return fmt.Errorf("it has no %s", name)
	case len(b) > maxList:
		return fmt.Errorf("%s is larger than %d MB", name, maxList>>20)
	}
	if err := json.Unmarshal(b, v); err != nil {
		return fmt.Errorf("%s cannot be read: %v", name, err)
	}
	return nil
}

func (a *archive) sourceFrom(files map[string][]byte) error {
	found := ""
	for name := range files {
		if strings.HasPrefix(name, "source/") {
			if found != "" {
				return errors.New("it has more than one source")
			}
			found = name
		}
	}
	if found == "" {
		return errors.New("it has no source")
	}
	if len(files[found]) > MaxSource {
		return fmt.Errorf("its source is larger than %d MB", MaxSource>>20)
	}
	a.meta.File, a.source = BaseName(found), files[found]
	return nil
}

func (a *archive) logFrom(files map[string][]byte) error {
	if err := list1(files, "history.json", &a.log); err != nil {
		return err
	}
	for i := range a.log {
		e := &a.log[i]
		if e.N != i+1 || e.Base != i {
			return fmt.Errorf("history.json: step %d has the number %d on %d", i+1, e.N, e.Base)
		}
		if len(e.Body) == 0 || len(e.Body) > MaxBody || len(e.Text) > MaxText || len(e.Reason) > MaxText || len(e.Who) > MaxText || e.Kind == "" || len(e.Kind) > 40 {
			return fmt.Errorf("history.json: step %d is empty or too large", i+1)
		}
	}
	return nil
}

func (a *archive) othersFrom(files map[string][]byte) error {
	if _, ok := files["plans.json"]; ok {
		if err := list1(files, "plans.json", &a.plans); err != nil {
			return err
		}
	}
	for _, p := range a.plans {
		if len(p.Body) == 0 || len(p.Body) > MaxBody || len(p.Name) > MaxText || len(p.Who) > MaxText {
			return errors.New("plans.json: a plan is empty or too large")
		}
	}
	if _, ok := files["witnesses.json"]; !ok {
		return nil
	}
	if err := list1(files, "witnesses.json", &a.witnesses); err != nil {
		return err
	}
	if len(a.witnesses) > maxWitness {
		return fmt.Errorf("it has %d witnesses; at most %d are read", len(a.witnesses), maxWitness)
	}
	for i := range a.witnesses {
		w := &a.witnesses[i]
		w.Name = BaseName(w.Name)
		b, ok := files[fmt.Sprintf("witness/%d", i+1)]
		if !ok || len(b) > MaxSource {
			return fmt.Errorf("witness %d is missing or too large", i+1)
		}
		a.texts = append(a.texts, b)
	}
	if slices.ContainsFunc(a.witnesses, func(w Witness) bool { return w.ID <= 0 }) {
		return errors.New("witnesses.json: a witness has no number")
	}
	a.meta.Created, a.meta.Changed = sane(a.meta.Created), sane(a.meta.Changed)
	return nil
}

// sane keeps times within what the library can hold.
func sane(t time.Time) time.Time {
	if t.Year() < 1970 || t.Year() > 9999 {
		return time.Now()
	}
	return t
}
