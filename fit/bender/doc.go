// Package bender is about the machine that bends the tube: what test pieces say
// about it, how a blank is laid out for it, in which order its bends are made and
// what a bend does to the tube.
//
// Lengths are float64 millimetres, angles s1.Angle. Blanks are measured along
// the straight tube; end A of a blank is where end A of the bar will be. In the
// bender's own axes the origin is on the tube's centreline where a bend starts, x
// is the direction of feed, y is to the left of one who looks along x, z is up.
//
// A bar becomes a Blank in these steps:
//
//	path, what end cuts need beyond the nodes   -- Plan -->   Blank
//	Blank.Steps      mark, turn, set: in the order of bending
//	Blank.Drift      what rounding to the wheel's steps does to the last node
//	Blank.Limits     what this bender can't do, and the change that helps
//
// and a die comes from test pieces:
//
//	bytes of a file       -- ReadPieces -->   File: pieces and how well they were measured
//	File.Pieces, Setting  -- Solve -->        Calibration: radius, stretch, offset, springback, roundness
//	Calibration.Die, Calibration.Block        the die, and its lines for the job file
//
// The model is a rotary draw bender: the clamp holds the tube ahead of the start of the bend
// and turns with the die; the tube behind is drawn in along x and doesn't turn
// aside. What is ahead, bent already, turns about the bend's centre as one piece,
// from 0 to the set angle. Between bends the tube is pushed on and turned about x.
// The end that goes in first is the one ahead, and its bend is the first.
//
// For the paths that fit/tube speaks of, and figures that a job file may hold:
//
//  1. The two marks of a step sum to the blank's length within 1e-9 mm. A tube
//     that is taken through the steps as told is the bar within 1e-6 mm, not its
//     mirror image, whichever end goes in first.
//  2. Every Set is a multiple of the die's step less than one step from Exact, or
//     one step where less would be no bend; without a step, Set is Exact.
//  3. Drift is right within 1e-5 mm for a tube whose bends start at their marks
//     and come out at Gives; it is never more than with the nearest multiples,
//     those aside that pass the die's largest angle.
//  4. A swing limit is deep within 1 mm as told: 0.2 mm for chords in place of
//     arcs, 0.5 mm for the search over the angle, 0.05 mm for that along straights.
//     A strike that is not told is no deeper than that. Into the floor only the
//     chords count.
//  5. The changes that name a length or an angle are rounded up, so that they are
//     enough for the limit they belong to.
//  6. A Calibration's intervals cover the true value 95 times of 100 where errors
//     are as Noise says and what is marked as assumed holds. Measurements that
//     contradict each other are an error that names them, or all that may be the
//     wrong one where that can't be told.
//  7. Results depend on the arguments alone; nothing panics on bad numbers or
//     works on them without end.
//
// Out of scope: in the die the radius is smaller by the share that springs back,
// 2 % or 3 mm with the usual steels, and a long tube sags, so a swing that passes
// by little more should be tried out. Only the two orders from end to end are
// looked at, though a builder may start in the middle. What lies in the way while
// the tube is pushed on and turned is not told, as it can be pulled out for that.
// Clamp, die and follower are there only as grip and tail.
//
// QualityOf estimates what a bend does to the wall and the roundness. Its lines
// carry their sources; most of it is common practice without one. Nothing here
// says whether a cage is safe or legal.
//
// Start with [Plan], [Solve], [QualityOf] and [Families].
package bender
