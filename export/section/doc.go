// Package section draws what a plane cuts from a shell and from the fitted bars:
// as SVG and DXF in true size, to print and to cut a template from, and as a PNG
// picture.
//
// # Axes and units
//
// Millimetres, in the car's axes (x forward, y to the left, z up). A [Plane] has
// axes of its own, to the right and up on paper, along which the coordinates of
// a drawing count. For planes across an axis they are the car's own, so a corner
// at y = 600, z = 900 is drawn at (600, 900): across x the view is from the
// front, with the car's left on the right; across y it is from the car's right,
// with the front on the right; across z it is from above, with the front on the
// right. On a plane that leans, up counts along the plane from where z is 0.
// A drawing in inches has its grid and its labels in inches; its lengths stay mm.
//
// # Representations
//
//	shell, caps (mesh.Mesh) --\
//	bars (fit.Cage) -----------Cut--> Drawing --WriteSVG, WriteDXF, WritePNG--> file
//	                                     \----Sheet--> draw.Drawing
//
// A [Drawing] holds outlines and no style. The writers share one layout and
// differ only in how a line and a text are put down. A bar shows the outside of
// its tube: an ellipse where the plane crosses it, the outline of the whole bar
// where its bends lie in the plane, and then its centreline too.
//
// # Guarantees
//
//  1. Outlines of the shell are exact for the mesh ([mesh.Section]); those of
//     bars are within 0.05 mm of the true tube.
//  2. SVG: one unit of the viewBox is one mm, width and height say mm. DXF: one
//     drawing unit is one mm. In both, points are rounded to 0.0001 mm.
//  3. The same drawing gives the same bytes. Free text can't break any of the
//     formats.
//
// # Out of scope
//
// Paper sizes: a drawing is one sheet, as large as it has to be, and package draw
// cuts it into pages. Dimensions, hatching, more than one view.
//
// # Entry points
//
// [AcrossX], [AcrossY], [AcrossZ] and [PlaneOf] for planes, [Cut], then [WriteSVG],
// [WriteDXF], [WritePNG] or [Sheet].
package section
