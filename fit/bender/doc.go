// Package bender is about the machine that bends the tube: what test pieces say
// about it, how a blank is laid out for it, in which order its bends are made and
// what a bend does to the tube.
//
// Lengths are float64 millimetres, angles s1.Angle. Blanks are measured along
// the straight tube; end A of a blank is where end A of the bar will be.
package bender
