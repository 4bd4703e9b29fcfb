package engrave

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf16"

	"pochette/internal/engrave/wasm"
)

func TestModuleIsTheOnePublished(t *testing.T) {
	b, err := wasm.Module()
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(b)
	if got := hex.EncodeToString(sum[:]); got != wasm.SHA256 {
		t.Errorf("the embedded module has the checksum %s, make.sh checks %s", got, wasm.SHA256)
	}
}

func TestFaults(t *testing.T) {
	good := invented(plainMeasures(8)...)
	deep := append(bytes.Repeat([]byte("<a>"), 1_000_000), bytes.Repeat([]byte("</a>"), 1_000_000)...)
	for _, tt := range []struct {
		name string
		xml  []byte
		want string
	}{
		{"empty", nil, "the score is empty"},
		{"blank", []byte(" \r\n\t"), "the score is empty"},
		{"only a byte order mark", []byte("\ufeff"), "the score is empty"},
		{"garbage", []byte("To the reader"), "does not begin with <"},
		{"binary", []byte("PK\x03\x04\x00\x00"), "not a text file"},
		{"truncated", good[:len(good)/2], "cut off"},
		{"truncated in a tag", good[:bytes.LastIndex(good, []byte("</part"))+4], "line"},
		{"other root", []byte("<html></html>"), "outermost element is <html>"},
		{"timewise", []byte("<score-timewise></score-timewise>"), "convert it to score-partwise"},
		{"nothing inside", []byte("<score-partwise/>"), "no part"},
		{"no measures", invented(), "no measures"},
		{"crossed tags", []byte("<score-partwise><a><b></a></b></score-partwise>"), "line 1: </a> ends nothing"},
		{"deep", append([]byte("<score-partwise>"), deep...), "nested more than 100 deep"},
		{"huge", make([]byte, maxSource+1), "the limit is 64 MB"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := openPool(t, 1)
			pages, err := p.SVG(t.Context(), tt.xml, A4())
			if err == nil {
				t.Fatalf("no error, %d pages", len(pages))
			}
			if !strings.Contains(err.Error(), tt.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("said %q, wanted one line with %q", err, tt.want)
			}
			if pages, err = p.SVG(t.Context(), good, A4()); err != nil || len(pages) != 1 {
				t.Errorf("a good score after it: %d pages, %v", len(pages), err)
			}
		})
	}
}

// A session goes on after a fault, in a fresh engraver, and nobody else sees the old one.
func TestFaultInsideTheEngraver(t *testing.T) {
	p := openPool(t, 1)
	good := invented(plainMeasures(4)...)
	before, err := p.SVG(t.Context(), good, A4())
	if err != nil {
		t.Fatal(err)
	}
	s, err := p.Session(t.Context(), good)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	// A function that is not there stands for any trap.
	if _, err := s.in.call(t.Context(), "do what it cannot", "nothing"); s.guard(err) == nil {
		t.Fatal("no error")
	}
	if s.in != nil {
		t.Error("the faulty engraver is still held")
	}
	after, err := s.SVG(t.Context(), A4())
	if err != nil {
		t.Fatal(err)
	}
	if !equal(before, after) {
		t.Error("after a fault the same score gives other bytes")
	}
}

// An address outside the engraver's memory makes it trap.
func TestTrapIsAnError(t *testing.T) {
	p := openPool(t, 1)
	in, err := p.take(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	_, err = in.call(t.Context(), "count the pages", "vrvToolkit_getPageCount", 0xfffffff0)
	p.give(t.Context(), in, false)
	if _, fault := errors.AsType[*faultError](err); !fault {
		t.Fatalf("reading past the end of memory gave %v, not a fault", err)
	}
	if strings.Contains(err.Error(), "\n") {
		t.Errorf("several lines: %q", err)
	}
	if _, err := p.SVG(t.Context(), invented(plainMeasures(1)...), A4()); err != nil {
		t.Error(err)
	}
}

func TestDeterministic(t *testing.T) {
	good := invented(plainMeasures(60)...)
	var first []string
	for range 2 {
		p := openPool(t, 1)
		for range 2 {
			pages, err := p.SVG(t.Context(), good, A4())
			if err != nil {
				t.Fatal(err)
			}
			if first == nil {
				first = pages
			} else if !equal(first, pages) {
				t.Fatal("the same score in the same layout gave other bytes")
			}
		}
		s, err := p.Session(t.Context(), good)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.SVG(t.Context(), Excerpt("3-5", 100)); err != nil {
			t.Fatal(err)
		}
		pages, err := s.SVG(t.Context(), A4())
		if err != nil {
			t.Fatal(err)
		}
		if !equal(first, pages) {
			t.Error("after an excerpt of it the same score gave other bytes")
		}
		s.Close()
	}
}

func equal(a, b []string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

func TestConcurrent(t *testing.T) {
	p := openPool(t, 2)
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			for j := range 3 {
				if (i+j)%4 == 3 {
					if _, err := p.SVG(t.Context(), []byte("<score-partwise>"), A4()); err == nil {
						t.Error("a cut-off score was drawn")
					}
					continue
				}
				n := 2 + i
				pages, err := p.SVG(t.Context(), invented(plainMeasures(n)...), A4())
				if err != nil {
					t.Error(err)
					continue
				}
				if got := strings.Count(strings.Join(pages, ""), `class="measure"`); got != n {
					t.Errorf("%d measures drawn, %d in the score", got, n)
				}
			}
		})
	}
	wg.Wait()
}

func TestCancel(t *testing.T) {
	long := invented(plainMeasures(1500)...)
	good := invented(plainMeasures(2)...)
	for _, interruptible := range []bool{false, true} {
		t.Run(fmt.Sprintf("interruptible %t", interruptible), func(t *testing.T) {
			dir, err := cacheDir()
			if err != nil {
				t.Fatal(err)
			}
			p, err := Open(t.Context(), PoolOptions{Size: 1, CacheDir: dir, Interruptible: interruptible})
			if err != nil {
				t.Fatal(err)
			}
			defer p.Close(context.Background())
			ctx, cancel := context.WithTimeout(t.Context(), 60*time.Millisecond)
			defer cancel()
			if _, err := p.SVG(ctx, long, A4()); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("a call out of time gave %v", err)
			}
			if _, err := p.SVG(ctx, good, A4()); !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("a call after its time gave %v", err)
			}
			if _, err := p.SVG(t.Context(), good, A4()); err != nil {
				t.Errorf("the next score: %v", err)
			}
		})
	}
}

func TestClosed(t *testing.T) {
	p := openPool(t, 1)
	s, err := p.Session(t.Context(), invented(plainMeasures(1)...))
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	s.Close()
	if _, err := s.SVG(t.Context(), A4()); !errors.Is(err, ErrClosed) {
		t.Errorf("a closed session gave %v", err)
	}
	if err := p.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := p.SVG(t.Context(), invented(plainMeasures(1)...), A4()); !errors.Is(err, ErrClosed) {
		t.Errorf("a closed pool gave %v", err)
	}
}

// A cache folder that cannot be made, written to or trusted costs time, nothing else.
func TestUnusableCache(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles the engraver several times, which takes some seconds each; run without -short")
	}
	good := invented(plainMeasures(1)...)
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	spoilt := t.TempDir()
	p, err := Open(t.Context(), PoolOptions{CacheDir: spoilt})
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	entries, err := filepath.Glob(filepath.Join(spoilt, "*", "*"))
	if err != nil || len(entries) == 0 {
		t.Fatalf("nothing in the cache: %v", err)
	}
	for _, e := range entries {
		if err := os.Truncate(e, 1000); err != nil {
			t.Fatal(err)
		}
	}
	for name, dir := range map[string]string{"a file in its place": filepath.Join(file, "cache"), "a spoilt entry": spoilt} {
		t.Run(name, func(t *testing.T) {
			p, err := Open(t.Context(), PoolOptions{Size: 1, CacheDir: dir})
			if err != nil {
				t.Fatal(err)
			}
			defer p.Close(context.Background())
			if p.CacheErr() == nil {
				t.Error("the cache is said to be in use")
			} else if !strings.Contains(p.CacheErr().Error(), dir) {
				t.Errorf("%v does not name %s", p.CacheErr(), dir)
			}
			if _, err := p.SVG(t.Context(), good, A4()); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestEncodings(t *testing.T) {
	p := openPool(t, 1)
	text := strings.Replace(string(invented(plainMeasures(1)...)), "Jig", "Gigue légère", 1)
	utf16le := []byte{0xff, 0xfe}
	utf16be := []byte{0xfe, 0xff}
	for _, u := range utf16.Encode([]rune(text)) {
		utf16le = append(utf16le, byte(u), byte(u>>8))
		utf16be = append(utf16be, byte(u>>8), byte(u))
	}
	var latin1 []byte
	for _, r := range strings.Replace(text, "UTF-8", "ISO-8859-1", 1) {
		latin1 = append(latin1, byte(r))
	}
	for name, b := range map[string][]byte{
		"UTF-8": []byte(text), "with a mark": []byte("\ufeff" + text), "UTF-16LE": utf16le, "UTF-16BE": utf16be,
		"ISO 8859-1": latin1, "CRLF": []byte(strings.ReplaceAll(text, "\n", "\r\n")),
	} {
		pages, err := p.SVG(t.Context(), b, A4())
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if !strings.Contains(pages[0], "Gigue légère") {
			t.Errorf("%s: the title is not on the page", name)
		}
	}
}
