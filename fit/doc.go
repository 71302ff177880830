// Package fit moves every bar of a job from its rough sketch to where it hugs
// the shell at its clearance, within what its die can bend.
//
// # Frame and units
//
// x forward, y to the left, z up, right-handed (ISO 8855), millimetres; angles
// are s1.Angle. The mirror plane of the car is y = 0.
//
// # Representations
//
// A job.Bar with its sketch becomes a problem; its unknowns (layout) give nodes,
// nodes give a differentiable centreline (curve), and the best one found becomes
// a tube.Path in a Bar of the Cage. Distances come from fields: the shell, its
// mirror image for the twin of a pair, keep-outs.
//
// # Guarantees
//
//  1. Flatness, a fixed lean and mirror symmetry hold exactly, whatever the
//     solver does: they are in the unknowns, not among the constraints.
//  2. Certify never calls a bar clearer than it is, and is at most 0.01 mm below
//     the truth; every bar carries its certificate, also one that came out short.
//  3. A bar that cannot be made is a result with the constraints that block it
//     (Bar.Blocking), never an error and never dropped.
//  4. The same job, shell and options give the same bits, whatever the number
//     of workers: starts are seeded by the bar's name and come in batches of a
//     fixed size.
//
// # Out of scope
//
// Strength, joints, weld access, rule books. A fitted cage is a proposal: the
// current rule book, the scrutineer and qualified engineers and welders decide.
//
// # Entry points
//
// [Fit] for a whole job, [Certify] for one path, [Evaluate] for a bar whose
// path is known.
package fit
