// Package draw holds drawings in true size and writes them as PDF (in one sheet
// or in tiles), SVG and DXF.
//
// Everything is in millimetres on paper, x to the right, y up. Line kinds follow
// ISO 128 (continuous wide and narrow, dashed, long-dashed dotted); nothing is
// told by colour alone.
package draw
