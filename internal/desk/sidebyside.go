package desk

import (
	"context"
	"fmt"
	"net/http"
	"strconv"

	"pochette/internal/engrave"
	"pochette/internal/score"
)

// Bars drawn side by side show, of each plan, what it has otherwise than the other.

// drawnBars is how many bars of a comparison, or alternatives, are drawn.
const drawnBars = 40

// sideMark is a value of a key as a mark for the engraver; false where it is none
// (a stroke that goes on has no sign).
func sideMark(id score.NoteID, key, v, class string) (engrave.Added, bool) {
	a := engrave.Added{Note: idOf(id), Text: v, Class: class, Strong: true}
	switch {
	case v == "":
		return a, false
	case key == keyBow:
		a.Kind, a.Text, a.Class = engrave.Bow, map[string]string{"up": "up", "down": "dn"}[v], "bow "+class
		return a, a.Text != ""
	case key == keyFinger && v == "thumb":
		a.Kind, a.Text, a.Class = engrave.Finger, "ϙ", "finger "+class
	case key == keyFinger:
		a.Kind, a.Class = engrave.Finger, "finger "+class
	case key == keyString:
		a.Kind, a.Text, a.Class = engrave.Numeral, numeral(v), "string "+class
	default:
		return a, false
	}
	return a, true
}

// sides are the marks of a change of one note, fingers before numerals.
func sides(id score.NoteID, set map[string]string, class string) []engrave.Added {
	var out []engrave.Added
	for _, k := range []string{keyBow, keyFinger, keyString} {
		if a, ok := sideMark(id, k, set[k], class); ok {
			out = append(out, a)
		}
	}
	return out
}

// bare is a picture with some marks alone.
func (c *picture) bare(added []engrave.Added) *picture {
	o := *c
	o.added = added
	return &o
}

// drawSides draws the bars of a comparison that differ.
func (d *Desk) drawSides(ctx context.Context, pic *picture, c *comparison) error {
	here, there := pic.bare(c.marksHere), pic.bare(c.marksThere)
	n := 0
	for i := range c.Bars {
		b := &c.Bars[i]
		if b.Same {
			continue
		}
		if n++; n > drawnBars {
			return nil
		}
		var err error
		if b.Here.SVG, err = here.excerpt(ctx, b.Measure, b.Measure, fmt.Sprintf("-a%d", b.Measure)); err != nil {
			return err
		}
		if b.There.SVG, err = there.excerpt(ctx, b.Measure, b.Measure, fmt.Sprintf("-b%d", b.Measure)); err != nil {
			return err
		}
	}
	return nil
}

// drawAlternatives draws the measures that each alternative changes, with the marks
// that it would have.
func (d *Desk) drawAlternatives(ctx context.Context, pic *picture, alts []alternative) error {
	for i := range alts[:min(len(alts), drawnBars)] {
		a := &alts[i]
		if len(a.Changes) == 0 {
			continue
		}
		first, last := a.Changes[0].Measure, a.Changes[0].Measure
		for _, c := range a.Changes {
			first, last = min(first, c.Measure), max(last, c.Measure)
		}
		var err error
		if a.Excerpt, err = pic.bare(a.marks).excerpt(ctx, first, min(last, first+7), "-v"+strconv.Itoa(i)); err != nil {
			return err
		}
	}
	return nil
}

// sidePicture readies the drawing of bars side by side, narrow where no width is
// asked for.
func (d *Desk) sidePicture(r *http.Request) (*picture, error) {
	l, err := lookOf(r.URL.Query())
	if err != nil {
		return nil, err
	}
	if !r.URL.Query().Has("width") {
		l.width = 90
	}
	l.layers = nil
	pic, _, err := d.picture(r, l)
	return pic, err
}
