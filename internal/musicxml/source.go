package musicxml

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Source is a file that was opened: its XML as UTF-8 and what is needed to
// write it back in the encoding it came in.
type Source struct {
	Name string
	// XML is the document in UTF-8, with its byte order mark if it had one.
	// All spans of a decoded score point here. A file in another encoding is
	// turned to UTF-8 here, its declaration changed to say so; Bytes turns a
	// spliced copy back.
	XML []byte
	// Compressed says that the XML came out of an .mxl archive.
	Compressed bool

	charset  charset
	declared string // what stood in the declaration instead of UTF-8
}

type charset uint8

const (
	utf8Set charset = iota
	latin1Set
	utf16LE
	utf16BE
)

// Open takes the bytes of a .musicxml, .xml or .mxl file; name is used in
// messages only. What the file is, is seen from its content. XML may be in
// UTF-8, UTF-16 with a byte order mark, or ISO-8859-1 where its declaration
// says so. The source keeps data; it must not be changed afterwards.
func Open(data []byte, name string) (*Source, error) {
	if name == "" {
		name = "input"
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, fmt.Errorf("%s: the file is empty: give a MusicXML file", name)
	}
	src := &Source{Name: name}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.HasPrefix(data, []byte("PK\x05\x06")) {
		xml, err := openArchive(data, name)
		if err != nil {
			return nil, err
		}
		data, src.Compressed = xml, true
	}
	if len(data) > MaxBytes {
		return nil, fmt.Errorf("%s: more than %d MiB of XML: split the file", name, MaxBytes>>20)
	}
	if err := src.decodeText(data); err != nil {
		return nil, err
	}
	if len(src.XML) > MaxBytes {
		return nil, fmt.Errorf("%s: more than %d MiB of XML: split the file", name, MaxBytes>>20)
	}
	return src, checkChars(name, src.XML)
}

// OpenReader is Open for a stream, read up to the limit.
func OpenReader(r io.Reader, name string) (*Source, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return Open(data, name)
}

var encodingDecl = regexp.MustCompile(`^(?:\xef\xbb\xbf)?<\?xml[^>]*?\sencoding\s*=\s*["']([A-Za-z0-9._-]+)["']`)

// decodeText sets XML and the encoding it came from.
func (src *Source) decodeText(data []byte) error {
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}):
		return src.fromUTF16(data[2:], utf16LE, binary.LittleEndian)
	case bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		return src.fromUTF16(data[2:], utf16BE, binary.BigEndian)
	case bytes.HasPrefix(data, []byte("<\x00")) || bytes.HasPrefix(data, []byte("\x00<")):
		return fmt.Errorf("%s: UTF-16 without a byte order mark: save the file as UTF-8", src.Name)
	}
	src.XML = data
	m := encodingDecl.FindSubmatch(data[:min(len(data), 1024)])
	if m == nil {
		return nil
	}
	switch enc := strings.ToLower(string(m[1])); enc {
	case "utf-8", "utf8", "us-ascii", "ascii":
		return nil
	case "iso-8859-1", "latin1", "iso_8859-1", "l1":
		if bytes.HasPrefix(data, bom) {
			return nil // the byte order mark is stronger than the declaration
		}
		out := make([]byte, 0, len(data)+len(data)/16)
		for _, c := range data {
			out = utf8.AppendRune(out, rune(c))
		}
		src.charset = latin1Set
		src.XML = out
		src.redeclare()
		return nil
	default:
		if utf8.Valid(data) && strings.HasPrefix(enc, "utf-16") {
			return nil // a declaration left over from a file that was saved again
		}
		return fmt.Errorf("%s: encoding %s is not read: save the file as UTF-8", src.Name, m[1])
	}
}

func (src *Source) fromUTF16(data []byte, set charset, order binary.ByteOrder) error {
	if len(data)%2 != 0 {
		return fmt.Errorf("%s: UTF-16 text with half a character at its end: the file is cut off, get a whole copy", src.Name)
	}
	out := make([]byte, 0, len(data)/2+len(data)/16)
	for i := 0; i < len(data); i += 2 {
		r := rune(order.Uint16(data[i:]))
		if utf16.IsSurrogate(r) {
			low := rune(0)
			if i+3 < len(data) {
				low = rune(order.Uint16(data[i+2:]))
			}
			if r = utf16.DecodeRune(r, low); r == utf8.RuneError {
				return fmt.Errorf("%s: byte %d: half a UTF-16 character: the file is damaged, save it as UTF-8", src.Name, i+2)
			}
			i += 2
		}
		out = utf8.AppendRune(out, r)
	}
	src.charset, src.XML = set, out
	src.redeclare()
	return nil
}

// redeclare puts UTF-8 into the XML declaration and keeps what was there.
func (src *Source) redeclare() {
	m := encodingDecl.FindSubmatchIndex(src.XML[:min(len(src.XML), 1024)])
	if m == nil {
		return
	}
	src.declared = string(src.XML[m[2]:m[3]])
	src.XML = bytes.Join([][]byte{src.XML[:m[2]], []byte("UTF-8"), src.XML[m[3]:]}, nil)
}

// Bytes turns xml, which is XML or a spliced copy of it, into the encoding the
// file came in, so that everything that was not spliced is the same byte for
// byte. Characters that ISO-8859-1 lacks become character references. The
// result is always plain XML, also where the source was an archive.
func (src *Source) Bytes(xml []byte) []byte {
	if src.charset == utf8Set {
		return xml
	}
	if m := encodingDecl.FindSubmatchIndex(xml[:min(len(xml), 1024)]); m != nil && src.declared != "" {
		xml = bytes.Join([][]byte{xml[:m[2]], []byte(src.declared), xml[m[3]:]}, nil)
	}
	if src.charset == latin1Set {
		out := make([]byte, 0, len(xml))
		for _, r := range string(xml) {
			if r < 0x100 {
				out = append(out, byte(r))
			} else {
				out = fmt.Appendf(out, "&#%d;", r)
			}
		}
		return out
	}
	var order binary.AppendByteOrder = binary.LittleEndian
	if src.charset == utf16BE {
		order = binary.BigEndian
	}
	out := order.AppendUint16(make([]byte, 0, 2*len(xml)+2), 0xfeff)
	for _, u := range utf16.Encode([]rune(string(xml))) {
		out = order.AppendUint16(out, u)
	}
	return out
}

// checkChars refuses bytes that no XML 1.0 document may hold.
func checkChars(name string, b []byte) error {
	if !utf8.Valid(b) {
		off := 0
		for off < len(b) {
			r, n := utf8.DecodeRune(b[off:])
			if r == utf8.RuneError && n <= 1 {
				break
			}
			off += n
		}
		return errAt(name, b, off, "byte 0x%02X is not UTF-8: save the file as UTF-8", b[off])
	}
	for i, c := range b {
		if c < 0x20 && c != '\n' && c != '\r' && c != '\t' {
			return errAt(name, b, i, "control character 0x%02X: remove it", c)
		}
	}
	for _, bad := range []string{"\uFFFE", "\uFFFF"} {
		if i := bytes.Index(b, []byte(bad)); i >= 0 {
			return errAt(name, b, i, "character %U, which XML does not allow: remove it", []rune(bad)[0])
		}
	}
	return nil
}
