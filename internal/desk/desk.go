// Package desk serves the library on a local page: the engraved score, what was
// found in every bar, and her decisions. It listens on this machine only, and
// only for who has the token (auth.go).
//
// An open piece keeps its solver and its engraver at hand (open.go): a decision is
// solved, written to the library, and answered; the page that is seen is drawn from
// systems of which only those are engraved anew whose marks changed (pages.go).
package desk

import (
	"container/list"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"pochette/internal/desk/page"
	"pochette/internal/engrave"
	"pochette/internal/store"
)

// LibraryFile is the file inside a library's folder.
const LibraryFile = "library.sqlite"

// Options of a desk.
type Options struct {
	Library string // folder
	Who     string // the name under which decisions are kept
	Version string // of the program
	// Pool draws; nil opens one that the desk closes.
	Pool *engrave.Pool
	// Open is how many pieces are kept at hand; 0 for DefaultOpen.
	Open int
}

// DefaultOpen is how many pieces are kept with solver and engraver: the costs
// that a solver keeps are some 10 to 30 MB for a thousand notes.
const DefaultOpen = 6

// Desk is a running desk.
type Desk struct {
	store   *store.Store
	o       Options
	token   string
	handler http.Handler
	news    *news

	poolOnce sync.Once
	pool     *engrave.Pool
	poolErr  error
	ownPool  bool

	mu     sync.Mutex
	pieces map[string]*list.Element // of *slot, the latest used in front
	recent *list.List
}

// slot is a place for an open piece; ready is closed when it was read.
type slot struct {
	id    string
	ready chan struct{}
	piece *piece
	err   error
}

// Open opens the library and makes a desk for it.
func Open(o Options) (*Desk, error) {
	s, err := store.Open(filepath.Join(o.Library, LibraryFile))
	if err != nil {
		return nil, err
	}
	if o.Open <= 0 {
		o.Open = DefaultOpen
	}
	d := &Desk{store: s, o: o, token: rand.Text() + rand.Text(), news: newNews(), pieces: map[string]*list.Element{}, recent: list.New()}
	d.handler = d.guarded(d.routes())
	return d, nil
}

// Handler answers the page and its requests.
func (d *Desk) Handler() http.Handler { return d.handler }

// Store is the library.
func (d *Desk) Store() *store.Store { return d.store }

// Address is what to open in a browser for a listener's address.
func (d *Desk) Address(a net.Addr) string { return "http://" + a.String() + "/?t=" + d.token }

// Listen takes a port of this machine, 0 for any free one.
func Listen(port int) (net.Listener, error) {
	ln, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return nil, fmt.Errorf("port %d: %w", port, err)
	}
	return ln, nil
}

// Serve answers until the context ends; requests under way are given five seconds.
func (d *Desk) Serve(ctx context.Context, ln net.Listener) error {
	srv := &http.Server{Handler: d.handler, ReadHeaderTimeout: 10 * time.Second, MaxHeaderBytes: 64 << 10,
		BaseContext: func(net.Listener) context.Context { return ctx }}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(ln) }()
	go d.engraver() // ready by the time a piece is opened
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := srv.Shutdown(last); err != nil {
		return srv.Close()
	}
	return nil
}

// Close closes the library and the engraver.
func (d *Desk) Close() error {
	err := d.store.Close()
	d.poolOnce.Do(func() { d.poolErr = errors.New("the desk is closed") })
	if d.ownPool && d.pool != nil {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		err = errors.Join(err, d.pool.Close(ctx))
	}
	return err
}

// engraver opens the pool when it is first needed.
func (d *Desk) engraver() (*engrave.Pool, error) {
	d.poolOnce.Do(func() {
		if d.pool = d.o.Pool; d.pool == nil {
			d.pool, d.poolErr = engrave.Open(context.Background(), engrave.PoolOptions{CacheDir: engrave.DefaultCacheDir()})
			d.ownPool = true
		}
	})
	return d.pool, d.poolErr
}

// open gives a piece, from those at hand or read anew. The caller locks it.
func (d *Desk) open(id string) (*piece, error) { return d.openFrom(id, nil) }

// openFrom is open with what was read already when the piece came in; nil for nothing.
func (d *Desk) openFrom(id string, have *incoming) (*piece, error) {
	d.mu.Lock()
	el := d.pieces[id]
	if el != nil {
		d.recent.MoveToFront(el)
		s := el.Value.(*slot)
		d.mu.Unlock()
		<-s.ready
		return s.piece, s.err
	}
	s := &slot{id: id, ready: make(chan struct{})}
	d.pieces[id] = d.recent.PushFront(s)
	for d.recent.Len() > d.o.Open {
		last := d.recent.Back()
		delete(d.pieces, last.Value.(*slot).id)
		d.recent.Remove(last)
	}
	d.mu.Unlock()
	s.piece, s.err = readPiece(d.store, id, d.engraver, have)
	close(s.ready)
	if s.err != nil {
		d.putAway(id)
	}
	return s.piece, s.err
}

// putAway forgets an open piece: the next use reads it from the library.
func (d *Desk) putAway(id string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if el := d.pieces[id]; el != nil {
		delete(d.pieces, id)
		d.recent.Remove(el)
	}
}

// with runs f on an open piece under its lock. Another process may have written to
// the piece: it is brought to the library's revision first.
func (d *Desk) with(id string, f func(*piece) error) error {
	p, err := d.open(id)
	if err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	meta, err := d.store.Piece(id)
	if err != nil {
		d.putAway(id)
		return err
	}
	if meta.Revision != p.revision || p.gone {
		log, err := d.store.Log(id)
		if err == nil {
			err = p.take(log)
		}
		if err != nil {
			d.putAway(id)
			return err
		}
		p.gone = false
	}
	return f(p)
}

// routes of the desk.
func (d *Desk) routes() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", http.FileServerFS(page.Files()))
	d.apiRoutes(mux)
	return mux
}

// who is the name under which decisions are kept.
func (d *Desk) who() string {
	if w := strings.TrimSpace(d.o.Who); w != "" {
		return w
	}
	return "player"
}
