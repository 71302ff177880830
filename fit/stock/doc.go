// Package stock says which lengths of tube to buy and how to saw the pieces of
// a cage out of them.
//
// Lengths are float64 millimetres, prices are in the user's own currency,
// masses kg.
//
// # The model
//
// Pieces are cut one after the other from end 0 of a stick. Every cut costs the
// saw's kerf, and a last piece that ends where the stick ends needs no cut. So a
// stick of length S holds pieces of lengths l if
//
//	sum (l + kerf) <= S + kerf
//
// and what is left over after the last cut is its remnant. The sawn end that a
// stick comes with is used as it is.
//
// The best plan costs least: the sum of the prices if all sticks have one, else
// the length bought. Of plans that cost the same it is the one of fewest sticks,
// and of those the one with the longest single remnant that was found.
//
// # Representations
//
// The search counts in whole numbers: 0.01 mm, pieces and kerf rounded up and
// sticks down, and 0.001 of the currency. A plan's lengths are the ones that
// were given.
//
// # How it is found
//
// Column generation gives the linear relaxation over all ways to fill one stick
// (P. Gilmore, R. Gomory, Operations Research 9 (1961) 849-859); its duals are
// made whole numbers that hold for every filling, so that the bound does not
// hang on rounding (A. Farley, Operations Research 38 (1990) 922-923, the idea).
// Only sums of stick costs can be the cost of a plan, so the bound is rounded up
// to the next of these. For each of them in turn a search that fills the stick of
// the longest piece left (bin completion: S. Martello, P. Toth 1990; R. Korf,
// AAAI 2002) either finds a plan or proves that there is none. References from
// memory.
//
// # Guarantees
//
//  1. Every piece is in the plan once, and fits where it is.
//  2. No plan costs less than Plan.Bound. Plan.Proven says that Cost is Bound.
//  3. A plan never costs more than first-fit decreasing does.
//  4. The same input gives the same plan: work is counted in steps of the search,
//     not in seconds.
//
// # Out of scope
//
// Whether a piece is long enough for its bar: that is what a Blank says.
//
// # Entry points
//
// [Pack] for any pieces, [ForCage] for a fitted cage.
package stock
