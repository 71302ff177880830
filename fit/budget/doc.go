// Package budget says what errors of bending do to a bar: how far its far end
// and its smallest gap move with an error in each entry of its bend table, and
// how likely a bar bent within stated tolerances still clears the shell. It
// tells a builder which bend to hold against the template.
//
// # Axes and units
//
// The car's frame is that of package fit: x forward, y to the left, z up,
// right-handed, millimetres. Tolerances are s1.Angle and mm; figures are per
// degree and per mm, as a builder reads them.
//
// # What is worked out
//
// The smallest gap of a bar is that of fit.Certify's CertifiedMin: from the
// tube's surface to the shell (caps included, suspects not), negative outside
// the cabin, over all of the bar but its foot zones. A bar in error is judged
// over the zones of its own length. Feet and landed ends that move are not
// judged; EndPerDegree and the like say how far they do.
//
// Sensitivity. The bar is rebuilt from its bend table with one entry off by one
// degree or one mm, while the first straight stays where it is. Each figure is
// the worse of the two directions. As a bend's arc grows with its angle, what
// follows it turns about the arc's centre; an error of rotation turns it about
// the straight before the bend. The first bend has no rotation, as a bar is
// turned to fit: its figures there are 0. An angle or a straight never comes out
// below 0.
//
// Draws. Every angle, every rotation but the first and every straight, the tail
// too, is drawn from a normal distribution about what the table says, 95 % of
// which lie within the tolerance. The bar so made is laid as near to the planned
// one as it goes: least squares over evenly spaced points of the centreline,
// turns and shifts only. Clears is the share of bars that then touch the shell
// nowhere where the full clearance is required. Need95 is the clearance less the
// gap that 95 % of them keep, not below 0: where a bar was planned at just its
// clearance, the clearance at which 95 % of bars would not touch.
//
// Without a shell, and for a bar that is all foot zone, gap figures, Clears and
// Need95 are NaN and nothing is drawn.
//
// # Guarantees
//
//  1. No gap is too large. Those of draws are at most 0.02 mm too small, those
//     behind sensitivities 0.005 mm, so changes are right to 0.005 mm. Once a
//     centreline is outside the cabin it is twenty times as much, and which side
//     it is on is as sure as Shell.Inside.
//  2. The same cage, shell and tolerances give the same bits, whatever the number
//     of workers: draws are seeded by the bar's name.
//  3. If Work returns an error, no bar was changed.
//
// Clears has a statistical error of sqrt(p (1-p) / draws), one sigma: 0.7
// percentage points at p = 0.95 and 1000 draws, 1.6 at 0.5.
//
// # Method
//
// The distance from a surface, negative on its other side, changes by no more
// than the point moves. So a point that moved by d has a gap of at least its
// planned gap less d, and no more than its distance from what was the closest
// point of the shell: the shell is asked only about pieces of the bar (12 mm in
// plan) that may go below what is known to be reached. A piece is settled by
// the balls about its ends that are free of surface (the geometry is that of
// fit.Certify), less the piece's sagitta on arcs, or it is halved. Nothing rests
// on samples alone.
//
// Best placement is Kabsch's method: the rotation of least squares from the
// singular values of the 3 x 3 covariance, never a mirror image (Acta
// Crystallographica A32, 1976, 922; from memory).
//
// # Out of scope
//
// Keep-outs and other bars; errors of the scan; springback that is off by the
// same amount in every bend (measure a test bend); a bar that is forced into
// place; strength, and whether anything is safe or legal. That 95 % lie within
// a tolerance, and that errors are independent, is an assumption about a builder.
//
// # Entry points
//
// [Work] for a cage, [Worst] for the bend to check.
package budget
