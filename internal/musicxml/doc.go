// Package musicxml reads and writes MusicXML 1.0 to 4.0 (W3C Community Group),
// plain and compressed, partwise and timewise.
//
// The way in: Open finds the XML inside the bytes of a file (archive, encoding,
// limits) and Decode reads it into a score.Score with findings. Every note,
// measure, direction and slur keeps the span of its bytes in Source.XML.
//
// The way out for a file that was read: Splice puts marks into those bytes and
// leaves all others alone; Strip takes them out again (splice.go tells how the
// added elements are recognised). Partwise and OnePart cut and move whole
// chunks of bytes for readers that want less than MusicXML allows, Beamed adds
// the beams that a file leaves out. Encode
// writes a document for a score that was made in memory.
//
// Element names and meanings are those of the MusicXML 4.0 schema
// (musicxml.xsd) and its documentation.
package musicxml
