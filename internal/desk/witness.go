package desk

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"

	"pochette/internal/engrave"
	"pochette/internal/musicxml"
	"pochette/internal/score"
	"pochette/internal/store"
	"pochette/internal/study"
	"pochette/internal/timeline"
	"pochette/internal/witness"
)

// compared is a witness held against the piece. Its text never changes, so it is
// read once.
type compared struct {
	name   string
	src    *musicxml.Source
	part   *score.Part
	differ []witness.Difference

	once    sync.Once
	flow    *engrave.Flow
	flowErr error
	drawing *drawings
}

func (d *Desk) witnessRoutes(handle func(string, func(http.ResponseWriter, *http.Request) error)) {
	handle("POST /api/pieces/{id}/witnesses", d.addWitness)
	handle("GET /api/pieces/{id}/witnesses", d.listWitnesses)
	handle("GET /api/pieces/{id}/witnesses/{w}/differences", d.getDifferences)
	handle("GET /api/pieces/{id}/witnesses/{w}/excerpt", d.getWitnessExcerpt)
	handle("POST /api/pieces/{id}/witnesses/{w}/choose", d.postChoose)
	handle("GET /api/pieces/{id}/apparatus", d.getApparatus)
}

// readWitness reads another source of a piece and compares it.
func (p *piece) readWitness(name string, data []byte) (*compared, error) {
	src, err := musicxml.Open(data, name)
	if err != nil {
		return nil, err
	}
	sc, _, err := musicxml.Decode(src)
	if err != nil {
		return nil, err
	}
	i, err := study.ChoosePart(sc, p.live.Print.Name)
	if err != nil || p.live.Print.Name == "" {
		if i, err = study.ChoosePart(sc, ""); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	c := &compared{name: name, src: src, part: sc.Parts[i], drawing: newDrawings()}
	if len(c.part.Notes) == 0 {
		return nil, fmt.Errorf("%s: its part %q has no notes to compare", name, partName(c.part))
	}
	c.differ = witness.Compare(witness.Source{Score: p.live.Score, Part: p.live.Print}, witness.Source{Score: sc, Part: c.part})
	return c, nil
}

// witness gives one that is at hand, or reads it.
func (d *Desk) witness(p *piece, id int64) (*compared, error) {
	if c := p.differ[id]; c != nil {
		return c, nil
	}
	name, data, err := d.store.WitnessSource(p.id, id)
	if err != nil {
		return nil, err
	}
	c, err := p.readWitness(name, data)
	if err == nil {
		p.differ[id] = c
	}
	return c, err
}

type witnessItem struct {
	ID          string `json:"id"`
	Name        string `json:"name"`
	Differences int    `json:"differences"`
	Chosen      int    `json:"chosen"`
}

func (d *Desk) addWitness(w http.ResponseWriter, r *http.Request) error {
	data, name, err := upload(w, r, maxUpload)
	if err != nil {
		return err
	}
	return d.with(r.PathValue("id"), func(p *piece) error {
		c, err := p.readWitness(name, data)
		if err != nil {
			return refused{err}
		}
		kept, err := d.store.AddWitness(p.id, name, data)
		if err != nil {
			return err
		}
		p.differ[kept.ID] = c
		return writeJSON(w, http.StatusCreated, witnessItem{strconv.FormatInt(kept.ID, 10), kept.Name, len(c.differ), 0})
	})
}

func (d *Desk) listWitnesses(w http.ResponseWriter, r *http.Request) error {
	ws, err := d.store.Witnesses(r.PathValue("id"))
	if err != nil {
		return err
	}
	out := []witnessItem{}
	err = d.with(r.PathValue("id"), func(p *piece) error {
		for _, x := range ws {
			c, err := d.witness(p, x.ID)
			if err != nil {
				return err
			}
			it := witnessItem{ID: strconv.FormatInt(x.ID, 10), Name: x.Name, Differences: len(c.differ)}
			for i := range c.differ {
				if _, ok := p.st.chosen(x.ID, c.differ[i].Key); ok {
					it.Chosen++
				}
			}
			out = append(out, it)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusOK, out)
}

// chosen is the reading that was chosen.
func (st *state) chosen(w int64, key string) (choice, bool) {
	c, ok := st.choices[fmt.Sprintf("%d %s", w, key)]
	return c, ok && c.Reading != ""
}

type differenceView struct {
	N            int         `json:"n"`
	Kind         string      `json:"kind"`
	Measure      int         `json:"measure"`
	MeasureThere int         `json:"measure_there"`
	Number       string      `json:"number"`
	Beat         string      `json:"beat,omitempty"`
	Ref          string      `json:"ref,omitempty"`
	Here         readingView `json:"here"`
	There        readingView `json:"there"`
	Chosen       string      `json:"chosen,omitempty"`
	Reason       string      `json:"reason,omitempty"`
	// Applies says that choosing the witness's reading changes the part; else the
	// choice stands in the apparatus alone.
	Applies bool `json:"applies"`
}

type readingView struct {
	Text string `json:"text"`
	SVG  string `json:"svg,omitempty"`
}

// drawnDifferences is how many differences come with their excerpts; those of the
// rest are asked for one by one.
const drawnDifferences = 60

func (d *Desk) getDifferences(w http.ResponseWriter, r *http.Request) error {
	l, err := lookOf(r.URL.Query())
	if err != nil {
		return err
	}
	if !r.URL.Query().Has("width") {
		l.width = 120
	}
	l.layers = nil // the texts as printed
	id, err := strconv.ParseInt(r.PathValue("w"), 10, 64)
	if err != nil {
		return bad("witness %q: want its number", oneLine(r.PathValue("w")))
	}
	pic, _, err := d.picture(r, l)
	if err != nil {
		return err
	}
	var c *compared
	out := []differenceView{}
	err = d.with(r.PathValue("id"), func(p *piece) error {
		if c, err = d.witness(p, id); err != nil {
			return err
		}
		for i := range c.differ {
			out = append(out, p.differenceView(id, i, &c.differ[i], c.part))
		}
		return nil
	})
	if err != nil {
		return err
	}
	if r.URL.Query().Get("svg") != "0" {
		if err := d.drawDifferences(r.Context(), pic, c, l, out); err != nil {
			return err
		}
	}
	return writeJSON(w, http.StatusOK, out)
}

func (p *piece) differenceView(w int64, n int, x *witness.Difference, there *score.Part) differenceView {
	v := differenceView{N: n, Kind: string(x.Kind), Measure: x.Measure, MeasureThere: x.MeasureThere, Beat: x.Beat,
		Here: readingView{Text: x.Here}, There: readingView{Text: x.There}, Applies: len(p.effect(x)) > 0}
	if x.Measure >= 0 {
		v.Number = timeline.Name(p.live.Print, x.Measure)
	} else if x.MeasureThere >= 0 {
		v.Number = timeline.Name(there, x.MeasureThere)
	}
	if x.NoteHere != score.NoNote {
		v.Ref = p.refs.of[p.refs.struck(x.NoteHere)]
	}
	if c, ok := p.st.chosen(w, x.Key); ok {
		v.Chosen = c.Reading
		for i := len(p.stand) - 1; i >= 0; i-- {
			if e := &p.stand[i]; e.Kind == kindChoose && e.N == c.step {
				v.Reason = e.Reason
				if later, ok := p.st.reasons[e.N]; ok {
					v.Reason = later
				}
			}
		}
	}
	return v
}

func (d *Desk) drawDifferences(ctx context.Context, pic *picture, c *compared, l look, out []differenceView) error {
	there, err := d.witnessPicture(ctx, c, l)
	if err != nil {
		return err
	}
	drawn := map[string]string{}
	draw := func(pic *picture, side string, m int) (string, error) {
		if m < 0 {
			return "", nil
		}
		k := fmt.Sprintf("-%s%d", side, m)
		if s, ok := drawn[k]; ok {
			return s, nil
		}
		s, err := pic.excerpt(ctx, m, m, k)
		drawn[k] = s
		return s, err
	}
	for i := range out[:min(len(out), drawnDifferences)] {
		v := &out[i]
		if v.Here.SVG, err = draw(pic, "h", v.Measure); err != nil {
			return err
		}
		if v.There.SVG, err = draw(there, "t", v.MeasureThere); err != nil {
			return err
		}
	}
	return nil
}

// witnessPicture readies a witness for drawing.
func (d *Desk) witnessPicture(ctx context.Context, c *compared, l look) (*picture, error) {
	pool, err := d.engraver()
	if err != nil {
		return nil, err
	}
	c.once.Do(func() {
		xml, err := withIDs(c.src, c.part)
		if err == nil {
			xml, err = study.EngraverInput(xml, c.name, c.part.ID)
		}
		if err == nil {
			c.flow, err = pool.Flow(context.WithoutCancel(ctx), xml)
		}
		c.flowErr = err
	})
	if c.flowErr != nil {
		return nil, c.flowErr
	}
	return &picture{p: &piece{refs: &references{part: c.part, of: make([]string, len(c.part.Notes))}, drawing: c.drawing}, flow: c.flow, look: l}, nil
}

func (d *Desk) getWitnessExcerpt(w http.ResponseWriter, r *http.Request) error {
	l, err := lookOf(r.URL.Query())
	if err != nil {
		return err
	}
	id, err := strconv.ParseInt(r.PathValue("w"), 10, 64)
	if err != nil {
		return bad("witness %q: want its number", oneLine(r.PathValue("w")))
	}
	var c *compared
	if err := d.with(r.PathValue("id"), func(p *piece) error { c, err = d.witness(p, id); return err }); err != nil {
		return err
	}
	pic, err := d.witnessPicture(r.Context(), c, l)
	if err != nil {
		return err
	}
	return writeExcerpt(w, r, pic, "w", 0)
}

// effect is what the witness's reading sets in the part: slurs, dynamics, words,
// bow, finger, string, breath. Notes and lengths of the source are never changed.
func (p *piece) effect(x *witness.Difference) []change {
	ref := func(id score.NoteID) string {
		if id == score.NoNote {
			return ""
		}
		return p.refs.of[p.refs.struck(id)]
	}
	var out []change
	put := func(id score.NoteID, k, v string) {
		if r := ref(id); r != "" {
			out = append(out, change{r, map[string]string{k: v}})
		}
	}
	switch x.Kind {
	case witness.Slur:
		for _, s := range x.AddSlurs {
			if r := ref(s.End); r != "" {
				put(s.Start, keySlur, r)
			}
		}
		if len(x.AddSlurs) == 0 {
			for _, i := range x.RemoveSlurs {
				put(p.live.Print.Slurs[i].Start, keySlur, noSlur)
			}
		}
	case witness.Dynamic:
		if slices.Contains(dynamics, x.Value) {
			put(x.NoteHere, keyDynamic, x.Value)
		}
	case witness.Words:
		if v, err := checkValue(keyWords, x.Value); err == nil && v != "" {
			put(x.NoteHere, keyWords, v)
		}
	case witness.Bow:
		if dir, ok := strings.CutSuffix(x.Value, "-bow"); ok && (dir == "up" || dir == "down") {
			put(x.NoteHere, keyBow, dir)
		}
	case witness.Articulation:
		if x.Value == string(score.BreathMark) {
			put(x.NoteHere, keyBreath, "yes")
		}
	}
	return out
}

func (d *Desk) postChoose(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Base    *int   `json:"base"`
		N       int    `json:"n"`
		Reading string `json:"reading"`
		Reason  string `json:"reason"`

		Sight *sightRequest `json:"sight"`
	}
	if err := read(w, r, &q); err != nil {
		return err
	}
	id, err := strconv.ParseInt(r.PathValue("w"), 10, 64)
	if err != nil {
		return bad("witness %q: want its number", oneLine(r.PathValue("w")))
	}
	if q.Reading != "here" && q.Reading != "there" && q.Reading != "" {
		return bad("reading %q: want here, there, or nothing to leave it open", q.Reading)
	}
	return d.commit(w, r, q.Sight, q.Base, q.Reason, func(p *piece) (string, string, body, error) {
		c, err := d.witness(p, id)
		if err != nil {
			return "", "", body{}, err
		}
		if q.N < 0 || q.N >= len(c.differ) {
			return "", "", body{}, bad("difference %d: the witness has 0 to %d", q.N, len(c.differ)-1)
		}
		x := &c.differ[q.N]
		b := body{Choose: &choice{Witness: id, N: q.N, Key: x.Key, Reading: q.Reading}}
		text := p.choiceText(c.name, x, q.Reading)
		b.Choose.Text = text
		was, chosen := p.st.chosen(id, x.Key)
		switch {
		case q.Reading == "there":
			b.Changes = p.effect(x)
		case chosen && was.Reading == "there": // what came with it goes
			for _, e := range p.effect(x) {
				for k := range e.Set {
					b.Changes = append(b.Changes, change{e.Note, map[string]string{k: ""}})
				}
			}
		}
		return kindChoose, text, b, nil
	})
}

func (p *piece) choiceText(name string, x *witness.Difference, reading string) string {
	where := "measure " + fmt.Sprint(x.MeasureThere+1) + " of " + name
	if x.Measure >= 0 {
		where = "measure " + timeline.Name(p.live.Print, x.Measure)
	}
	if x.Beat != "" {
		where += ", beat " + x.Beat
	}
	switch reading {
	case "here":
		return fmt.Sprintf("%s: %s, not %s as %s has it", where, x.Here, x.There, name)
	case "there":
		return fmt.Sprintf("%s: %s, as %s has it, not %s", where, x.There, name, x.Here)
	}
	return fmt.Sprintf("%s: the reading of %s is open again", where, x.Kind)
}

// apparatusView lists the witnesses, every difference, and what was chosen and why.
type apparatusView struct {
	Title    string           `json:"title"`
	Sources  []string         `json:"sources"` // "A  jig.musicxml"
	Entries  []apparatusEntry `json:"entries"`
	Text     string           `json:"text"` // all of it as plain text
	Settled  int              `json:"settled"`
	Together int              `json:"together"`
}

type apparatusEntry struct {
	Place   string `json:"place"`
	Kind    string `json:"kind"`
	Witness string `json:"witness"`
	Text    string `json:"text"`
	Reason  string `json:"reason,omitempty"`
	Measure int    `json:"measure"`
}

// letters name the sources in an apparatus: A is the piece's own.
const letters = "BCDEFGHIJKLMNOPQRSTUVWXYZ"

func (d *Desk) apparatus(p *piece, ws []store.Witness) (*apparatusView, error) {
	a := &apparatusView{Title: p.live.Title(), Sources: []string{"A  " + p.file}, Entries: []apparatusEntry{}}
	for i, x := range ws {
		letter := letters[i%len(letters) : i%len(letters)+1]
		a.Sources = append(a.Sources, letter+"  "+x.Name)
		c, err := d.witness(p, x.ID)
		if err != nil {
			return nil, err
		}
		for k := range c.differ {
			v := p.differenceView(x.ID, k, &c.differ[k], c.part)
			a.Together++
			if v.Chosen != "" {
				a.Settled++
			}
			a.Entries = append(a.Entries, apparatusLine(&v, letter))
		}
	}
	slices.SortStableFunc(a.Entries, func(x, y apparatusEntry) int { return x.Measure - y.Measure })
	var b strings.Builder
	fmt.Fprintf(&b, "%s: readings\n\n%s\n\n", a.Title, strings.Join(a.Sources, "\n"))
	for _, e := range a.Entries {
		fmt.Fprintf(&b, "%s: %s", e.Place, e.Text)
		if e.Reason != "" {
			b.WriteString(" (" + e.Reason + ")")
		}
		b.WriteString("\n")
	}
	if len(a.Entries) == 0 {
		b.WriteString("No difference.\n")
	}
	a.Text = b.String()
	return a, nil
}

func apparatusLine(v *differenceView, letter string) apparatusEntry {
	e := apparatusEntry{Place: "measure " + v.Number, Kind: v.Kind, Witness: letter, Reason: v.Reason, Measure: v.Measure}
	if v.Beat != "" {
		e.Place += ", beat " + v.Beat
	}
	e.Text = fmt.Sprintf("%s. A: %s; %s: %s; ", v.Kind, v.Here.Text, letter, v.There.Text)
	switch {
	case v.Chosen == "here":
		e.Text += "A is kept"
	case v.Chosen == "there" && v.Applies:
		e.Text += letter + " is followed"
	case v.Chosen == "there":
		e.Text += letter + " is preferred, and the printed text of the part stays as A has it"
	default:
		e.Text += "open"
	}
	return e
}

func (d *Desk) getApparatus(w http.ResponseWriter, r *http.Request) error {
	ws, err := d.store.Witnesses(r.PathValue("id"))
	if err != nil {
		return err
	}
	var a *apparatusView
	err = d.with(r.PathValue("id"), func(p *piece) error { a, err = d.apparatus(p, ws); return err })
	if err != nil {
		return err
	}
	if r.URL.Query().Get("format") != "text" {
		return writeJSON(w, http.StatusOK, a)
	}
	attach(w, "text/plain; charset=utf-8", a.Title+" readings.txt")
	_, _ = w.Write([]byte(a.Text)) // a page that has gone cannot be told
	return nil
}
