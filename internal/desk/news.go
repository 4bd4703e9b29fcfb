package desk

import (
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// news tells open pages that a piece has changed (server-sent events).
type news struct {
	mu     sync.Mutex
	listen map[chan change1]string // piece, "" for all
}

// change1 is one piece of news.
type change1 struct {
	Piece    string `json:"piece"`
	Revision int    `json:"revision"`
	Removed  bool   `json:"removed,omitempty"`
}

func newNews() *news { return &news{listen: map[chan change1]string{}} }

func (n *news) tell(c change1) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for ch, piece := range n.listen {
		if piece != "" && piece != c.Piece {
			continue
		}
		select {
		case ch <- c:
		default: // a page that does not read asks for the piece when it wakes
		}
	}
}

func (n *news) add(piece string) chan change1 {
	ch := make(chan change1, 32)
	n.mu.Lock()
	n.listen[ch] = piece
	n.mu.Unlock()
	return ch
}

func (n *news) drop(ch chan change1) {
	n.mu.Lock()
	delete(n.listen, ch)
	n.mu.Unlock()
}

// heartbeat keeps a quiet connection open and finds out that the page is gone.
const heartbeat = 20 * time.Second

func (d *Desk) serveNews(w http.ResponseWriter, r *http.Request) {
	flush, ok := w.(http.Flusher)
	if !ok {
		writeError(w, http.StatusInternalServerError, "the connection cannot stream")
		return
	}
	ch := d.news.add(r.URL.Query().Get("piece"))
	defer d.news.drop(ch)
	w.Header().Set("Content-Type", "text/event-stream")
	fmt.Fprint(w, "retry: 1000\n\n")
	flush.Flush()
	tick := time.NewTicker(heartbeat)
	defer tick.Stop()
	for {
		select {
		case <-r.Context().Done():
			return
		case <-tick.C:
			fmt.Fprint(w, ": still here\n\n")
		case c := <-ch:
			b, err := json.Marshal(c)
			if err != nil {
				return
			}
			fmt.Fprintf(w, "data: %s\n\n", b)
		}
		flush.Flush()
	}
}
