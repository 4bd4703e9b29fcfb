// Package wasm holds the engraver's WebAssembly as bytes: the module build of the
// npm package verovio 6.0.1, gzipped, with the names of its imports and exports.
//
// make.sh remakes both files from the package and checks them; NOTICE says under
// which licences they come.
package wasm

import (
	"bufio"
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"io"
	"strings"
)

// Version is the version of the embedded engraver.
const Version = "6.0.1"

// SHA256 is the checksum of the unpacked module, as make.sh checks it.
const SHA256 = "d7fb732fdb42e0381137a24e0d07ee73c5eb2a1c0115b95018884803c7d4df9b"

// Size is the length of the unpacked module in bytes.
const Size = 6002554

//go:embed engraver.wasm.gz
var packed []byte

//go:embed names.txt
var names string

// Module returns the unpacked WebAssembly module.
func Module() ([]byte, error) {
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("unpack the engraver: %w", err)
	}
	module := make([]byte, Size)
	if _, err := io.ReadFull(r, module); err != nil {
		return nil, fmt.Errorf("unpack the engraver: %w", err)
	}
	return module, nil
}

// Names returns the two maps the build's own loader holds: the real name of each
// import by its short one, and the short name of each export by its real one.
func Names() (imports, exports map[string]string, err error) {
	imports, exports = map[string]string{}, map[string]string{}
	lines := bufio.NewScanner(strings.NewReader(names))
	for lines.Scan() {
		f := strings.Fields(lines.Text())
		switch {
		case len(f) == 3 && f[0] == "import":
			imports[f[1]] = f[2]
		case len(f) == 3 && f[0] == "export":
			exports[f[2]] = f[1]
		default:
			return nil, nil, fmt.Errorf("engraver names: cannot read line %q", lines.Text())
		}
	}
	return imports, exports, lines.Err()
}
