// Package sheet draws what a builder holds against tube and shell, in true size:
// templates of bent bars, dials for the rotations between their bends, and gauges
// of dies on paper and to print in 3D.
//
// # Axes and units
//
// Millimetres. Bars are in the car's axes, x forward, y to the left, z up; a
// drawing has x to the right and y up on paper, as in package draw. A template is
// seen from the front of the car, from its right or from above, whichever looks
// at it most squarely; its notes say which. Figures are in mm or inches, as asked.
//
// # Representations
//
//	bars (fit.Cage) --Templates--> []Sheet --\
//	die (tube.Die) --Gauge--> draw.Drawing ---+--Files, GaugeFiles--> []File
//	               --GaugeSolid--> mesh.Mesh -/
//
// A bar whose bends lie in one plane has one template, drawn in that plane. One
// that is bent in space has a template for each bend, with the straights on both
// sides of it, in the plane of that bend, and a dial for each rotation. Positive
// rotations are clockwise for a builder at the end that goes into the bender
// last, who looks along the tube towards the die.
//
// The reference line of a bar is the outside (extrados) of bend 1; clock positions
// count from it, clockwise seen from end A.
//
// # Guarantees
//
//  1. The edges of the tube on a template are within 0.05 mm of half its diameter
//     off the bar's path: exact but for rounding where the bends lie in one plane,
//     and a bar counts as flat only if no node is more than 0.05 mm off it.
//  2. A template serves every bar that it names: mirror images by turning the
//     sheet over, others within the tolerance of bender.SameShape.
//  3. Names of sheets and files hold a-z, 0-9, hyphens and dots only and are unique
//     whatever the bars are called.
//  4. The mesh of a gauge is closed and no larger than 200 mm either way.
//  5. The same input gives the same drawings.
//
// # Out of scope
//
// Flattening of the tube in bends: templates show it round. Straight bars: they
// need no template.
//
// # Entry points
//
// [Templates], [Gauge], [GaugeSolid], [Wraps] (strips that are wrapped round a tube
// to cut its end), [Plate] and [Sticks]; [Files], [GaugeFiles], [WrapFiles],
// [PlateFiles] and [StickFiles] for all of them as files.
package sheet
