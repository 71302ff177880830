// Package table writes a fitted cage as tables: cage.json, which holds
// everything and is read back by later commands, and a CSV file for each job on
// the bench:
//
//	bars.csv      what there is                              WriteBars
//	bends.csv     the shape of each bar                      WriteBends
//	marks.csv     what is done at the bender, in its order   WriteMarks
//	budget.csv    what errors in the bends do                WriteBudget
//	cuts.csv      which sticks to buy and how to saw them    WriteCuts
//	joints.csv    notches, notcher settings, vent holes      WriteJoints
//	landings.csv  marks on a bar for those that land on it   WriteLandings
//	zones.csv     what is kept bare for the welds            WriteZones
//	plates.csv    what lies under the feet                   WritePlates
//
// # Axes and units
//
// The car's frame is that of package fit: x forward, y to the left, z up,
// right-handed, millimetres. Angles leave in degrees. Every number field says
// its unit in its name (od_mm, angle_deg, mass_kg).
//
// # Representations
//
//   - [WriteCage] and [ReadCage]: JSON, "barwright.cage" version 1. Numbers are
//     rounded to 1e-9 (mm, degrees or plain), a thousandth of what the contract
//     asks for. A number that is not finite, such as the gap of a bar that has no
//     measured part, is null and is read back as NaN.
//     Joints are all in it; the curves of the end cuts are not, and are worked
//     out again from the bars, by package fit/cope.
//   - The others: CSV with one header line, comma, LF, rounded to 0.1 mm and 0.1
//     degrees but where a writer says otherwise. A number that is not finite is
//     an empty cell.
//
// # Guarantees
//
//  1. The same cage gives the same bytes.
//  2. Reading what was written gives the same numbers within 1e-9, and writing
//     that again gives the same bytes.
//  3. No text cell of a CSV file can be taken for a formula by a spreadsheet:
//     a cell that starts with = + - @, a tab or a carriage return gets a leading
//     apostrophe.
//  4. A rounded rotation lies in (-180, 180] degrees and a rounded clock position
//     in [0, 360), and no number is "-0.0".
//
// # Out of scope
//
// Opening files, and telling whether a cage is any good: that is package
// fit/check. [Status] only sums up the findings of one bar.
package table
