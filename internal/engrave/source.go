package engrave

import (
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// maxSource is the longest score accepted, in bytes. The largest real score in
// ../shared/data is under 12 MB.
const maxSource = 64 << 20

// plainText gives a score as the UTF-8 the engraver wants, after a first look at it:
// too long, empty, not text, not XML are told apart here. UTF-16 (by its byte order mark) and ISO 8859-1 (by its declaration)
// are converted.
func plainText(b []byte) (string, error) {
	if len(b) > maxSource {
		return "", fmt.Errorf("engrave: the score is %d MB; the limit is %d MB", len(b)>>20, maxSource>>20)
	}
	text, err := toUTF8(b)
	if err != nil {
		return "", err
	}
	if strings.TrimSpace(text) == "" {
		return "", errors.New("engrave: the score is empty")
	}
	if first := strings.TrimSpace(text)[0]; first != '<' {
		return "", errors.New("engrave: the score is not XML: it does not begin with <")
	}
	return text, nil
}

var declaredLatin1 = regexp.MustCompile(`(?i)^<\?xml[^>]*encoding=["'](iso-8859-1|latin1|us-ascii)["']`)

func toUTF8(b []byte) (string, error) {
	var order binary.ByteOrder
	switch {
	case bytes.HasPrefix(b, []byte{0xff, 0xfe}):
		order = binary.LittleEndian
	case bytes.HasPrefix(b, []byte{0xfe, 0xff}):
		order = binary.BigEndian
	default:
		b = bytes.TrimPrefix(b, []byte("\ufeff"))
		if i := bytes.IndexByte(b, 0); i >= 0 {
			return "", fmt.Errorf("engrave: byte %d of the score is zero: this is not a text file", i)
		}
		if declaredLatin1.Match(b) && !utf8.Valid(b) {
			runes := make([]rune, len(b))
			for i, c := range b {
				runes[i] = rune(c)
			}
			return string(runes), nil
		}
		return strings.ToValidUTF8(string(b), "\ufffd"), nil
	}
	units := make([]uint16, 0, len(b)/2)
	for i := 2; i+1 < len(b); i += 2 {
		units = append(units, order.Uint16(b[i:]))
	}
	text := string(utf16.Decode(units))
	if strings.IndexByte(text, 0) >= 0 {
		return "", errors.New("engrave: the score holds a zero character: this is not a text file")
	}
	return text, nil
}

// unreadable says why the engraver refused a score whose XML is sound.
func unreadable(warnings []string) error {
	for _, w := range warnings {
		if after, ok := strings.CutPrefix(w, "[Error] "); ok {
			return fmt.Errorf("engrave: the score cannot be read: %s", after)
		}
	}
	return errors.New("engrave: the score cannot be read")
}

// shortened drops the package's prefix from an XML error: "line 3: unexpected EOF".
func shortened(err error) error {
	if s, ok := errors.AsType[*xml.SyntaxError](err); ok {
		return fmt.Errorf("line %d: %s", s.Line, s.Msg)
	}
	return err
}
