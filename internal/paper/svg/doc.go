// Package svg reads the part of SVG 1.1 that an engraving library writes and
// turns it into a flat list of drawing operations.
//
// # What is read
//
// Elements: svg (nested too, with viewBox and preserveAspectRatio), g, a, defs,
// symbol, use, path, rect, circle, ellipse, line, polyline, polygon, text,
// tspan, style; title, desc and metadata are passed over. Style sheets are read
// as far as type, class and id selectors joined by descent go. Anything else
// that would draw (image, gradients, clip paths, masks, filters, ...) is an
// error that names the element and its line and column; nothing is dropped in
// silence.
//
// # Units
//
// A Drawing is in the user units of the outermost svg element's viewport
// ("px"), x to the right, y down, origin at the top left corner. Each operation
// carries the matrix from its own coordinates to those units.
//
// # Sources
//
// W3C Recommendation "Scalable Vector Graphics (SVG) 1.1 (Second Edition)", 16
// August 2011: sections 5 (structure), 7 (coordinate systems), 8 (paths), 9
// (basic shapes), 10 (text), 11 (painting), appendix F.6 (arcs). White space in
// text follows CSS 2.1 section 16.6.1, which is what browsers do.
package svg
