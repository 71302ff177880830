// Package draw holds drawings in true size and writes them as PDF (in one sheet
// or in tiles for an office printer), SVG and DXF.
//
// # Axes and units
//
// Everything is in millimetres on paper, x to the right, y up. Angles are
// counterclockwise from the right. Line kinds follow ISO 128 (continuous wide and
// narrow, dashed, long-dashed dotted) and dimensions ISO 129; nothing is told by
// colour, so a print in black and white says all.
//
// # Representations
//
//	builders: Line, Arc, Dimension ... --> *Drawing --WriteSVG, WriteDXF-----------> file
//	                                          |
//	                                          +--Tile, Arrange--> []Page --WritePDF--> file
//
// A [Drawing] is strokes, texts and grey areas. A [Stroke] is a chain of vertices
// of which each has a bulge, which bends the way to the next one into an arc: the
// tangent of a quarter of its angle, as in DXF. SVG gets arcs, DXF bulges, PDF
// Bezier curves.
//
// A [Page] is a drawing, or several, on paper. A drawing that is larger than the
// paper is cut into tiles: column A, B ... from the left, row 1, 2 ... from the
// top. Each tile has a frame around its part of the drawing; a dashed line where
// it is cut, on the left and at the top; a grey flap of 10 mm on the right and at
// the foot, onto which the neighbours are glued; crosses and rings that come to
// lie on those of the neighbours; and a map of all tiles. Every page has a line of
// 100 mm and one of 4 in, which must be measured before anything else.
//
// # Guarantees
//
//  1. True size: one unit of an SVG's viewBox and of a DXF is one mm, and boxes of
//     PDF pages are right to 0.01 mm. Points are rounded to 0.0001 mm in all
//     three, places of words in a PDF to 0.004 mm.
//  2. A curve is no more than 0.005 mm off its arc in a PDF, and off by rounding
//     alone in SVG and DXF.
//  3. Every point of a drawing is in the frame of at least one of its tiles, and
//     all tiles hang together, so that each is put in place by a neighbour.
//  4. Nothing is printed within 10 mm of the edge of a page.
//  5. The same drawing gives the same bytes.
//  6. No text, however odd, breaks a file; letters that a format or the font of
//     the PDF (one of the Go fonts: Latin, Greek, Cyrillic) lacks become "?". Words
//     that find no room are cut with three dots, but for notes, which are never
//     cut. A coordinate that is not a number within 1 km is an error, and so is an
//     empty drawing.
//
// # Out of scope
//
// What a template shows: that is package sheet's. Colours, and pictures in pixels.
//
// # Entry points
//
// [Drawing.Line] and its like, [Tile], [Arrange], [WritePDF], [WriteSVG] and
// [WriteDXF].
package draw
