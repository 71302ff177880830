// Package export puts a set of output files in place as a whole. What the files
// hold is written by its subpackages: table (cage.json and the CSV files),
// model (tube meshes) and section (what a plane cuts, drawn in true size), each to an
// io.Writer.
//
// # Units
//
// None: this package knows files, not lengths.
//
// # Representations
//
// A set is a folder with files in it and a marker, [MarkerName], that lists each
// file with its size and checksum. A [Stage] is a set that is being written, in
// a hidden folder beside the one that it is for.
//
// # Guarantees
//
//  1. The folder holds one whole set at any time, the earlier one until
//     [Stage.Commit] has every file of the new one on the disk. A failure, an
//     interrupt or [Stage.Discard] leaves the earlier one as it was.
//  2. A folder is replaced only if it is empty or holds nothing but an earlier
//     set, unchanged. A file that is not of the set, or was edited since, is
//     refused by [Check] and again by Commit; it is never deleted.
//  3. What a killed run left beside the folder is cleaned up by the next
//     [Open] for the same folder. A run that was killed in the one moment when
//     the folder has neither the old nor the new set has the old one moved back.
//  4. The bytes of a set, marker included, depend on the files' content only:
//     there are no times in them.
//
// # Out of scope
//
// Which folder to write to, and all wording for the user: that is the command.
// This is the only package besides the command that touches files, because the
// order of its steps is what the guarantees rest on.
package export
