package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"pochette/internal/decide"
	"pochette/internal/engrave"
	"pochette/internal/musicxml"
	"pochette/internal/score"
	"pochette/internal/store"
	"pochette/internal/study"
	"pochette/internal/technique/joint"
)

// piece is an open piece: the study, its solver and the engraver's form of the
// score are kept so that a decision is answered at once.
type piece struct {
	id string
	// mu guards what follows. It is held while the solver works.
	mu       sync.Mutex
	gone     bool // put away: take it from the desk again
	revision int
	log      []store.Entry
	stand    []store.Entry
	back     []store.Entry
	st       *state
	live     *study.Live
	refs     *references
	file     string
	free     *study.Live // the proposal; nil until asked for
	offers   map[string]offer
	differ   map[int64]*compared // of witnesses
	seen     seen
	changed  map[int][]int // events that a step changed, by the revision it made; the latest

	early    func() (*engrave.Flow, error) // begun when the piece came in; nil else
	flowOnce sync.Once
	flow     *engrave.Flow
	flowErr  error
	drawing  *drawings
}

// offer is an alternative that was shown.
type offer struct {
	revision int
	changes  []change
	text     string
}

// readPiece opens a piece from the library.
// The engraver reads the score while the plan is made.
func readPiece(s *store.Store, id string, engraver func() (*engrave.Pool, error), have *incoming) (*piece, error) {
	meta, err := s.Piece(id)
	if err != nil {
		return nil, err
	}
	if have == nil {
		source, err := s.Source(id)
		if err != nil {
			return nil, err
		}
		live, err := study.OpenLive(study.Request{Name: meta.File, Data: source, Part: meta.Part, Instrument: meta.Instrument})
		if err != nil {
			return nil, err
		}
		have = &incoming{live: live}
	}
	live := have.live
	p := &piece{id: id, live: live, early: have.flow, file: meta.File, drawing: newDrawings(), differ: map[int64]*compared{}, changed: map[int][]int{}}
	p.refs = newReferences(live.Print, live.Instrument.Strings())
	log, err := s.Log(id)
	if err == nil {
		err = checkLog(log)
	}
	if err != nil {
		return nil, err
	}
	go func() {
		if pool, err := engraver(); err == nil {
			_, _ = p.theFlow(context.Background(), pool) // who draws is told what is wrong
		}
	}()
	return p, p.take(log)
}

// take brings the piece to the state of a log.
func (p *piece) take(log []store.Entry) error {
	stand, back := store.Standing(log)
	st, err := fold(stand)
	if err != nil {
		return err
	}
	if err := p.plan(st); err != nil {
		return err
	}
	p.log, p.stand, p.back, p.st = log, stand, back, st
	if n := len(log); n > 0 {
		p.revision = log[n-1].N
	}
	p.offers = map[string]offer{}
	return nil
}

// plan solves with the decisions of a state.
func (p *piece) plan(st *state) error { return p.live.Set(p.wanted(st)) }

// wanted is what a state asks of the solver: the decisions of the notes, and what
// locks hold.
func (p *piece) wanted(st *state) study.Wanted {
	w := study.Wanted{Decided: map[score.NoteID]decide.Settled{}, Held: map[score.NoteID]decide.Settled{}, Slurs: st.slurChanges(p.live.Print, p.refs)}
	newest := map[score.NoteID]int{}
	for _, l := range st.locks {
		for _, c := range l.Pins {
			id, ok := p.refs.note(c.Note)
			if !ok {
				continue
			}
			m := p.live.Print.Notes[id].Measure
			if s, ok := settledOf(c.Set); ok && m >= l.From && m <= l.To {
				w.Held[id] = s
			}
		}
	}
	for ref, s := range st.notes {
		id, found := p.refs.note(ref)
		if d, ok := settledOf(s.set); ok && found {
			w.Decided[id] = d
			newest[id] = s.n
			w.Order = append(w.Order, id)
		}
	}
	slices.SortFunc(w.Order, func(a, b score.NoteID) int { return cmp.Or(newest[a]-newest[b], int(a-b)) })
	return w
}

// refused is a decision that cannot be taken: the page is told why.
type refused struct{ error }

// staleAt refuses what was made on another revision.
func (p *piece) staleAt(base int) error {
	if base != p.revision {
		return &store.StaleError{Base: base, Revision: p.revision}
	}
	return nil
}

// commit tries a step, keeps it, and takes it over. What is tried is solved first,
// so that nothing is written that cannot be played; it is acknowledged only when
// it is on the disk. What is in sight is drawn while it is being written.
func (p *piece) commit(s *store.Store, e store.Entry, eye *sight) error {
	if err := p.staleAt(e.Base); err != nil {
		return err
	}
	next := e
	next.N = e.Base + 1
	stand, back := store.Standing(append(slices.Clip(p.log), next))
	st, err := fold(stand)
	if err != nil {
		return err
	}
	eye.asked(p, st)
	if err := p.plan(st); err != nil {
		return refused{err}
	}
	var n int
	written := make(chan struct{})
	go func() {
		defer close(written)
		n, err = s.Append(p.id, e)
	}()
	eye.draw(p, st)
	<-written
	if err != nil {
		if undo := p.plan(p.st); undo != nil {
			p.gone = true
		}
		return err
	}
	fresh, err := s.Since(p.id, p.revision)
	if err != nil {
		p.gone = true
		return err
	}
	p.log, p.stand, p.back, p.st, p.revision = append(slices.Clip(p.log), fresh...), stand, back, st, n
	p.offers = map[string]offer{}
	return nil
}

// theFlow reads the score into the engraver when it is first asked for.
func (p *piece) theFlow(ctx context.Context, pool *engrave.Pool) (*engrave.Flow, error) {
	p.flowOnce.Do(func() {
		if p.early != nil {
			if p.flow, p.flowErr = p.early(); p.flowErr == nil {
				return
			}
		}
		xml, err := withIDs(p.live.Source, p.live.Print)
		if err == nil {
			xml, err = study.EngraverInput(xml, p.file, p.live.Print.ID)
		}
		if err == nil {
			p.flow, err = pool.Flow(context.WithoutCancel(ctx), xml)
		}
		p.flowErr = err
	})
	return p.flow, p.flowErr
}

// incoming is a file that has just come in: what was read of it serves the piece that
// it becomes, so that nothing is read twice before the first page.
type incoming struct {
	live *study.Live
	flow func() (*engrave.Flow, error)
}

// earlyFlow has the engraver read a file while the study does. What it gives waits for
// the end; an error is no trouble: the piece then asks again, and tells it.
func earlyFlow(name string, data []byte, part string, engraver func() (*engrave.Pool, error)) func() (*engrave.Flow, error) {
	var flow *engrave.Flow
	var err error
	done := make(chan struct{})
	go func() {
		defer close(done)
		flow, err = readFlow(name, data, part, engraver)
	}()
	return func() (*engrave.Flow, error) {
		<-done
		return flow, err
	}
}

func readFlow(name string, data []byte, part string, engraver func() (*engrave.Pool, error)) (*engrave.Flow, error) {
	src, sc, i, err := study.OpenPart(name, data, part)
	if err != nil {
		return nil, err
	}
	xml, err := withIDs(src, sc.Parts[i])
	if err == nil {
		xml, err = study.EngraverInput(xml, name, sc.Parts[i].ID)
	}
	if err != nil {
		return nil, err
	}
	pool, err := engraver()
	if err != nil {
		return nil, err
	}
	return pool.Flow(context.Background(), xml)
}

// idOf names a note for the engraver.
func idOf(id score.NoteID) string { return "note-" + strconv.Itoa(int(id)) }

func noteOf(id string) (score.NoteID, bool) {
	n, err := strconv.Atoi(strings.TrimPrefix(id, "note-"))
	return score.NoteID(n), err == nil && strings.HasPrefix(id, "note-")
}

// withIDs gives the notes of a part in the source id attributes that name them;
// those that the file gives go.
func withIDs(src *musicxml.Source, part *score.Part) ([]byte, error) {
	var b strings.Builder
	b.Grow(len(src.XML) + 20*len(part.Notes))
	at := 0
	order := make([]score.NoteID, len(part.Notes))
	for i := range order {
		order[i] = score.NoteID(i)
	}
	slices.SortFunc(order, func(x, y score.NoteID) int { return int(part.Notes[x].Src.Start - part.Notes[y].Src.Start) })
	for _, id := range order {
		from := int(part.Notes[id].Src.Start)
		end := strings.IndexByte(string(src.XML[from:min(len(src.XML), from+2000)]), '>')
		if from < at || end < 0 || !strings.HasPrefix(string(src.XML[from:from+5]), "<note") {
			return nil, fmt.Errorf("%s: note %d is not where it was read", src.Name, id)
		}
		b.Write(src.XML[at:from])
		tag := idAttr.ReplaceAllString(string(src.XML[from:from+end+1]), "")
		b.WriteString(`<note id="` + idOf(id) + `"` + strings.TrimPrefix(tag, "<note"))
		at = from + end + 1
	}
	b.Write(src.XML[at:])
	return []byte(b.String()), nil
}

// jointOf is the first of a step's decisions that the solver knows.
func (p *piece) jointOf(cs []change) (score.NoteID, joint.Decision, bool) {
	for _, c := range cs {
		id, ok := p.refs.note(c.Note)
		if !ok {
			continue
		}
		if s, ok := settledOf(c.Set); ok {
			return id, study.DecisionOf(s), true
		}
	}
	return 0, joint.Decision{}, false
}
