package musicxml

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"pochette/internal/score"
)

const small = `<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">
  <part-list>
    <score-part id="P1">
      <part-name>Viola é</part-name>
    </score-part>
  </part-list>
  <part id="P1">
    <measure number="1">
      <attributes>
        <divisions>1</divisions>
      </attributes>
      <note>
        <pitch>
          <step>C</step>
          <octave>4</octave>
        </pitch>
        <duration>1</duration>
        <voice>1</voice>
        <type>quarter</type>
        <notations>
          <technical>
            <down-bow/>
          </technical>
        </notations>
      </note>
      <note>
        <pitch>
          <step>D</step>
          <octave>4</octave>
        </pitch>
        <duration>1</duration>
        <voice>1</voice>
        <type>quarter</type>
        <lyric>
          <text>la</text>
        </lyric>
      </note>
    </measure>
  </part>
</score-partwise>
`

func archive(files ...string) []byte {
	var b bytes.Buffer
	zw := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, _ := zw.Create(files[i])
		_, _ = io.WriteString(w, files[i+1])
	}
	zw.Close()
	return b.Bytes()
}

func container(path string) string {
	return `<container><rootfiles><rootfile full-path="` + path + `"/></rootfiles></container>`
}

// Bad input gives one line with the file, the place, and what to do.
func TestBadInput(t *testing.T) {
	bomb := `<!DOCTYPE score-partwise [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>` + "\n"
	zeros := strings.Repeat("\x00", 8<<20)
	lying := archive("META-INF/container.xml", container("a.xml"), "a.xml", strings.Repeat("<a/>", 1000))
	if i := bytes.LastIndex(lying, []byte("PK\x01\x02")); i >= 0 { // the central entry of a.xml
		binary.LittleEndian.PutUint32(lying[i+24:], 10)
	}
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"empty", nil, "the file is empty"},
		{"blank", []byte(" \n "), "the file is empty"},
		{"text", []byte("hello"), "line 1:1: text where an XML element should begin"},
		{"html", []byte("<html><body/></html>"), "line 1:1: <html> is not MusicXML"},
		{"cut off", []byte(small[:len(small)-200]), "line 27:8: the file ends inside <note>, which begins here"},
		{"cut off in a tag", []byte(small[:strings.Index(small, "version=\"4.0\"")]), "line 2:1: the file ends inside the tag <score-partwise"},
		{"mismatch", []byte(strings.Replace(small, "</step>", "</stop>", 1)), "line 15:18: </stop> where </step> should end the element of line 15"},
		{"entity bomb", []byte(bomb + strings.Replace(strings.SplitN(small, "\n", 2)[1], "Viola", "&b;", 1)), "line 5:18: &b; is an entity of the file's own document type"},
		{"unknown entity", []byte(strings.Replace(small, "Viola", "&nbsp;", 1)), "line 5:18: unknown reference &nbsp;"},
		{"bare ampersand", []byte(strings.Replace(small, "Viola", "Violin & Viola", 1)), "line 5:25: an & that begins no character reference"},
		{"deep", []byte(strings.Repeat("<a>", 5000)), "elements nested more than 64 deep"},
		{"attribute twice", []byte(strings.Replace(small, `version="4.0"`, `version="4.0" version="4.0"`, 1)), "line 2:31: attribute version stands twice"},
		{"many attributes", []byte(manyAttributes()), "more than 128 attributes on <score-partwise>"},
		{"no quotes", []byte(strings.Replace(small, `number="1"`, `number=1`, 1)), "attribute number of <measure> has no quotes"},
		{"latin-1 bytes in UTF-8", []byte(strings.Replace(small, "é", "\xe9", 1)), "line 5:24: byte 0xE9 is not UTF-8"},
		{"control character", []byte(strings.Replace(small, "é", "\x01", 1)), "line 5:24: control character 0x01"},
		{"unknown encoding", []byte(strings.Replace(small, "UTF-8", "EBCDIC", 1)), "encoding EBCDIC is not read"},
		{"half a UTF-16 character", []byte("\xff\xfe<\x00a"), "half a character at its end"},
		{"lone surrogate", []byte("\xfe\xff\x00<\xd8\x00"), "half a UTF-16 character"},
		{"no measures", []byte(`<score-partwise><part-list/></score-partwise>`), "holds no measure of music"},
		{"opus", []byte(`<opus/>`), "a collection (<opus>)"},
		{"two roots", []byte(small + "<a/>"), "a second document element <a>"},
		{"text after", []byte(small + "more"), "text after the end of the document"},
		{"declaration late", []byte("\n" + small), "an XML declaration that is not at the very beginning"},
		{"zip of nothing", archive("x.txt", "hi"), "an archive without META-INF/container.xml and with 0 scores"},
		{"zip cut off", archive("META-INF/container.xml", container("a.xml"), "a.xml", small)[:200], "the archive cannot be read"},
		{"zip that names a missing file", archive("META-INF/container.xml", container("b.xml"), "a.xml", small), `names "b.xml", which is not in the archive`},
		{"zip that points outside", archive("../evil.xml", small), "which points outside it"},
		{"zip bomb", archive("META-INF/container.xml", container("a.xml"), "a.xml", zeros), "times its size"},
		{"zip of many files", archive(strings.Split(strings.Repeat("a.xml,x,", MaxEntries+1), ",")[:2*MaxEntries+2]...), "more than 1024 files"},
		{"zip that lies", lying, "cannot be read"},
		{"container without a root", archive("META-INF/container.xml", "<container/>"), "names no rootfile"},
	} {
		src, err := Open(c.data, "file.musicxml")
		if err == nil {
			_, _, err = Decode(src)
		}
		switch {
		case err == nil:
			t.Errorf("%s: no error", c.name)
		case !strings.HasPrefix(err.Error(), "file.musicxml") || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n"):
			t.Errorf("%s: %v\nwant %s", c.name, err, c.want)
		}
	}
}

func manyAttributes() string {
	var b strings.Builder
	b.WriteString("<score-partwise")
	for i := range MaxAttributes + 1 {
		fmt.Fprintf(&b, " a%d=''", i)
	}
	return b.String() + "/>"
}

// Divisions that share no common unit small enough are read rounded, which is
// one finding and not a false alarm about every measure.
func TestFineTime(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<score-partwise><part-list><score-part id="P1"><part-name/></score-part></part-list><part id="P1">`)
	for i, div := range []int{9973, 9967, 9949, 9941} { // primes
		fmt.Fprintf(&b, `<measure number="%d"><attributes><divisions>%d</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>`, i+1, div)
		for _, d := range []int{div / 3, div - div/3} {
			fmt.Fprintf(&b, `<note><rest/><duration>%d</duration><voice>1</voice></note>`, d)
		}
		b.WriteString("</measure>")
	}
	b.WriteString("</part></score-partwise>")
	src, sc, fs := mustDecode(t, []byte(b.String()))
	if sc.Quarter != roundQuarter || len(fs) != 1 || fs[0].Kind != "fine-time" || fs[0].Grade != score.Caution {
		t.Errorf("a quarter has %d ticks, findings %+v", sc.Quarter, fs)
	}
	checkRules(t, readable{name: "fine", src: src, score: sc})
}

// A file in another encoding comes back in it, byte for byte but for the marks.
func TestEncodings(t *testing.T) {
	units := func(s string, order binary.AppendByteOrder) []byte {
		b := order.AppendUint16(nil, 0xfeff)
		for _, u := range utf16.Encode([]rune(s)) {
			b = order.AppendUint16(b, u)
		}
		return b
	}
	as := func(enc string) string { return strings.Replace(small, "UTF-8", enc, 1) }
	for name, data := range map[string][]byte{
		"utf-8":          []byte(small),
		"utf-8 with BOM": append([]byte("\xef\xbb\xbf"), small...),
		"CRLF":           []byte(strings.ReplaceAll(small, "\n", "\r\n")),
		"one line":       []byte(strings.NewReplacer("\n", "", "  ", "").Replace(small)),
		"tabs":           []byte(strings.ReplaceAll(small, "  ", "\t")),
		"latin-1":        []byte(strings.ReplaceAll(as("ISO-8859-1"), "é", "\xe9")),
		"utf-16 le":      units(as("UTF-16"), binary.LittleEndian),
		"utf-16 be":      units(strings.ReplaceAll(as("UTF-16"), "é", "𝄞"), binary.BigEndian),
	} {
		src, sc, fs := mustDecode(t, data)
		if len(fs) > 0 {
			t.Errorf("%s: %v", name, fs[0].Text)
		}
		marks := []score.NoteMark{{Note: 0, Mark: score.Mark{Kind: score.Fingering, Text: "1–2"}}, {Note: 1, Mark: score.Mark{Kind: score.UpBow}}}
		marked, err := Splice(src, sc.Parts[0], marks, nil)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Strip(marked, name)
		if err != nil || !bytes.Equal(back, data) {
			t.Errorf("%s: bytes differ after Strip (%v)", name, err)
		}
		_, again, _ := mustDecode(t, marked)
		n := again.Parts[0].Notes
		if m, ok := n[0].Get(score.Fingering); !ok || m.Text != "1–2" || !n[1].Has(score.UpBow) || again.Parts[0].Name != sc.Parts[0].Name {
			t.Errorf("%s: marks read as %v and %v", name, n[0].Marks, n[1].Marks)
		}
	}
}

// What a splice looks like: in place, indented as its neighbours.
func TestSpliceLayout(t *testing.T) {
	src, sc, _ := mustDecode(t, []byte(small))
	out, err := Splice(src, sc.Parts[0], []score.NoteMark{{Note: 0, Mark: score.Mark{Kind: score.Fingering, Text: "1"}}, {Note: 1, Mark: score.Mark{Kind: score.UpBow}}},
		[]score.SlurChange{{Add: []score.Slur{{Start: 0, End: 1, Placement: "above"}}}})
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Replace(small, "            <down-bow/>\n          </technical>\n", `            <down-bow/><!--pochette:add-->
            <fingering>1</fingering><!--pochette:end-->
          </technical><!--pochette:add-->
          <slur number="1" placement="above" type="start"/><!--pochette:end-->
`, 1)
	want = strings.Replace(want, "        <type>quarter</type>\n        <lyric>", `        <type>quarter</type><!--pochette:add-->
        <notations>
          <technical>
            <up-bow/>
          </technical>
          <slur number="1" type="stop"/>
        </notations><!--pochette:end-->
        <lyric>`, 1)
	if string(out) != want {
		t.Errorf("got\n%s\nwant\n%s", out, want)
	}
}

func TestSpliceRefuses(t *testing.T) {
	src, sc, _ := mustDecode(t, []byte(strings.Replace(small, "<pitch>\n          <step>D</step>\n          <octave>4</octave>\n        </pitch>", "<rest/>", 1)))
	other, _, _ := mustDecode(t, []byte(`<score-partwise><part-list/><part id="P1"><measure number="1"/></part></score-partwise>`))
	p := sc.Parts[0]
	up := score.Mark{Kind: score.UpBow}
	for _, c := range []struct {
		src    *Source
		marks  []score.NoteMark
		slurs  []score.SlurChange
		refuse string
	}{
		{src, []score.NoteMark{{Note: 1, Mark: up}}, nil, "a mark cannot stand on a rest"},
		{src, []score.NoteMark{{Note: 7, Mark: up}}, nil, "a mark on note 7 of a part that has 2"},
		{src, []score.NoteMark{{Note: 0, Mark: score.Mark{Kind: "nonsense"}}}, nil, "cannot be added"},
		{src, nil, []score.SlurChange{{Remove: []int{0}}}, "slur 0 of a part that has 0"},
		{src, nil, []score.SlurChange{{Add: []score.Slur{{Start: 0, End: 0}}}}, "is none"},
		{other, []score.NoteMark{{Note: 0, Mark: up}}, nil, "was not read from"},
	} {
		if _, err := Splice(c.src, p, c.marks, c.slurs); err == nil || !strings.Contains(err.Error(), c.refuse) {
			t.Errorf("got %v, want %q", err, c.refuse)
		}
	}
	for _, s := range []string{"<!--pochette:add-->", "<!--pochette:end-->"} {
		if _, err := Strip([]byte(strings.Replace(small, "<notations>", s+"<notations>", 1)), "x"); err == nil || !strings.Contains(err.Error(), "edited by hand") {
			t.Errorf("%s alone: %v", s, err)
		}
	}
}

func TestMXL(t *testing.T) {
	var b bytes.Buffer
	if err := WriteMXL(&b, []byte(small), "a & b.musicxml"); err != nil {
		t.Fatal(err)
	}
	src, err := Open(b.Bytes(), "x.mxl")
	if err != nil || !src.Compressed || string(src.XML) != small {
		t.Errorf("an archive that was written reads back as %v, %v", src, err)
	}
	if err := WriteMXL(&b, nil, "../a"); err == nil {
		t.Error("a name outside the archive was taken")
	}
}

// Mutated files: an error or a score that keeps the rules, never a panic.
func TestMutations(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	files := loadShared(t, "musicxml/suite/*", "bowing/etudes/*05*")
	for range 600 {
		f := files[r.IntN(len(files))]
		data := bytes.Clone(f.src.XML)
		for range 1 + r.IntN(4) {
			a, b := r.IntN(len(data)), r.IntN(len(data))
			switch r.IntN(4) {
			case 0:
				data[a] = byte(r.IntN(256))
			case 1: // a number becomes another
				if i := bytes.IndexAny(data[a:], "0123456789"); i >= 0 {
					data = append(data[:a+i:a+i], append([]byte(fmt.Sprint(r.IntN(1<<r.IntN(40)))), data[a+i+1:]...)...)
				}
			case 2: // a stretch goes
				b = min(len(data), a+r.IntN(200))
				data = append(data[:a:a], data[b:]...)
			case 3: // an element moves
				i, j := bytes.Index(data[a:], []byte("<note>")), bytes.Index(data[b:], []byte("<note>"))
				if i >= 0 && j >= 0 {
					end := bytes.Index(data[a+i:], []byte("</note>"))
					if end >= 0 {
						el := bytes.Clone(data[a+i : a+i+end+len("</note>")])
						data = append(data[:b+j:b+j], append(el, data[b+j:]...)...)
					}
				}
			}
			if len(data) == 0 {
				data = []byte("<")
			}
		}
		src, err := Open(data, f.name)
		if err != nil {
			continue
		}
		sc, _, err := Decode(src)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("an error of several lines: %v", err)
			}
			continue
		}
		checkRules(t, readable{name: f.name, src: src, score: sc})
		if t.Failed() {
			t.Fatalf("the mutated file:\n%s", data)
		}
	}
}
