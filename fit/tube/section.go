package tube

// Walls and shape of a bent tube. Wall and diameters in mm; od and clr are the
// outside diameter and the centreline radius.

// ThinnedWall returns the wall on the outside (extrados) of a bend, estimated
// from the length of the outermost fibre: t / (1 + D / 2R). Common geometry,
// no source; a pushed or boosted bend thins less, a hard-drawn one more.
func ThinnedWall(wall, od, clr float64) float64 { return wall / (1 + od/(2*clr)) }

// ThickenedWall returns the wall on the inside (intrados) of a bend, estimated
// as ThinnedWall is: t / (1 - D / 2R). clr must exceed od/2.
func ThickenedWall(wall, od, clr float64) float64 { return wall / (1 - od/(2*clr)) }

// IntradosFactor returns (4k - 1) / (4k - 2), k = clr / od: the factor for the
// wall on the inside of a bend in the piping code ASME B31.1.
func IntradosFactor(od, clr float64) float64 { k := clr / od; return (4*k - 1) / (4*k - 2) }

// ExtradosFactor returns (4k + 1) / (4k + 2), k = clr / od: the factor for the
// wall on the outside of a bend in the piping code ASME B31.1.
func ExtradosFactor(od, clr float64) float64 { k := clr / od; return (4*k + 1) / (4*k + 2) }

// Flatness returns the ovality of a bent section as the ratio of its smallest
// to its largest diameter, 1 for a round one: the form in which cage rules
// state it (at least 0.90).
func Flatness(smallest, largest float64) float64 { return smallest / largest }

// Ovality returns the ovality of a bent section as the piping codes state it:
// (largest - smallest) / nominal.
func Ovality(smallest, largest, nominal float64) float64 { return (largest - smallest) / nominal }
