// Package page holds the page of the desk: what the browser gets, made from src by
// the bundle step and embedded as it is. Nothing in it comes from another machine.
package page

import (
	"embed"
	"io/fs"
)

//go:generate go run ./bundle

//go:embed dist
var dist embed.FS

// Files are the files of the page at their root: index.html, desk.js, desk.css and
// icon.svg.
func Files() fs.FS {
	sub, err := fs.Sub(dist, "dist")
	if err != nil {
		panic("page: " + err.Error()) // dist is a valid name
	}
	return sub
}
