package main

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"pochette/internal/engrave"
	"pochette/internal/musicxml"
	"pochette/internal/paper"
	"pochette/internal/score"
	"pochette/internal/study"
)

type engraveFlags struct {
	out, paper, measures, part string
	staff, dpi                 float64
}

func engraveCommand() *cobra.Command {
	var f engraveFlags
	cmd := &cobra.Command{
		Use:   "engrave FILE",
		Short: "Draw a score as SVG, PNG or PDF",
		Long: `engrave draws a score as it stands, without studying it. The ending of the
output's name says what is drawn: .pdf is one document; .svg and .png are one file
a page, numbered when there are several. --measures draws an excerpt, cut to the
height of the music.`,
		Example: `  pochette engrave movement.musicxml -o movement.pdf
  pochette engrave movement.mxl -o page.png --dpi 200
  pochette engrave movement.xml -o excerpt.svg --measures 3-6`,
		Args: exactly(1, "one FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runEngrave(cmd.Context(), args[0], f)
		},
	}
	fl := cmd.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "file to write: NAME.pdf, NAME.svg or NAME.png (required)")
	fl.StringVar(&f.paper, "paper", "a4", "size of the pages: a4 or letter")
	fl.StringVar(&f.measures, "measures", "", "a range counted from 1, such as 3-6 (a pickup is 1)")
	fl.StringVar(&f.part, "part", "", "one part alone: its name, its id, or its number from 1")
	fl.Float64Var(&f.staff, "staff", 0, "height of a staff in mm (default: as for a printed part)")
	fl.Float64Var(&f.dpi, "dpi", 150, "dots per inch of a PNG")
	return cmd
}

func runEngrave(ctx context.Context, file string, f engraveFlags) error {
	ext := strings.ToLower(filepath.Ext(f.out))
	if ext != ".pdf" && ext != ".svg" && ext != ".png" {
		return usageError{fmt.Errorf("--out %q: want a name that ends in .pdf, .svg or .png", f.out)}
	}
	layout, err := engraveLayout(f)
	if err != nil {
		return usageError{err}
	}
	xml, err := engraveSource(file, f.part, f.measures)
	if err != nil {
		return err
	}
	pool, err := openEngraver(ctx)
	if err != nil {
		return err
	}
	defer pool.Close(ctx) // after Ctrl-C it does not wait for a page under way
	svgs, err := pool.SVG(ctx, xml, layout)
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	files, err := draw(svgs, layout, f, ext)
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	return writeAll(filepath.Dir(f.out), files)
}

func engraveLayout(f engraveFlags) (engrave.Layout, error) {
	layout, err := study.LayoutFor(f.paper)
	if err != nil {
		return layout, err
	}
	if f.measures != "" {
		width := layout.PageWidth
		layout = engrave.Excerpt(f.measures, width)
		layout.Inline, layout.ViewBox = false, false
	}
	if f.staff != 0 {
		layout.StaffHeight = f.staff
	}
	if !(f.dpi >= 10 && f.dpi <= 2400) { // so that NaN fails
		return layout, fmt.Errorf("--dpi %g: want 10 to 2400", f.dpi)
	}
	return layout, layout.Check()
}

// engraveSource reads the file and makes of it what the engraver reads; part and
// measures are looked for in it.
func engraveSource(file, part, measures string) ([]byte, error) {
	data, shown, err := readInput(file)
	if err != nil {
		return nil, err
	}
	src, err := musicxml.Open(data, shown)
	if err != nil {
		return nil, err
	}
	id := ""
	var sc *score.Score
	if part != "" || measures != "" {
		if sc, _, err = musicxml.Decode(src); err != nil {
			return nil, err
		}
	}
	if err := hasMeasures(sc, measures); err != nil {
		return nil, err
	}
	if part != "" {
		p, err := study.ChoosePart(sc, part)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", shown, err)
		}
		id = sc.Parts[p].ID
	}
	return study.EngraverInput(src.XML, shown, id)
}

// hasMeasures says whether a range that is well formed lies in the score.
func hasMeasures(sc *score.Score, measures string) error {
	if measures == "" {
		return nil
	}
	n := 0
	for _, p := range sc.Parts {
		n = max(n, len(p.Measures))
	}
	for _, end := range strings.Split(measures, "-") {
		if m, err := strconv.Atoi(end); err == nil && m > n {
			return usageError{fmt.Errorf("--measures %q: the score has %d measures", measures, n)}
		}
	}
	return nil
}

func draw(svgs []string, l engrave.Layout, f engraveFlags, ext string) ([]study.File, error) {
	base := strings.TrimSuffix(filepath.Base(f.out), filepath.Ext(f.out))
	pages, err := study.Pages(svgs, l)
	if err != nil {
		return nil, err
	}
	if ext == ".pdf" {
		var buf bytes.Buffer
		if err := paper.PDF(&buf, pages, paper.Meta{Title: base, Creator: "pochette"}); err != nil {
			return nil, err
		}
		return []study.File{{Name: base + ext, Data: buf.Bytes()}}, nil
	}
	var files []study.File
	for i, p := range pages {
		name := base + ext
		if len(svgs) > 1 {
			name = fmt.Sprintf("%s-%d%s", base, i+1, ext)
		}
		data := []byte(p.SVG)
		if ext == ".png" {
			var buf bytes.Buffer
			if err := paper.PNG(&buf, p, f.dpi); err != nil {
				return nil, err
			}
			data = buf.Bytes()
		}
		files = append(files, study.File{Name: name, Data: data})
	}
	return files, nil
}
