// Package table writes a fitted cage as tables: cage.json, which holds
// everything and is read back by later commands, and the two CSV files that go
// to the bender, bends.csv and bars.csv.
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
//   - [WriteBends] and [WriteBars]: CSV with one header line, comma, LF, rounded
//     to 0.1 mm and 0.1 degrees; masses to 0.01 kg. A number that is not finite
//     is an empty cell.
//
// # Guarantees
//
//  1. The same cage gives the same bytes.
//  2. Reading what was written gives the same numbers within 1e-9, and writing
//     that again gives the same bytes.
//  3. No text cell of a CSV file can be taken for a formula by a spreadsheet:
//     a cell that starts with = + - @, a tab or a carriage return gets a leading
//     apostrophe.
//  4. A rounded rotation lies in (-180, 180] degrees, and no number is "-0.0".
//
// # Out of scope
//
// Opening files, and telling whether a cage is any good: that is package
// fit/check. [Status] only sums up the findings of one bar.
package table
