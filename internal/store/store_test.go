package store

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"
)

func open(t testing.TB) *Store {
	t.Helper()
	s, err := Open(filepath.Join(t.TempDir(), "l.sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func add(t testing.TB, s *Store, name string) Piece {
	t.Helper()
	p, err := s.Add(Piece{File: name, Title: "Walk", Part: "P1", Instrument: "viola", Bars: 3, Notes: 9}, []byte("source of "+name))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPieces(t *testing.T) {
	s := open(t)
	a, b := add(t, s, "a.xml"), add(t, s, `C:\music\b.xml`)
	ps, err := s.Pieces()
	if err != nil || len(ps) != 2 || b.File != "b.xml" {
		t.Fatalf("%v, %v, file %q", ps, err, b.File)
	}
	if src, err := s.Source(a.ID); err != nil || string(src) != "source of a.xml" {
		t.Errorf("source %q, %v", src, err)
	}
	if p, err := s.FindSource([]byte("source of a.xml")); err != nil || p.ID != a.ID {
		t.Errorf("found %v, %v", p, err)
	}
	if _, err := s.FindSource([]byte("none")); !errors.Is(err, ErrNoPiece) {
		t.Errorf("found by other bytes: %v", err)
	}
	if err := s.Remove(a.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Piece(a.ID); !errors.Is(err, ErrNoPiece) {
		t.Errorf("a removed piece: %v", err)
	}
	if err := s.Remove(a.ID); !errors.Is(err, ErrNoPiece) {
		t.Errorf("removed twice: %v", err)
	}
}

// The pragmas that the promise of Append rests on are in force on every connection.
func TestPragmas(t *testing.T) {
	s := open(t)
	for name, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1"} { // 2 is FULL
		for range 6 {
			var got string
			if err := s.db.QueryRow("PRAGMA " + name).Scan(&got); err != nil || got != want {
				t.Errorf("%s is %q, want %q (%v)", name, got, want, err)
			}
		}
	}
}

// Of many that write on the same revision exactly one is taken each time.
func TestAppendIsSerial(t *testing.T) {
	s := open(t)
	p := add(t, s, "a.xml")
	const tabs, rounds = 8, 20
	for round := range rounds {
		var wg sync.WaitGroup
		var mu sync.Mutex
		taken := 0
		for k := range tabs {
			wg.Go(func() {
				n, err := s.Append(p.ID, Entry{Base: round, Kind: "decide", Text: fmt.Sprint(k)})
				var stale *StaleError
				mu.Lock()
				defer mu.Unlock()
				switch {
				case err == nil && n == round+1:
					taken++
				case errors.As(err, &stale) && stale.Revision == round+1:
				default:
					t.Errorf("round %d: %d, %v", round, n, err)
				}
			})
		}
		wg.Wait()
		if taken != 1 {
			t.Fatalf("round %d: %d were taken", round, taken)
		}
	}
	log, err := s.Log(p.ID)
	if err != nil || len(log) != rounds {
		t.Fatalf("%d entries, %v", len(log), err)
	}
	if since, err := s.Since(p.ID, 15); err != nil || len(since) != rounds-15 || since[0].N != 16 {
		t.Errorf("since 15: %v, %v", since, err)
	}
}

// Standing against a model that keeps whole states.
func TestStandingIsUndoAndRedo(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for range 300 {
		states, at := [][]int{{}}, 0
		var log []Entry
		for n := 1; n <= r.IntN(40); n++ {
			e := Entry{N: n, Kind: []string{"decide", Undo, Redo}[r.IntN(3)]}
			log = append(log, e)
			switch e.Kind {
			case Undo:
				at = max(0, at-1)
			case Redo:
				at = min(len(states)-1, at+1)
			default:
				states = append(states[:at+1:at+1], append(append([]int{}, states[at]...), n))
				at++
			}
		}
		stand, back := Standing(log)
		got := []int{}
		for _, e := range stand {
			got = append(got, e.N)
		}
		if !reflect.DeepEqual(got, states[at]) || len(back) != len(states)-1-at {
			t.Fatalf("%v stands %v with %d to redo; want %v and %d", log, got, len(back), states[at], len(states)-1-at)
		}
	}
}

func TestBackup(t *testing.T) {
	s := open(t)
	p := add(t, s, "a.xml")
	if _, err := s.Append(p.ID, Entry{Kind: "decide", Text: "one"}); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "copy.sqlite")
	if err := s.Backup(path); err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(path); err == nil {
		t.Error("an existing file was written over")
	}
	c, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if log, err := c.Log(p.ID); err != nil || len(log) != 1 || c.Check() != nil {
		t.Errorf("the copy has %v, %v", log, err)
	}
}

func TestThin(t *testing.T) {
	dir := t.TempDir()
	for _, n := range []string{"2026-01-01T000000.sqlite", "2026-01-02T000000.sqlite", "2026-01-03T000000.sqlite", "mine.sqlite"} {
		if err := os.WriteFile(filepath.Join(dir, n), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := Thin(dir, 1); err != nil {
		t.Fatal(err)
	}
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(left) != 2 || filepath.Base(left[0]) != "2026-01-03T000000.sqlite" {
		t.Errorf("left: %v", left)
	}
}

// A file that is no library, and one of a newer form, are refused and left alone.
func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.sqlite")
	if err := os.WriteFile(text, bytes.Repeat([]byte("no library at all\n"), 400), 0o600); err != nil {
		t.Fatal(err)
	}
	if s, err := Open(text); err == nil {
		s.Close()
		t.Error("a text file was opened")
	}
	newer := filepath.Join(dir, "newer.sqlite")
	s, err := Open(newer)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	s.Close()
	if s, err := Open(newer); err == nil || !strings.Contains(err.Error(), "newer") {
		t.Errorf("%v, %v", s, err)
	}
}

func full(t testing.TB, s *Store) Piece {
	p := add(t, s, "a.xml")
	for i := range 3 {
		if _, err := s.Append(p.ID, Entry{Base: i, Who: "Ada", Kind: "decide", Text: "t", Reason: "r", Body: json.RawMessage(`{"changes":[]}`)}); err != nil {
			t.Fatal(err)
		}
	}
	w, err := s.AddWitness(p.ID, "w.xml", []byte("witness"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Append(p.ID, Entry{Base: 3, Kind: "choose", Body: fmt.Appendf(nil, `{"choose":{"witness":%d}}`, w.ID)}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SavePlan(p.ID, Plan{Name: "one", Body: json.RawMessage(`{"marks":[]}`)}); err != nil {
		t.Fatal(err)
	}
	return p
}

func exported(t testing.TB, s *Store, id string) []byte {
	var buf bytes.Buffer
	if err := s.Export(&buf, id, []byte("version: 1\ndecisions: []\n")); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// A piece goes out and comes into another library whole; the witness that the log
// names has its number there.
func TestArchive(t *testing.T) {
	s, o := open(t), open(t)
	p := full(t, s)
	q := add(t, o, "b.xml")
	for range 3 {
		if _, err := o.AddWitness(q.ID, "x", []byte("x")); err != nil {
			t.Fatal(err)
		}
	}
	got, err := o.Import(exported(t, s, p.ID), nil)
	if err != nil {
		t.Fatal(err)
	}
	if src, err := o.Source(got.ID); err != nil || string(src) != "source of a.xml" || got.Revision != 4 || got.ID == p.ID {
		t.Errorf("%+v, %q, %v", got, src, err)
	}
	ws, err := o.Witnesses(got.ID)
	if err != nil || len(ws) != 1 {
		t.Fatal(ws, err)
	}
	log, err := o.Log(got.ID)
	if err != nil || len(log) != 4 || !strings.Contains(string(log[3].Body), fmt.Sprintf(`"witness":%d`, ws[0].ID)) {
		t.Errorf("log %s, witness %d, %v", log[len(log)-1].Body, ws[0].ID, err)
	}
	if _, b, err := o.WitnessSource(got.ID, ws[0].ID); err != nil || string(b) != "witness" {
		t.Errorf("witness %q, %v", b, err)
	}
	if pl, err := o.Plans(got.ID); err != nil || len(pl) != 1 || pl[0].Name != "one" {
		t.Errorf("plans %v, %v", pl, err)
	}
}

// zipped makes a zip of members, in order.
func zipped(t testing.TB, members ...string) []byte {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i+1 < len(members); i += 2 {
		f, err := z.Create(members[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write([]byte(members[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestImportRefuses(t *testing.T) {
	s := open(t)
	meta := `{"format":"pochette-piece","version":1}`
	for _, c := range []struct {
		what string
		data []byte
		says string
	}{
		{"nothing", nil, "no zip"},
		{"text", []byte("hello"), "no zip"},
		{"cut off", exported(t, s, full(t, s).ID)[:400], "no zip"},
		{"no manifest", zipped(t, "source/a.xml", "x"), "no piece.json"},
		{"another format", zipped(t, "piece.json", `{"format":"x"}`), "format"},
		{"a later version", zipped(t, "piece.json", `{"format":"pochette-piece","version":9}`), "version 9"},
		{"no source", zipped(t, "piece.json", meta), "no source"},
		{"two sources", zipped(t, "piece.json", meta, "source/a", "1", "source/b", "2"), "more than one source"},
		{"no history", zipped(t, "piece.json", meta, "source/a", "1"), "no history.json"},
		{"a gap in the history", zipped(t, "piece.json", meta, "source/a", "1", "history.json", `[{"n":2,"base":1,"kind":"decide","body":{}}]`), "step 1"},
		{"a name twice", zipped(t, "piece.json", meta, "piece.json", meta), "twice"},
		{"a bomb", zipped(t, "piece.json", meta, "source/a", strings.Repeat("0", 40<<20)), "would grow"},
		{"a witness missing", zipped(t, "piece.json", meta, "source/a", "1", "history.json", "[]", "witnesses.json", `[{"id":1,"name":"w"}]`), "witness 1 is missing"},
		{"a plan without body", zipped(t, "piece.json", meta, "source/a", "1", "history.json", "[]", "plans.json", `[{"name":"p"}]`), "a plan is empty"},
	} {
		before, err := s.Pieces()
		if err != nil {
			t.Fatal(err)
		}
		_, err = s.Import(c.data, nil)
		if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v; want one line with %q", c.what, err, c.says)
		}
		if after, err := s.Pieces(); err != nil || len(after) != len(before) {
			t.Errorf("%s: something was kept", c.what)
		}
	}
}

// A size that the zip's directory lies about is found out while unpacking.
func TestImportLyingSize(t *testing.T) {
	s := open(t)
	data := zipped(t, "piece.json", `{"format":"pochette-piece","version":1}`, "source/a", strings.Repeat("0", 2<<20))
	at := bytes.LastIndex(data, []byte("PK\x01\x02")) // the directory's entry of source/a
	copy(data[at+24:], []byte{10, 0, 0, 0})           // 10 bytes, it says
	start := time.Now()
	if _, err := s.Import(data, nil); err == nil {
		t.Error("it was taken")
	}
	t.Logf("refused after %v", time.Since(start))
}

// FuzzImport looks for a file that breaks the reader. It opens no library: that
// would leave a fuzzer, whose build counts every branch of SQLite, a few tries a second.
func FuzzImport(f *testing.F) {
	meta := `{"format":"pochette-piece","version":1,"title":"Walk","file":"a.xml"}`
	f.Add(zipped(f, "piece.json", meta, "source/a.xml", "x", "decisions.yaml", "version: 1", "history.json", `[{"n":1,"base":0,"kind":"decide","body":{"changes":[]}}]`,
		"plans.json", `[{"name":"p","body":{}}]`, "witnesses.json", `[{"id":1,"name":"w"}]`, "witness/1", "y"))
	f.Add(zipped(f, "piece.json", meta, "source/a", "1", "history.json", "[]"))
	f.Add([]byte("PK\x03\x04"))
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := readArchive(data)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("not one line: %q", err)
			}
			return
		}
		for i, e := range a.log {
			if e.N != i+1 || e.Base != i || len(e.Body) == 0 {
				t.Errorf("step %d is %+v", i, e)
			}
		}
		if len(a.texts) != len(a.witnesses) || a.meta.File == "" || strings.ContainsAny(a.meta.File, `/\\`) {
			t.Errorf("%d witnesses with %d texts, file %q", len(a.witnesses), len(a.texts), a.meta.File)
		}
	})
}
