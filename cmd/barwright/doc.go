// Command barwright fits the tubes of a safety cage to a scan of a car body.
//
// It reads a job file (TOML) and a scan (STL, PLY or OBJ), and writes bend tables,
// templates in true size, a JSON file with everything and models of the tubes.
// barwright --help lists the commands, and each of them has a --help of its own
// with an example.
//
// This package holds the command line and nothing else: one file per command
// (demo.go, inspect.go, section.go, clean.go, testbend.go, gauge.go, fit.go), what they share (load.go,
// which makes a shell of a job, and output.go), what they print (report.go,
// progress.go) and all wording of failures with its hints (wording.go). It is
// the only package that opens files (but for package export, which puts finished
// sets in place), prints or exits.
//
// # Units
//
// Millimetres and degrees. Where the job is in inches, tables on stdout show
// inches instead, decimal and to the nearest sixteenth.
//
// # Guarantees
//
//  1. Results go to stdout, progress and failures to stderr.
//  2. Exit codes: 0 done, 1 failed, 2 wrong usage, 3 done but with findings of
//     severity error, 130 interrupted.
//  3. A run that fails or is interrupted leaves files as they were.
package main
