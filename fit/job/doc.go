// Package job reads the job file: the scan, the dies and tubes of the shop, the
// bars as sketched, in the job itself or in a drawing, and what they must keep
// clear of.
//
// The file is TOML. Its lengths are in the unit that its units key names; in a
// Job they are float64 millimetres, and angles are s1.Angle. Axes are those of
// the car, right-handed: x forward, y to the left, z up, with y = 0 the mirror
// plane. Strengths are N/mm2 and densities kg/m3 in the file as in the Job.
//
// Points of the job are in the car's axes, or in the scan's where Job.SketchFrame
// says so; the datum points of an Align are always in the scan's, and Station is
// always in the car's.
//
// A job has these forms:
//
//	bytes of a file                          Parse
//	Job: checked, defaults filled in         Job.AttachSketches, where a bar's sketch is a file
//	Job: sketches from files are there       Job.InCarFrame, where points are in the scan's axes
//	Job: in the car's axes                   Station and Follow are resolved by the fit
//	Job: every bar has a sketch              Job.Expanded
//	instances: every tube that is made       Job.Order says in which order
//
// Job.Finish checks what a step has added; a job whose sketches are all in the
// job file, in the car's axes, needs none of the steps between.
//
// Guarantees:
//
//  1. Parse is strict. A key it does not know, a wrong type, a number out of
//     range or a reference to nothing is an error, never ignored.
//  2. All errors of a file come at once, sorted by place, each with line and
//     column counted from 1 in characters. A file that is no TOML gives the
//     first place where it stops being some.
//  3. A Job without error can be worked with: references are resolved, numbers
//     finite, landings free of loops, default values filled in.
//  4. AttachSketches changes no bar where it gives an error, and passes nothing
//     over in silence that is drawn as a line: what is not read is in Job.Notes.
//  5. Nothing panics on any input, and memory is bounded by the input's size.
//
// Tolerances are manufacturing ones, constants beside their checks: how far the
// die's and the tube's diameter may differ (0.25 mm), neighbouring sketch points
// must be apart (1 mm), ends of drawn lines that are meant to meet may be apart
// (0.5 mm), and a self-mirrored sketch may be off its mirror image (100 mm; it is
// a sketch).
//
// Out of scope: opening files, the fit, and whether anything is safe or legal.
//
// Start with [Parse], then [Job.AttachSketches] for each of [Job.SketchFiles];
// [Job.Expanded] and [Job.Order] are what the fit needs.
package job
