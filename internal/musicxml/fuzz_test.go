package musicxml

import (
	"bytes"
	"encoding/xml"
	"io"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"pochette/internal/testdata"
)

// seeds adds made files and, where the shared data is at hand, small suite files.
func seeds(f *testing.F) {
	f.Add([]byte(small))
	f.Add([]byte(strings.ReplaceAll(small, "\n", "\r\n")))
	f.Add([]byte(strings.ReplaceAll(strings.Replace(small, "UTF-8", "ISO-8859-1", 1), "é", "\xe9")))
	f.Add([]byte("\xff\xfe<\x00a\x00/\x00>\x00"))
	f.Add(archive("META-INF/container.xml", container("a.xml"), "a.xml", small))
	f.Add([]byte(`<!DOCTYPE a [<!ENTITY b "c">]><a b='d' c="&#x41;"><![CDATA[<]]><!-- e --><?f g?></a>`))
	if os.Getenv("POCHETTE_DATA") == "" {
		if _, err := os.Stat("../../../shared/data"); err != nil {
			return
		}
	}
	for _, p := range testdata.Scores(f, "musicxml/suite/2*", "musicxml/suite/33*", "musicxml/suite/4[56]*") {
		if data, err := os.ReadFile(p); err == nil && len(data) < 16<<10 {
			f.Add(data)
		}
	}
}

// FuzzOpen: whatever the bytes, an error in one line or a source whose bytes can
// be had back.
func FuzzOpen(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := Open(data, "fuzz")
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("an error of several lines: %v", err)
			}
			return
		}
		if !utf8.Valid(src.XML) {
			t.Fatal("XML is not UTF-8")
		}
		if !src.Compressed && !bytes.Equal(src.Bytes(src.XML), data) {
			t.Fatal("the bytes do not come back")
		}
	})
}

// FuzzDecode: an error in one line, or a score that keeps the rules of package
// score; and the same for what Partwise makes of it.
func FuzzDecode(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := Open(data, "fuzz")
		if err != nil {
			return
		}
		sc, _, err := Decode(src)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("an error of several lines: %v", err)
			}
			return
		}
		checkRules(t, readable{name: "fuzz", src: src, score: sc})
		if _, err := Partwise(src); err != nil {
			t.Fatalf("Partwise: %v", err)
		}
		_ = Encode(io.Discard, sc)
	})
}

// FuzzSplice: Strip(Splice(x)) is Strip(x), which is x where it holds no marks
// of ours.
func FuzzSplice(f *testing.F) {
	seeds(f)
	f.Add([]byte(strings.Replace(small, "<down-bow/>", `<!--pochette:add--><down-bow/><!--pochette:end--><!--pochette:cut <slur/>-->`, 1)))
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := Open(data, "fuzz")
		if err != nil {
			return
		}
		sc, _, err := Decode(src)
		if err != nil || len(sc.Parts) == 0 {
			return
		}
		want, err := Strip(src.Bytes(src.XML), "fuzz")
		if err != nil {
			return
		}
		marks, changes := randomMarks(rand.New(rand.NewPCG(uint64(len(data)), 3)), sc.Parts[0])
		marked, err := Splice(src, sc.Parts[0], marks, changes)
		if err != nil {
			if !strings.Contains(err.Error(), "MusicXML can number") && !strings.Contains(err.Error(), "empty <note/>") {
				t.Fatal(err)
			}
			return
		}
		got, err := Strip(marked, "fuzz")
		if err != nil || !bytes.Equal(got, want) {
			t.Fatalf("stripped bytes differ (%v):\n%q\n%q", err, got, want)
		}
		again, err := Open(marked, "fuzz")
		if err != nil {
			t.Fatal(err)
		}
		sc2, _, err := Decode(again)
		if err != nil || len(sc2.Parts[0].Notes) != len(sc.Parts[0].Notes) {
			t.Fatalf("the marked file reads differently (%v)", err)
		}
	})
}

// FuzzScan: what the scanner takes, encoding/xml takes too, with the same names,
// attributes and text.
func FuzzScan(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := Open(data, "fuzz")
		if err != nil {
			return
		}
		ours, err := ourTokens(src.XML)
		if err != nil {
			return
		}
		theirs, err := theirTokens(src.XML)
		if err != nil {
			for _, known := range []string{"unsupported version", "invalid XML name", "expected element name", "expected attribute name", "unsupported encoding", "declared but Decoder.CharsetReader"} {
				if strings.Contains(err.Error(), known) {
					return // checked more strictly there, or of no matter here
				}
			}
			t.Fatalf("encoding/xml refuses what the scanner took: %v\n%q", err, src.XML)
		}
		if ours != theirs {
			t.Fatalf("the scanner and encoding/xml differ:\n%q\n%q\n%q", ours, theirs, src.XML)
		}
	})
}

func ourTokens(b []byte) (string, error) {
	var out strings.Builder
	s := newScanner("fuzz", b)
	for {
		if err := s.next(); err != nil {
			return "", err
		}
		switch s.kind {
		case tokEOF:
			return out.String(), nil
		case tokStart:
			out.WriteString("<" + string(s.tag))
			for _, a := range s.attrs {
				out.WriteString(" " + string(a.name) + "=" + string(unescape(b[a.value.start:a.value.end])))
			}
			out.WriteString(">")
		case tokEnd:
			out.WriteString("</>")
		case tokText:
			if len(s.stack) > 0 {
				out.Write(unescape(b[s.inner.start:s.inner.end]))
			}
		case tokCDATA:
			out.Write(bytes.ReplaceAll(bytes.ReplaceAll(b[s.inner.start:s.inner.end], []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n")))
		}
	}
}

func theirTokens(b []byte) (string, error) {
	var out strings.Builder
	d := xml.NewDecoder(bytes.NewReader(bytes.TrimPrefix(b, bom)))
	d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil }
	name := func(n xml.Name) string {
		if n.Space != "" {
			return n.Space + ":" + n.Local
		}
		return n.Local
	}
	depth := 0
	for {
		tok, err := d.RawToken()
		if err == io.EOF {
			return out.String(), nil
		}
		if err != nil {
			return "", err
		}
		switch v := tok.(type) {
		case xml.StartElement:
			depth++
			out.WriteString("<" + name(v.Name))
			for _, a := range v.Attr {
				out.WriteString(" " + name(a.Name) + "=" + a.Value)
			}
			out.WriteString(">")
		case xml.EndElement:
			depth--
			out.WriteString("</>")
		case xml.CharData:
			if depth > 0 {
				out.Write(v)
			}
		}
	}
}
