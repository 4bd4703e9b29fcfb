// Package demo holds the movement that `pochette demo` writes and studies. The
// music, its composer and the suite are invented for this program.
package demo

import _ "embed"

// Name is the file name of the movement.
const Name = "jig.musicxml"

//go:embed jig.musicxml
var Jig []byte
