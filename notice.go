// Package pochette is the root of the module; it holds the notices that the
// binary must be able to show.
package pochette

import _ "embed"

// Notices names the embedded parts of others and their licences.
//
//go:embed NOTICE.md
var Notices string
