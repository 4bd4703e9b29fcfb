package musicxml

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"path"
	"strings"
)

// Limits of an .mxl archive. XML compresses to a tenth or a twentieth of its
// size; a ratio beyond MaxRatio on something large is an attack.
const (
	MaxArchive   = 128 << 20 // bytes of the archive itself
	MaxEntries   = 1024
	MaxRatio     = 500
	ratioFreeUpT = 1 << 20 // a small entry may be of any ratio
	containerXML = "META-INF/container.xml"
)

// openArchive gives the bytes of the score that the archive's container names
// first (MusicXML 4.0, "Compressed .mxl files").
func openArchive(data []byte, name string) ([]byte, error) {
	if len(data) > MaxArchive {
		return nil, fmt.Errorf("%s: an archive of more than %d MiB: give the .musicxml file itself", name, MaxArchive>>20)
	}
	zr, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, fmt.Errorf("%s: the archive cannot be read (%w): get a whole copy", name, err)
	}
	if len(zr.File) > MaxEntries {
		return nil, fmt.Errorf("%s: more than %d files in the archive: this is no compressed score", name, MaxEntries)
	}
	var total uint64
	for _, f := range zr.File {
		if !safeName(f.Name) {
			return nil, fmt.Errorf("%s: the archive holds a file named %q, which points outside it: refuse it and ask for a clean copy", name, f.Name)
		}
		if total += f.UncompressedSize64; total > MaxBytes || f.UncompressedSize64 > MaxBytes {
			return nil, fmt.Errorf("%s: the archive unpacks to more than %d MiB: this is no compressed score", name, MaxBytes>>20)
		}
	}
	root, err := rootFile(zr, name)
	if err != nil {
		return nil, err
	}
	return readEntry(root, name)
}

func safeName(n string) bool {
	if n == "" || strings.HasPrefix(n, "/") || strings.Contains(n, "\\") || strings.Contains(n, ":") {
		return false
	}
	c := path.Clean(n)
	return c != ".." && !strings.HasPrefix(c, "../")
}

// rootFile is the entry named by the first <rootfile> of the container; without
// a container, the only score in the archive.
func rootFile(zr *zip.Reader, name string) (*zip.File, error) {
	find := func(want string) *zip.File {
		for _, f := range zr.File {
			if f.Name == want {
				return f
			}
		}
		return nil
	}
	if c := find(containerXML); c != nil {
		data, err := readEntry(c, name)
		if err != nil {
			return nil, err
		}
		full, err := rootFilePath(data, name)
		if err != nil {
			return nil, err
		}
		if f := find(full); f != nil {
			return f, nil
		}
		return nil, fmt.Errorf("%s: %s names %q, which is not in the archive: get a whole copy", name, containerXML, full)
	}
	var scores []*zip.File
	for _, f := range zr.File {
		ext := strings.ToLower(path.Ext(f.Name))
		if (ext == ".xml" || ext == ".musicxml") && !strings.HasPrefix(f.Name, "META-INF/") {
			scores = append(scores, f)
		}
	}
	if len(scores) != 1 {
		return nil, fmt.Errorf("%s: an archive without %s and with %d scores: unpack it and give one .musicxml file", name, containerXML, len(scores))
	}
	return scores[0], nil
}

// rootFilePath is the full-path of the first rootfile that is MusicXML.
func rootFilePath(data []byte, name string) (string, error) {
	where := name + " (" + containerXML + ")"
	if err := checkChars(where, data); err != nil {
		return "", err
	}
	s := newScanner(where, data)
	for {
		if err := s.next(); err != nil {
			return "", err
		}
		switch {
		case s.kind == tokEOF:
			return "", fmt.Errorf("%s: names no rootfile: unpack the archive and give the .musicxml file", where)
		case s.kind == tokStart && string(s.tag) == "rootfile":
			e, err := newForest().read(s)
			if err != nil {
				return "", err
			}
			switch mt := e.get("media-type"); mt {
			case "", "application/vnd.recordare.musicxml+xml", "application/vnd.recordare.musicxml", "text/xml", "application/xml":
				return e.get("full-path"), nil
			}
		}
	}
}

func readEntry(f *zip.File, name string) ([]byte, error) {
	limit := f.CompressedSize64*MaxRatio + ratioFreeUpT
	if f.UncompressedSize64 > limit {
		return nil, fmt.Errorf("%s: %q in the archive unpacks to %d times its size: this is no compressed score", name, f.Name, f.UncompressedSize64/max(1, f.CompressedSize64))
	}
	r, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("%s: %q in the archive cannot be read (%w): get a whole copy", name, f.Name, err)
	}
	defer r.Close()
	// the declared size may lie: read no more than it and the limit allow
	data, err := io.ReadAll(io.LimitReader(r, int64(min(limit, MaxBytes))+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %q in the archive cannot be read (%w): get a whole copy", name, f.Name, err)
	}
	if uint64(len(data)) > min(limit, MaxBytes) {
		return nil, fmt.Errorf("%s: %q in the archive unpacks to more than its size allows: this is no compressed score", name, f.Name)
	}
	return data, nil
}

// WriteMXL writes a compressed score: the container first, then xml under name
// (without a folder, ending in .musicxml).
func WriteMXL(w io.Writer, xml []byte, name string) error {
	if !safeName(name) || strings.HasPrefix(name, "META-INF/") {
		return fmt.Errorf("musicxml: %q cannot be the name of a score in an archive: use a plain file name", name)
	}
	var esc bytes.Buffer
	escapeAttr(&esc, name)
	zw := zip.NewWriter(w)
	for _, f := range []struct {
		name string
		data []byte
	}{
		// the media type comes first and uncompressed, as the standard advises
		{"mimetype", []byte("application/vnd.recordare.musicxml")},
		{containerXML, []byte(`<?xml version="1.0" encoding="UTF-8"?>` + "\n<container>\n  <rootfiles>\n    <rootfile full-path=\"" +
			esc.String() + "\" media-type=\"application/vnd.recordare.musicxml+xml\"/>\n  </rootfiles>\n</container>\n")},
		{name, xml},
	} {
		h := &zip.FileHeader{Name: f.name, Method: zip.Deflate}
		if f.name == "mimetype" {
			h.Method = zip.Store
		}
		fw, err := zw.CreateHeader(h)
		if err != nil {
			return fmt.Errorf("musicxml: %w", err)
		}
		if _, err := fw.Write(f.data); err != nil {
			return fmt.Errorf("musicxml: %w", err)
		}
	}
	if err := zw.Close(); err != nil {
		return fmt.Errorf("musicxml: %w", err)
	}
	return nil
}

// escapeAttr writes text so that it may stand in an attribute or an element.
func escapeAttr(w *bytes.Buffer, s string) {
	for _, r := range s {
		switch {
		case r == '&':
			w.WriteString("&amp;")
		case r == '<':
			w.WriteString("&lt;")
		case r == '>':
			w.WriteString("&gt;")
		case r == '"':
			w.WriteString("&quot;")
		case !isChar(r):
			w.WriteRune('\uFFFD')
		default:
			w.WriteRune(r)
		}
	}
}
