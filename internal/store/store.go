// Package store keeps a library of pieces in one SQLite file: the bytes of each
// source, an append-only log of what was decided, named plans, and witnesses.
//
// It knows no music. An entry of the log carries its matter as JSON that the
// desk writes and reads; a note in it is named by its place (package decide), so
// that the log serves a new edition of the source too.
//
// The file is written ahead (WAL) and each commit is flushed to the disk
// (synchronous=FULL): what Append has acknowledged survives a crash of the
// program and of the machine (https://www.sqlite.org/pragma.html#pragma_synchronous).
package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// Limits on what the library takes.
const (
	MaxSource  = 64 << 20 // bytes of a source or witness
	MaxBody    = 4 << 20  // bytes of one entry's matter
	MaxText    = 4000     // bytes of a name, a reason, a title
	maxEntries = 1 << 20  // of one piece
)

// The errors that a caller tells apart.
var (
	ErrNoPiece = errors.New("there is no such piece in the library")
	ErrNone    = errors.New("there is no such thing in the piece")
)

// StaleError refuses what was made on an older revision than the present one.
type StaleError struct{ Base, Revision int }

func (e *StaleError) Error() string {
	return fmt.Sprintf("this was made on revision %d, and the piece is at revision %d by now: look at it again", e.Base, e.Revision)
}

// Piece is what the library knows of a piece without reading it.
type Piece struct {
	ID         string    `json:"id"`
	File       string    `json:"file"` // name of the source, without folders
	Title      string    `json:"title"`
	Part       string    `json:"part"` // ID of the part
	Instrument string    `json:"instrument"`
	Bars       int       `json:"bars"`
	Notes      int       `json:"notes"`
	Revision   int       `json:"revision"` // number of the last entry of the log
	Created    time.Time `json:"created"`
	Changed    time.Time `json:"changed"`
}

// Store is an open library. It is safe for concurrent use, also by several
// processes.
type Store struct {
	db   *sql.DB
	path string
}

//go:embed migrations/*.sql
var migrations embed.FS

// Open opens the library's file, and makes it where there is none.
func Open(path string) (*Store, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("library %s: %w", path, err)
	}
	if err := os.MkdirAll(filepath.Dir(abs), 0o700); err != nil {
		return nil, fmt.Errorf("library %s: %w", path, err)
	}
	q := url.Values{"_txlock": {"immediate"}, "_pragma": {"busy_timeout(10000)", "journal_mode(wal)", "synchronous(full)", "foreign_keys(1)"}}
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(abs), RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", u.String())
	if err != nil {
		return nil, fmt.Errorf("library %s: %w", path, err)
	}
	db.SetMaxOpenConns(4)
	s := &Store{db, abs}
	if err := s.migrate(); err != nil {
		return nil, errors.Join(fmt.Errorf("library %s: %w", path, err), db.Close())
	}
	return s, nil
}

// Close closes the library.
func (s *Store) Close() error { return s.db.Close() }

// Path is the library's file.
func (s *Store) Path() string { return s.path }

// migrate brings the file to the newest form; its form is its user_version.
func (s *Store) migrate() error {
	names, err := migrations.ReadDir("migrations")
	if err != nil {
		return err
	}
	return s.write(func(tx *sql.Tx) error {
		var have int
		if err := tx.QueryRow("PRAGMA user_version").Scan(&have); err != nil {
			return fmt.Errorf("it is no library: %w", err)
		}
		if have > len(names) {
			return fmt.Errorf("it was written by a newer pochette (form %d; this one knows %d)", have, len(names))
		}
		for i := have; i < len(names); i++ {
			text, err := migrations.ReadFile("migrations/" + names[i].Name())
			if err != nil {
				return err
			}
			if _, err := tx.Exec(string(text)); err != nil {
				return fmt.Errorf("%s: %w", names[i].Name(), err)
			}
		}
		_, err := tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", len(names)))
		return err
	})
}

// write runs f in a transaction that holds the write lock from its beginning.
func (s *Store) write(f func(*sql.Tx) error) error {
	tx, err := s.db.BeginTx(context.Background(), nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

func newID() string { return strings.ToLower(rand.Text()[:12]) }

// BaseName is a file's name without folders of any system.
func BaseName(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	if name == "" || name == "." || name == ".." || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' }) || !utf8.ValidString(name) {
		return "score"
	}
	return clip(name, 200)
}

// clip cuts a text to a number of bytes, between runes.
func clip(s string, most int) string {
	if len(s) <= most {
		return s
	}
	for most > 0 && !utf8.RuneStart(s[most]) {
		most--
	}
	return s[:most]
}

// Add puts a piece into the library; ID, Revision and times are the library's.
func (s *Store) Add(p Piece, source []byte) (Piece, error) {
	if len(source) > MaxSource {
		return p, fmt.Errorf("%s: larger than %d MB, the most that the library takes", p.File, MaxSource>>20)
	}
	now := time.Now()
	p.ID, p.File, p.Revision, p.Created, p.Changed = newID(), BaseName(p.File), 0, now, now
	p.Title, p.Part, p.Instrument = clip(p.Title, MaxText), clip(p.Part, MaxText), clip(p.Instrument, MaxText)
	err := s.write(func(tx *sql.Tx) error { return insertPiece(tx, p, source) })
	return p, err
}

func insertPiece(tx *sql.Tx, p Piece, source []byte) error {
	_, err := tx.Exec(`INSERT INTO piece (id, file, title, part, instrument, bars, notes, revision, created, changed, source) VALUES (?,?,?,?,?,?,?,?,?,?,?)`,
		p.ID, p.File, p.Title, p.Part, p.Instrument, p.Bars, p.Notes, p.Revision, p.Created.UnixMilli(), p.Changed.UnixMilli(), source)
	return err
}

const pieceColumns = `id, file, title, part, instrument, bars, notes, revision, created, changed`

type scanner interface{ Scan(...any) error }

func scanPiece(r scanner) (p Piece, err error) {
	var created, changed int64
	err = r.Scan(&p.ID, &p.File, &p.Title, &p.Part, &p.Instrument, &p.Bars, &p.Notes, &p.Revision, &created, &changed)
	p.Created, p.Changed = time.UnixMilli(created), time.UnixMilli(changed)
	return p, err
}

// Pieces lists the library, the piece changed last first.
func (s *Store) Pieces() ([]Piece, error) {
	return list(s, scanPiece, `SELECT `+pieceColumns+` FROM piece ORDER BY changed DESC, id`)
}

func list[T any](s *Store, scan func(scanner) (T, error), query string, args ...any) ([]T, error) {
	rows, err := s.db.Query(query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := []T{}
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

// Piece is one of them.
func (s *Store) Piece(id string) (Piece, error) {
	p, err := scanPiece(s.db.QueryRow(`SELECT `+pieceColumns+` FROM piece WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return p, ErrNoPiece
	}
	return p, err
}

// Source is the bytes of a piece as they came.
func (s *Store) Source(id string) ([]byte, error) {
	var b []byte
	err := s.db.QueryRow(`SELECT source FROM piece WHERE id = ?`, id).Scan(&b)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, ErrNoPiece
	}
	return b, err
}

// Remove takes a piece and all that belongs to it out of the library.
func (s *Store) Remove(id string) error {
	return s.write(func(tx *sql.Tx) error {
		res, err := tx.Exec(`DELETE FROM piece WHERE id = ?`, id)
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			return cmpErr(err, ErrNoPiece)
		}
		return nil
	})
}

func cmpErr(err, other error) error {
	if err != nil {
		return err
	}
	return other
}

// Backup writes a whole copy of the library, also while it is in use, to a file
// that must not exist yet.
func (s *Store) Backup(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s exists already: name a new file", path)
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return fmt.Errorf("backup to %s: %w", path, err)
	}
	temp := abs + ".partial"
	if err := os.Remove(temp); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if _, err := s.db.Exec(`VACUUM INTO ?`, temp); err != nil {
		return errors.Join(fmt.Errorf("backup to %s: %w", path, err), os.Remove(temp))
	}
	if err := checkCopy(temp); err != nil {
		return fmt.Errorf("backup to %s: %w", path, err)
	}
	if err := flush(temp); err != nil {
		return fmt.Errorf("backup to %s: %w", path, err)
	}
	return os.Rename(temp, path)
}

// flush brings a file to the disk.
func flush(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// checkCopy opens a copy by itself and checks it.
func checkCopy(path string) error {
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: "mode=ro"}).String())
	if err != nil {
		return err
	}
	c := &Store{db, path}
	return errors.Join(c.Check(), c.Close())
}

// Check asks SQLite whether the file is whole.
func (s *Store) Check() error {
	lines, err := list(s, func(r scanner) (t string, err error) { err = r.Scan(&t); return t, err }, `PRAGMA integrity_check(20)`)
	if err != nil {
		return err
	}
	if !slices.Equal(lines, []string{"ok"}) {
		return fmt.Errorf("library %s is damaged: %s", s.path, strings.Join(lines, "; "))
	}
	return nil
}

// Plan is the marks of a moment under a name.
type Plan struct {
	ID   int64           `json:"id"`
	Name string          `json:"name"`
	Who  string          `json:"who"`
	At   time.Time       `json:"when"`
	Base int             `json:"revision"`
	Body json.RawMessage `json:"body,omitempty"`
}

// SavePlan keeps a plan.
func (s *Store) SavePlan(piece string, p Plan) (Plan, error) {
	if len(p.Body) > MaxBody || len(p.Name) > MaxText || len(p.Who) > MaxText {
		return p, errors.New("the plan is too large to be kept")
	}
	p.At = time.Now()
	err := s.write(func(tx *sql.Tx) error {
		res, err := tx.Exec(`INSERT INTO plan (piece, name, who, at, base, body) SELECT id, ?, ?, ?, ?, ? FROM piece WHERE id = ?`, p.Name, p.Who, p.At.UnixMilli(), p.Base, string(p.Body), piece)
		return inserted(res, err, &p.ID)
	})
	return p, err
}

// inserted reads the number of the row, or says that the piece is gone.
func inserted(res sql.Result, err error, id *int64) error {
	if err != nil {
		return err
	}
	if n, err := res.RowsAffected(); err != nil || n == 0 {
		return cmpErr(err, ErrNoPiece)
	}
	*id, err = res.LastInsertId()
	return err
}

// Plans of a piece, oldest first, without their bodies.
func (s *Store) Plans(piece string) ([]Plan, error) {
	return list(s, func(r scanner) (p Plan, err error) {
		var at int64
		err = r.Scan(&p.ID, &p.Name, &p.Who, &at, &p.Base)
		p.At = time.UnixMilli(at)
		return p, err
	}, `SELECT id, name, who, at, base FROM plan WHERE piece = ? ORDER BY id`, piece)
}

// Plan is one of them, with its body.
func (s *Store) Plan(piece string, id int64) (p Plan, err error) {
	var at int64
	var body string
	err = s.db.QueryRow(`SELECT id, name, who, at, base, body FROM plan WHERE piece = ? AND id = ?`, piece, id).Scan(&p.ID, &p.Name, &p.Who, &at, &p.Base, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return p, ErrNone
	}
	p.At, p.Body = time.UnixMilli(at), json.RawMessage(body)
	return p, err
}

// Witness is a second source of a piece.
type Witness struct {
	ID   int64     `json:"id"`
	Name string    `json:"name"`
	At   time.Time `json:"when"`
}

// AddWitness keeps a witness.
func (s *Store) AddWitness(piece, name string, source []byte) (w Witness, err error) {
	if len(source) > MaxSource {
		return w, fmt.Errorf("%s: larger than %d MB, the most that the library takes", name, MaxSource>>20)
	}
	w.Name, w.At = BaseName(name), time.Now()
	err = s.write(func(tx *sql.Tx) error {
		res, err := tx.Exec(`INSERT INTO witness (piece, name, at, source) SELECT id, ?, ?, ? FROM piece WHERE id = ?`, w.Name, w.At.UnixMilli(), source, piece)
		return inserted(res, err, &w.ID)
	})
	return w, err
}

// Witnesses of a piece, oldest first.
func (s *Store) Witnesses(piece string) ([]Witness, error) {
	return list(s, func(r scanner) (w Witness, err error) {
		var at int64
		err = r.Scan(&w.ID, &w.Name, &at)
		w.At = time.UnixMilli(at)
		return w, err
	}, `SELECT id, name, at FROM witness WHERE piece = ? ORDER BY id`, piece)
}

// WitnessSource is the name and the bytes of a witness.
func (s *Store) WitnessSource(piece string, id int64) (name string, source []byte, err error) {
	err = s.db.QueryRow(`SELECT name, source FROM witness WHERE piece = ? AND id = ?`, piece, id).Scan(&name, &source)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNone
	}
	return name, source, err
}

// FindSource is the piece changed last whose source has these bytes.
func (s *Store) FindSource(data []byte) (Piece, error) {
	p, err := scanPiece(s.db.QueryRow(`SELECT `+pieceColumns+` FROM piece WHERE length(source) = ? AND source = ? ORDER BY changed DESC LIMIT 1`, len(data), data))
	if errors.Is(err, sql.ErrNoRows) {
		return p, ErrNoPiece
	}
	return p, err
}
