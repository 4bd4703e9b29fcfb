// Package engrave turns MusicXML into engraved pages (SVG), in the process: the
// engraving library verovio 6.0.1, compiled to WebAssembly and embedded, runs in a
// sandbox that sees no files, no clock and no network. Bytes in, values out; the package
// knows nothing of the rest of the program.
//
//	pool, err := engrave.Open(ctx, engrave.PoolOptions{CacheDir: engrave.DefaultCacheDir()})
//	pages, err := pool.SVG(ctx, musicxml, engrave.A4())
//
// For many excerpts of one score, for one HTML page, lay it out once with Excerpts; for
// one, ask the layout for it:
//
//	s, err := pool.Session(ctx, musicxml)
//	defer s.Close()
//	pages, err := s.SVG(ctx, engrave.Excerpt("3-6", 120))
//	set, err := s.Excerpts(ctx, [][2]int{{3, 6}, {9, 9}}, 120)
//
// # The marks of a string player, as the library draws them and as this package mends it
//
// Seen by drawing each MusicXML 4.0 element with 6.0.1 and looking at the picture:
//
//   - up-bow, down-bow: above the staff, next to the note, inside a slur that begins or
//     ends there, outside dots and accents. With placement="below" they stand below and
//     turned over: don't write it in a part with one voice.
//   - fingering: above the staff and above the bow mark, unless placement="below"; in a
//     chord one over the other, that of the first note lowest. The library draws the first
//     fingering of a note and drops the rest. Here they are joined: a substitution 1-3, an
//     alternative 2(4). Those of a lower voice of a staff are placed below while another
//     voice sounds there, else above. Many editions set the finger next to the note and the
//     bow sign outside it (common practice, no source); the library cannot: a bow sign is
//     part of its note and is set first, a fingering is put outside all that a note has.
//   - string: ignored by the library. Here the Roman numeral, I the highest, in smaller type
//     above the finger; in a chord beside the finger.
//   - thumb-position: ignored by the library. Here the sign as a text character, before the
//     finger. open-string: a ring above; dropped here where the fingering is 0.
//   - harmonic: a ring above, the same for natural and artificial; the touched and the
//     sounding pitch, pluck and other-technical are ignored.
//   - up-bow and down-bow of a lower voice: the library turns them over and sets them below;
//     here they stand above, upright, unless the source places them.
//   - words and dynamics keep clear of slurs and fingers, not of the number of a tuplet:
//     where both stand below they can touch.
//   - words: above or below as their direction says, italic unless font-style="normal";
//     their size is ignored and always that of a tempo word. String names are better given
//     as string elements, which also keep clear of slurs and beams.
//   - the heading: the library draws the title alone, and a notice of its own as footer.
//     Here titles, part, composer and arranger are set as text on the drawn page, from
//     work, movement, part-list and creator; credit elements are not used, since their
//     places assume another page, nor a creator that is no name but a sentence or an address.
//   - measure numbers: in italics at the start of each system but the first.
//   - the name of a lone part is set in the heading, not before the first staff.
//   - a time-modification without a tuplet element is ignored by the library, and voices
//     then stand askew: here an invisible tuplet is put around such notes.
//   - a part whose first measure has no attributes is not drawn by the library: here it is
//     given empty ones.
//
// score-timewise is refused: convert it before.
package engrave
