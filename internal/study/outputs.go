package study

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"

	"pochette/internal/engrave"
	"pochette/internal/musicxml"
	"pochette/internal/paper"
	"pochette/internal/paper/svg"
	"pochette/internal/score"
)

// Names of the files that a study leaves.
const (
	PartXML    = "part.musicxml"
	PartPDF    = "part.pdf"
	ReportHTML = "report.html"
	DataJSON   = "study.json"
)

// File is one output.
type File struct {
	Name string
	Data []byte
}

// OutputOptions choose how the outputs are laid out.
type OutputOptions struct {
	Paper   string // a4 or letter
	Version string // of the program, for the report and the data
	// Step, where not nil, is told what is being made and how far it is.
	Step func(what string, done, total int)
}

func (o OutputOptions) step(what string, done, total int) {
	if o.Step != nil {
		o.Step(what, done, total)
	}
}

// LayoutFor is the page layout of a paper size: "a4" or "letter".
func LayoutFor(size string) (engrave.Layout, error) {
	switch strings.ToLower(size) {
	case "a4", "":
		return engrave.A4(), nil
	case "letter":
		return engrave.Letter(), nil
	}
	return engrave.Layout{}, fmt.Errorf("paper %q: want a4 or letter", size)
}

// Outputs makes the four files. The engraver comes from the pool.
func (s *Study) Outputs(ctx context.Context, pool *engrave.Pool, o OutputOptions) ([]File, error) {
	layout, err := LayoutFor(o.Paper)
	if err != nil {
		return nil, err
	}
	const total = 4
	o.step("marking the part", 0, total)
	marked, err := s.MarkedXML()
	if err != nil {
		return nil, err
	}
	o.step("engraving", 1, total)
	session, err := s.engraveSession(ctx, pool, marked)
	if err != nil {
		return nil, err
	}
	defer session.Close()
	o.step("drawing the pages and the bars of the report", 2, total)
	pdf, page, err := s.drawn(ctx, session, layout, o.Version)
	if err != nil {
		return nil, err
	}
	o.step("writing the data", 3, total)
	files := []File{{PartXML, s.Source.Bytes(marked)}, {PartPDF, pdf}, {ReportHTML, page}}
	data, err := s.json(o.Version, files)
	if err != nil {
		return nil, err
	}
	o.step("done", total, total)
	return append(files, File{DataJSON, data}), nil
}

// Sum is the SHA-256 of a file in hexadecimal digits, as study.json keeps it.
func Sum(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Written gives the sums of the files that a study.json was written with, by their names;
// nil where the data is not a study's.
func Written(data []byte) map[string]string {
	var d struct {
		Schema  int               `json:"schema"`
		Program string            `json:"program"`
		Files   map[string]string `json:"files_sha256"`
	}
	if json.Unmarshal(data, &d) != nil || d.Schema == 0 || !strings.HasPrefix(d.Program, "pochette ") {
		return nil
	}
	if d.Files == nil {
		d.Files = map[string]string{}
	}
	return d.Files
}

// drawn makes the part and the report side by side: the session draws its excerpts in a
// second engraver where one is free.
func (s *Study) drawn(ctx context.Context, session *engrave.Session, layout engrave.Layout, version string) (pdf, page []byte, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	reported := make(chan error, 1)
	go func() {
		var err error
		page, err = s.report(ctx, session, version)
		reported <- err
	}()
	pdf, err = s.pdf(ctx, session, layout)
	if err != nil {
		cancel() // the report is of no use without the part
		<-reported
		return nil, nil, err
	}
	if err := <-reported; err != nil {
		return nil, nil, err
	}
	return pdf, page, nil
}

// MarkedXML is the source with the marks added, in UTF-8.
func (s *Study) MarkedXML() ([]byte, error) {
	out, err := musicxml.Splice(s.Source, s.Part, s.Marks, s.Bow.Plan.SlurChanges)
	if err != nil {
		return nil, fmt.Errorf("%s: marking the part: %w", s.Source.Name, err)
	}
	return out, nil
}

// engraveSession reads the marked part into an engraver: one part, partwise.
func (s *Study) engraveSession(ctx context.Context, pool *engrave.Pool, marked []byte) (*engrave.Session, error) {
	one, err := EngraverInput(marked, s.Source.Name, s.Part.ID)
	if err != nil {
		return nil, err
	}
	session, err := pool.Session(ctx, one)
	if err != nil {
		return nil, fmt.Errorf("%s: engraving: %w", s.Source.Name, err)
	}
	return session, nil
}

// EngraverInput turns MusicXML into what the engraver reads: partwise, one part
// alone where partID is not empty, and with beams in a part that has none.
func EngraverInput(xml []byte, name, partID string) ([]byte, error) {
	src, err := musicxml.Open(xml, name)
	if err != nil {
		return nil, err
	}
	out, err := musicxml.Partwise(src)
	if err != nil {
		return nil, err
	}
	if partID != "" {
		if out, err = musicxml.OnePart(out, partID); err != nil {
			return nil, err
		}
	}
	if out, err = musicxml.Beamed(out); err != nil {
		return nil, fmt.Errorf("%s: beams for the engraver: %w", name, err)
	}
	return out, nil
}

func (s *Study) pdf(ctx context.Context, session *engrave.Session, layout engrave.Layout) ([]byte, error) {
	svgs, err := session.SVG(ctx, layout)
	if err != nil {
		return nil, fmt.Errorf("%s: engraving: %w", s.Source.Name, err)
	}
	pages, err := Pages(svgs, layout)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.Source.Name, err)
	}
	var buf bytes.Buffer
	meta := paper.Meta{Title: s.title(), Author: s.Score.Composer, Subject: partName(s.Part) + ", with bow marks and fingerings", Creator: "pochette"}
	if err := paper.PDF(&buf, pages, meta); err != nil {
		return nil, fmt.Errorf("%s: drawing the pages: %w", s.Source.Name, err)
	}
	return buf.Bytes(), nil
}

// mmPerUnit: a user unit of SVG is 1/96 inch (CSS 2.1, 4.3.2).
const mmPerUnit = 25.4 / 96

// Pages puts engraved pages on sheets: of the layout's size, or, where the layout
// cuts pages to the music, of the size that the engraver gave.
func Pages(svgs []string, l engrave.Layout) ([]paper.Page, error) {
	pages := make([]paper.Page, len(svgs))
	for i, page := range svgs {
		w, h := l.PageWidth, l.PageHeight
		if l.FitHeight || l.FitWidth {
			var err error
			if w, h, err = svg.Size(page); err != nil {
				return nil, fmt.Errorf("page %d: %w", i+1, err)
			}
			w, h = w*mmPerUnit, h*mmPerUnit
		}
		pages[i] = paper.Page{Width: w, Height: h, SVG: page}
	}
	return pages, nil
}

func (s *Study) title() string { return titleOf(s.Score) }

func titleOf(sc *score.Score) string {
	for _, t := range []string{sc.Title, sc.Work} {
		if strings.TrimSpace(t) != "" {
			return t
		}
	}
	return "Untitled"
}
