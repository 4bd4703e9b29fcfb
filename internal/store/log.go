package store

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// Entry is one step of the log. Undo and Redo are steps too.
type Entry struct {
	N      int             `json:"n"`
	Base   int             `json:"base"`
	At     time.Time       `json:"when"`
	Who    string          `json:"who"`
	Kind   string          `json:"kind"`
	Text   string          `json:"text"`
	Reason string          `json:"reason,omitempty"`
	Body   json.RawMessage `json:"body"`
}

// Kinds of entries that the log itself knows; all others are steps that stand
// until they are taken back.
const (
	Undo = "undo"
	Redo = "redo"
)

// Append adds an entry made on revision base and gives the new revision. The
// error is a *StaleError where base is not the present revision: nothing is
// written then.
func (s *Store) Append(piece string, e Entry) (int, error) {
	if len(e.Body) > MaxBody || len(e.Text) > MaxText || len(e.Reason) > MaxText || len(e.Who) > MaxText {
		return 0, errors.New("the entry is too large for the log")
	}
	if len(e.Body) == 0 {
		e.Body = json.RawMessage("{}")
	}
	now := time.Now().UnixMilli()
	n := e.Base + 1
	err := s.write(func(tx *sql.Tx) error {
		var have int
		if err := tx.QueryRow(`SELECT revision FROM piece WHERE id = ?`, piece).Scan(&have); err != nil {
			if errors.Is(err, sql.ErrNoRows) {
				return ErrNoPiece
			}
			return err
		}
		if have != e.Base {
			return &StaleError{e.Base, have}
		}
		if have >= maxEntries {
			return fmt.Errorf("the log of the piece is full (%d entries): export it and begin anew", maxEntries)
		}
		if _, err := tx.Exec(`INSERT INTO log (piece, n, base, at, who, kind, text, reason, body) VALUES (?,?,?,?,?,?,?,?,?)`, piece, n, e.Base, now, e.Who, e.Kind, e.Text, e.Reason, string(e.Body)); err != nil {
			return err
		}
		_, err := tx.Exec(`UPDATE piece SET revision = ?, changed = ? WHERE id = ?`, n, now, piece)
		return err
	})
	if err != nil {
		return 0, err
	}
	return n, nil
}

// Log is all entries of a piece in order.
func (s *Store) Log(piece string) ([]Entry, error) {
	return s.Since(piece, 0)
}

// Since is the entries after a revision.
func (s *Store) Since(piece string, revision int) ([]Entry, error) {
	return list(s, func(r scanner) (e Entry, err error) {
		var at int64
		var body string
		err = r.Scan(&e.N, &e.Base, &at, &e.Who, &e.Kind, &e.Text, &e.Reason, &body)
		e.At, e.Body = time.UnixMilli(at), json.RawMessage(body)
		return e, err
	}, `SELECT n, base, at, who, kind, text, reason, body FROM log WHERE piece = ? AND n > ? ORDER BY n`, piece, revision)
}

// Standing sorts a log into the steps that stand, in order, and those taken back
// that a redo would bring back, the next one last. A new step after an undo
// leaves nothing to redo; an undo or redo of nothing does nothing.
func Standing(log []Entry) (stand, back []Entry) {
	for _, e := range log {
		switch e.Kind {
		case Undo:
			if n := len(stand); n > 0 {
				back = append(back, stand[n-1])
				stand = stand[:n-1]
			}
		case Redo:
			if n := len(back); n > 0 {
				stand = append(stand, back[n-1])
				back = back[:n-1]
			}
		default:
			stand, back = append(stand, e), nil
		}
	}
	return stand, back
}
