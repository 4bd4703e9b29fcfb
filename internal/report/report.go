// Package report lays out what was found in a movement as one self-contained
// HTML page: no script, no request to anywhere, readable on a phone and on paper.
//
// It is handed plain values and says nothing of its own about the music.
package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
)

// Document is everything the page shows.
type Document struct {
	Title, Work, Composer string
	Source                string // name of the file that was read
	Instrument            string // "Viola, strings C3 G3 D4 A4"
	Summary               []string
	Figures               []Figure
	Glyphs                template.HTML // one hidden <svg> with the shapes that all excerpts share
	First                 []Item        // where to look first, most pressing first
	Hard                  []Item        // hard spots, hardest first
	Alternatives          []Item        // other plans, cheapest first
	Decided               []Item        // what each decision changes
	Costs                 string        // what the costs of both are counted in, said once
	Form                  []Item        // sections, phrases and what the meter leaves open
	Keys                  []Item        // stretches in one key
	Harmony               []ChordRow    // the chords of each bar
	Odd                   []Item        // differences between parallel passages that surprise most
	Parallels             []Passage     // what comes again, and what differs
	Once                  []Item        // what occurs only once
	Whole                 []Item        // findings about the file or the movement as a whole
	Bars                  []Bar
	Words                 []Word
	Cautions              []string
	Version               string
}

// Figure is one number of the summary with its name.
type Figure struct{ Value, Name string }

// Word explains a term that the page uses.
type Word struct{ Term, Meaning string }

// Bar is a measure that has something to say.
type Bar struct {
	ID      string // unique within the page, for links
	Label   string // "Measure 12"
	Excerpt template.HTML
	Chords  string // key and chords in a line
	Hard    string // its difficulty in a line: "hard, 62 of 100: shifts 40, quick notes 22"
	Items   []Item
	Notes   []NoteRow
}

// Item is one finding.
type Item struct {
	Topic      string // bow, hand, crossing, text
	Grade      string // trouble, caution, remark
	Place      string
	Bar        string // ID of the bar it belongs to, "" for the whole
	Text       string
	Why        string
	Suggestion string
}

// ChordRow is a line of the table of chords.
type ChordRow struct{ Bar, Label, Key, Chords string }

// Passage is one that comes again.
type Passage struct {
	Place, Bar  string
	Again, Late string // place and bar of the second
	Text        string
	Differences []Item
}

// NoteRow is a line of the table of a bar.
type NoteRow struct {
	Beat, Notes, Bow, Strings, Position, Fingers, Why string
}

//go:embed report.html
var pageSource string

//go:embed report.css
var style string

var page = template.Must(template.New("report").Funcs(template.FuncMap{
	"css": func() template.CSS { return template.CSS(style) },
}).Parse(pageSource))

// Write renders the document.
func Write(w io.Writer, d Document) error {
	if err := page.Execute(w, d); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return nil
}
