package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"pochette/internal/musicxml"
	"pochette/internal/store"
	"pochette/internal/study"
)

func (d *Desk) apiRoutes(mux *http.ServeMux) {
	handle := func(pattern string, f func(http.ResponseWriter, *http.Request) error) {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
			if err := f(w, r); err != nil {
				tell(w, r, err)
			}
		})
	}
	handle("GET /api/pieces", d.listPieces)
	handle("POST /api/pieces", d.addPiece)
	handle("DELETE /api/pieces/{id}", d.removePiece)
	handle("GET /api/pieces/{id}", d.getPiece)
	handle("GET /api/pieces/{id}/export", d.exportPiece)
	handle("POST /api/import", d.importPiece)
	handle("GET /api/pieces/{id}/pages", d.getPages)
	handle("GET /api/pieces/{id}/pages/{n}", d.getPage)
	handle("GET /api/pieces/{id}/excerpt", d.getExcerpt)
	handle("POST /api/pieces/{id}/decide", d.postDecide)
	handle("POST /api/pieces/{id}/undo", d.step(store.Undo))
	handle("POST /api/pieces/{id}/redo", d.step(store.Redo))
	handle("GET /api/pieces/{id}/history", d.getHistory)
	handle("POST /api/pieces/{id}/history/{n}/reason", d.postReason)
	handle("POST /api/pieces/{id}/lock", d.postLock)
	handle("GET /api/pieces/{id}/alternatives", d.getAlternatives)
	handle("POST /api/pieces/{id}/alternatives/take", d.postTake)
	handle("POST /api/pieces/{id}/take", d.postTake)
	handle("GET /api/pieces/{id}/plans", d.getPlans)
	handle("POST /api/pieces/{id}/plans", d.postPlan)
	handle("GET /api/pieces/{id}/compare", d.getCompare)
	handle("GET /api/pieces/{id}/places", d.getPlaces)
	handle("PUT /api/pieces/{id}/places", d.putPlaces)
	handle("GET /api/pieces/{id}/print", d.getPrint)
	handle("GET /api/pieces/{id}/part.musicxml", d.getPart)
	d.witnessRoutes(handle)
	mux.HandleFunc("GET /api/events", d.serveNews)
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		writeError(w, http.StatusNotFound, fmt.Sprintf("there is no %s %s", r.Method, r.URL.Path))
	})
}

func writeJSON(w http.ResponseWriter, status int, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("writing the answer: %w", err)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, err = w.Write(b)
	if err != nil { // the page is gone: nobody to tell
		return nil
	}
	return nil
}

func writeError(w http.ResponseWriter, status int, text string) {
	_ = writeJSON(w, status, map[string]string{"error": text})
}

// badRequest is a request that makes no sense: the page is told why.
type badRequest struct{ error }

func bad(format string, args ...any) error { return badRequest{fmt.Errorf(format, args...)} }

// tell answers with an error as one line.
func tell(w http.ResponseWriter, r *http.Request, err error) {
	if status, matter := told(r, err); status != 0 {
		_ = writeJSON(w, status, matter)
	}
}

// told is the status and the matter of an error's answer; 0 where nobody listens.
func told(r *http.Request, err error) (int, map[string]any) {
	status := http.StatusInternalServerError
	var stale *store.StaleError
	var no refused
	var wrong badRequest
	switch {
	case errors.As(err, &stale):
		return http.StatusConflict, map[string]any{"error": stale.Error(), "revision": stale.Revision}
	case errors.Is(err, store.ErrNoPiece), errors.Is(err, store.ErrNone):
		status = http.StatusNotFound
	case errors.As(err, &no), errors.As(err, &wrong), errors.Is(err, study.ErrDecided):
		status = http.StatusBadRequest
	case r.Context().Err() != nil:
		return 0, map[string]any{} // the page has gone away
	}
	return status, map[string]any{"error": oneLine(err.Error())}
}

func oneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\r' }), " ")
}

// Limits on what is sent.
const (
	maxRequest = 1 << 20
	maxUpload  = musicxml.MaxBytes
)

// read decodes the JSON of a request; unknown fields are passed over, so that a
// newer page may say more.
func read(w http.ResponseWriter, r *http.Request, v any) error {
	b, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxRequest))
	if err != nil {
		return bad("the request is larger than %d kB", maxRequest>>10)
	}
	if len(b) == 0 {
		b = []byte("{}")
	}
	if err := json.Unmarshal(b, v); err != nil {
		return bad("the request is not the JSON that is wanted: %w", err)
	}
	return nil
}

// upload reads a file that was dropped.
func upload(w http.ResponseWriter, r *http.Request, most int64) ([]byte, string, error) {
	name := store.BaseName(r.URL.Query().Get("name"))
	b, err := io.ReadAll(http.MaxBytesReader(w, r.Body, most))
	if err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return nil, name, bad("%s: larger than %d MB, the most that is read", name, most>>20)
		}
		return nil, name, err
	}
	if len(b) == 0 {
		return nil, name, bad("%s: the file is empty", name)
	}
	return b, name, nil
}

func (d *Desk) listPieces(w http.ResponseWriter, _ *http.Request) error {
	ps, err := d.store.Pieces()
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusOK, ps)
}

// addPiece reads a file that was dropped; what cannot be studied is not kept.
func (d *Desk) addPiece(w http.ResponseWriter, r *http.Request) error {
	data, name, err := upload(w, r, maxUpload)
	if err != nil {
		return err
	}
	part := r.URL.Query().Get("part")
	have := &incoming{flow: earlyFlow(name, data, part, d.engraver)}
	p, err := d.addWith(have, name, data, part, r.URL.Query().Get("instrument"))
	if err != nil {
		return err
	}
	go func() { _, _ = d.openFrom(p.ID, have) }() // ready by the time the page asks; it is told what is wrong
	return writeJSON(w, http.StatusCreated, p)
}

// Add puts a score into the library; part and instrument may be "".
func (d *Desk) Add(name string, data []byte, part, instrument string) (store.Piece, error) {
	return d.addWith(&incoming{}, name, data, part, instrument)
}

// addWith is Add, and keeps the study of what came in.
func (d *Desk) addWith(have *incoming, name string, data []byte, part, instrument string) (store.Piece, error) {
	live, err := study.OpenLive(study.Request{Name: name, Data: data, Part: part, Instrument: instrument})
	if err != nil {
		return store.Piece{}, refused{err}
	}
	have.live = live
	p, err := d.store.Add(pieceOf(live, name), data)
	if err == nil {
		d.news.tell(change1{Piece: p.ID})
	}
	return p, err
}

func pieceOf(live *study.Live, name string) store.Piece {
	notes := 0
	for i := range live.Print.Notes {
		if live.Print.Notes[i].Struck() {
			notes++
		}
	}
	title := live.Title()
	if title == "Untitled" {
		title = strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(name, ".mxl"), ".xml"), ".musicxml")
	}
	return store.Piece{File: name, Title: title, Part: live.Print.ID, Instrument: live.Instrument.Kind.String(), Bars: len(live.Print.Measures), Notes: notes}
}

func (d *Desk) removePiece(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if err := d.store.Remove(id); err != nil {
		return err
	}
	d.putAway(id)
	d.news.tell(change1{Piece: id, Removed: true})
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (d *Desk) getPiece(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	plans, err := d.store.Plans(id)
	if err != nil {
		return err
	}
	var v *viewPiece
	err = d.with(id, func(p *piece) error {
		v = p.view()
		if n, err := strconv.Atoi(r.URL.Query().Get("since")); err == nil {
			if some, ok := p.eventsSince(n); ok {
				v.Events, v.Since = some, &n
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, pl := range plans {
		v.Plans = append(v.Plans, viewPlanName{strconv.FormatInt(pl.ID, 10), pl.Name})
	}
	return writeJSON(w, http.StatusOK, v)
}

// lookOf reads how pages are to be laid out.
func lookOf(q url.Values) (look, error) {
	l := look{width: 190, zoom: 1, layers: []string{"bow", "finger", "string"}}
	num := func(name string, v *float64, least, most float64) error {
		s := q.Get(name)
		if s == "" {
			return nil
		}
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || !(x >= least && x <= most) {
			return bad("%s=%s: want a number from %g to %g", name, oneLine(s), least, most)
		}
		*v = x
		return nil
	}
	if err := errors.Join(num("width", &l.width, leastWidth, mostWidth), num("zoom", &l.zoom, 0.3, 4), num("height", &l.height, 20, 3000)); err != nil {
		return l, badRequest{err}
	}
	if q.Get("paged") == "" || q.Get("paged") == "0" {
		l.height = 0
	}
	if q.Has("layers") {
		l.layers = strings.Split(q.Get("layers"), ",")
	}
	return l, nil
}

// picture readies what is drawn of a piece.
func (d *Desk) picture(r *http.Request, l look) (c *picture, revision int, err error) {
	pool, err := d.engraver()
	if err != nil {
		return nil, 0, err
	}
	id := r.PathValue("id")
	p, err := d.open(id)
	if err != nil {
		return nil, 0, err
	}
	f, err := p.theFlow(r.Context(), pool)
	if err != nil {
		return nil, 0, err
	}
	err = d.with(id, func(p *piece) error {
		if p.flow == nil { // read anew meanwhile
			if f, err = p.theFlow(r.Context(), pool); err != nil {
				return err
			}
		}
		c, revision = p.picture(f, l), p.revision
		return nil
	})
	return c, revision, err
}

// asked readies what a request wants drawn, in the look that it names.
func (d *Desk) asked(r *http.Request) (l look, c *picture, revision int, err error) {
	if l, err = lookOf(r.URL.Query()); err != nil {
		return l, nil, 0, err
	}
	c, revision, err = d.picture(r, l)
	return l, c, revision, err
}

func (d *Desk) getPages(w http.ResponseWriter, r *http.Request) error {
	l, c, revision, err := d.asked(r)
	if err != nil {
		return err
	}
	pages := c.p.pagesOf(c.flow, l)
	return writeJSON(w, http.StatusOK, map[string]any{"revision": revision, "count": len(pages), "etag": fmt.Sprintf("%d %s", revision, l.key()), "pages": pages})
}

func (d *Desk) getPage(w http.ResponseWriter, r *http.Request) error {
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil {
		return bad("page %q: want a number from 1", oneLine(r.PathValue("n")))
	}
	l, c, revision, err := d.asked(r)
	if err != nil {
		return err
	}
	pages := c.p.pagesOf(c.flow, l)
	if n < 1 || n > len(pages) {
		return fmt.Errorf("page %d of %d: %w", n, len(pages), store.ErrNone)
	}
	svg, err := c.page(r.Context(), pages[n-1], n)
	if err != nil {
		return err
	}
	return writeSVG(w, svg, revision)
}

func writeSVG(w http.ResponseWriter, svg string, revision int) error {
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("X-Revision", strconv.Itoa(revision))
	_, _ = io.WriteString(w, svg) // a page that has gone cannot be told
	return nil
}

// span reads two measures by index.
func span(r *http.Request, bars int) (from, to int, err error) {
	q := r.URL.Query()
	from, err1 := strconv.Atoi(q.Get("from"))
	to, err2 := strconv.Atoi(q.Get("to"))
	if q.Get("to") == "" {
		to, err2 = from, nil
	}
	if err1 != nil || err2 != nil || from < 0 || to < from || to >= bars {
		return 0, 0, bad("from=%s&to=%s: want measures by index, 0 to %d", oneLine(q.Get("from")), oneLine(q.Get("to")), bars-1)
	}
	return from, to, nil
}

// maxExcerpt is the longest excerpt in measures.
const maxExcerpt = 64

func (d *Desk) getExcerpt(w http.ResponseWriter, r *http.Request) error {
	_, c, revision, err := d.asked(r)
	if err != nil {
		return err
	}
	return writeExcerpt(w, r, c, "x", revision)
}

// writeExcerpt draws the measures that a request asks for; mark keeps the identifiers of
// two pictures in one page apart.
func writeExcerpt(w http.ResponseWriter, r *http.Request, c *picture, mark string, revision int) error {
	from, to, err := span(r, c.flow.Measures())
	if err != nil {
		return err
	}
	svg, err := c.excerpt(r.Context(), from, min(to, from+maxExcerpt-1), fmt.Sprintf("-%s%d-%d", mark, from, to))
	if err != nil {
		return err
	}
	return writeSVG(w, svg, revision)
}

// FindOrAdd gives the piece whose source has these bytes, or adds it.
func (d *Desk) FindOrAdd(name string, data []byte) (store.Piece, error) {
	p, err := d.store.FindSource(data)
	if err == nil || !errors.Is(err, store.ErrNoPiece) {
		return p, err
	}
	return d.Add(name, data, "", "")
}
