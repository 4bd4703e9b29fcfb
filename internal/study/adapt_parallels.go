package study

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"pochette/internal/parallels"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// readParallels takes what comes again and what is odd as package parallels tells
// it. Passages keep all their differences; what is odd is cut to the most
// surprising unless strict.
func (rd *Reading) readParallels(strict bool) {
	st := parallels.Analyze(rd.Score, rd.Part, parallels.Options{Strict: strict})
	for i := range st.Passages {
		rd.Parallels = append(rd.Parallels, rd.parallel(&st.Passages[i]))
	}
	for i := range st.Differences {
		d := &st.Differences[i]
		p := &rd.Parallels[d.Passage]
		p.Differences = append(p.Differences, rd.difference(d))
	}
	for i := range rd.Parallels {
		slices.SortStableFunc(rd.Parallels[i].Differences, func(a, b Said) int { return cmp.Compare(a.At, b.At) })
	}
	rd.Odd, rd.Once = rd.odd(st.Odd, strict), rd.odd(st.Single, strict)
}

func (rd *Reading) noteLoc(id score.NoteID) score.Loc { return timeline.AtNote(rd.Part, id) }

func (rd *Reading) parallel(p *parallels.Passage) Parallel {
	out := Parallel{From: rd.noteLoc(p.A[0]), To: rd.noteLoc(p.A[1]), OtherFrom: rd.noteLoc(p.B[0]), OtherTo: rd.noteLoc(p.B[1]), Interval: moved(p.Shift, p.Tonal), Differences: []Said{}}
	how := "at the same pitch"
	if out.Interval != "" {
		how = "moved " + out.Interval
	}
	out.Text = fmt.Sprintf("The passage comes again %s; pitch and length agree at %d of %s.", how, p.Alike, count(p.Pairs, "moment", "moments"))
	out.near, out.alike, out.moments, out.bits = p.Near(), p.Alike, p.Pairs, p.Bits
	if p.Exact {
		out.Text = fmt.Sprintf("The passage comes again %s, the same in pitch and length throughout.", how)
	}
	return out
}

// moved names a transposition: "a fifth up". One that keeps to the key has no
// quality.
func moved(iv pitch.Interval, tonal bool) string {
	if iv.Diatonic == 0 && iv.Chromatic == 0 {
		return ""
	}
	way, n, semitones := "up", iv.Diatonic, iv.Chromatic
	if n < 0 || n == 0 && semitones < 0 {
		way, n, semitones = "down", -n, -semitones
	}
	text := parallels.Interval(n)
	if !tonal {
		if q := intervalQuality(n%7, semitones-12*(n/7)); q != "perfect" || n%7 != 0 {
			text = q + " " + text
		}
	}
	if n > 14 && tonal || n > 14 && n%7 == 0 { // "two octaves and a third": no article
		return text + " " + way
	}
	return article(text) + " " + text + " " + way
}

// intervalQuality of a simple interval of so many steps and semitones.
func intervalQuality(steps, semitones int) string {
	major := [7]int{0, 2, 4, 5, 7, 9, 11}[steps]
	perfect := steps == 0 || steps == 3 || steps == 4
	switch d := semitones - major; {
	case d == 0 && perfect:
		return "perfect"
	case d == 0:
		return "major"
	case d == -1 && !perfect:
		return "minor"
	case d > 0:
		return "augmented"
	}
	return "diminished"
}

func article(word string) string {
	if slices.Contains([]byte("aeiou"), word[0]) {
		return "an"
	}
	return "a"
}

// difference says what stands in the two places, side by side.
func (rd *Reading) difference(d *parallels.Difference) Said {
	other := rd.noteLoc(d.B)
	return Said{Kind: string(d.Aspect), From: rd.noteLoc(d.A), To: rd.noteLoc(d.A), At: rd.Part.Notes[d.A].Onset, Other: &other, Weight: d.Surprise,
		Text: fmt.Sprintf("%s: %s here, %s at %s.", capitalized(string(d.Aspect)), d.InA, rd.plain(d.InB), other)}
}

// plain leaves out for a student what a note would be if it were moved.
func (rd *Reading) plain(text string) string {
	if rd.Level == Student {
		text, _, _ = strings.Cut(text, " (here it would be ")
	}
	return text
}

// odd takes what the package counts as odd; without strict, what surprises enough,
// and not more of it than can be looked through.
func (rd *Reading) odd(list []parallels.Odd, strict bool) []Said {
	var out []Said
	for i := range list {
		o := &list[i]
		if !strict && (o.Surprise < parallels.Surprising || len(out) >= parallels.MostTold) {
			break
		}
		s := rd.said(o.Finding)
		s.Weight = o.Surprise
		if rd.Level == Student {
			s.Text = o.Plain()
		}
		if o.Beside.Measure >= 0 {
			other := o.Beside
			s.Other = &other
		}
		out = append(out, s)
	}
	return out
}
