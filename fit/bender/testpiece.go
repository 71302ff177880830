package bender

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/golang/geo/s1"

	"barwright/fit/job"
	"barwright/fit/tube"
)

// Edge says on which line of a bent tube something was measured.
type Edge string

const (
	EdgeOutside Edge = "outside" // of the bend: the longer way round
	EdgeInside  Edge = "inside"  // of the bend: the shorter way round
	EdgeCentre  Edge = "centre"  // the centreline; of chords only
)

// side returns by how many tube radii the edge's radius exceeds the centreline's.
func (e Edge) side() float64 {
	switch e {
	case EdgeOutside:
		return 1
	case EdgeInside:
		return -1
	}
	return 0
}

// Piece is one test bend: a blank of known length, marked, bent to a set angle,
// let go and measured. Set and Angle are needed; any other measurement that is 0
// was not made.
//
//	           leg A, outside
//	|<------------------------------>|
//	 ________________________________.     <- where the outer edges meet
//	|__________________________       \
//	 ^                         \       |
//	 end A                  .   \      |   inside: where the inner edges
//	|<--------------------->|    |     |   meet
//	      leg A, inside          |     |
//	                             |     |   leg B: the same from end B
//	                             |_____|
//	                                    end B
//
// A leg is measured along the tube, from its sawn end to the point at which its
// outer edge, made longer, meets the outer edge of the other leg (Legs outside),
// or its inner edge the inner edge (Legs inside). At 90 degrees that is what a
// square held against the other leg's back, or put into the corner, shows. From
// the sawn end to the node, where the two centrelines would meet, it is the leg
// less, or plus, OD/2 tan(angle/2): half a diameter at 90 degrees.
type Piece struct {
	Name string
	Date string // as given, never looked at

	Length float64  // of the blank before it is bent, mm
	Mark   float64  // from end A of the blank to the mark, mm
	Set    s1.Angle // to which the bender was taken
	Angle  s1.Angle // left when the bender let go

	LegA, LegB float64 // mm; see above. Without Mark both are needed
	Legs       Edge    // on which edges the legs meet: outside or inside

	Chord, Height float64 // mm: straightedge across the bend's arc, and the arc's height over its middle
	ChordOn       Edge    // of which line of the bend: outside, inside or centre

	Smallest, Largest float64 // diameters of the tube in the middle of the bend, mm
}

// Setting is what comes from elsewhere than the test pieces.
type Setting struct {
	Name  string  // of the die
	OD    float64 // of the tube, mm
	CLR   float64 // centreline radius that is stamped on the die, mm; 0: none
	Noise Noise
}

// Noise is how well things are measured: one standard deviation each. What is set
// up, the blank's length and the place of the mark, counts as exact; how far these
// are off shows in the legs, and Length should be large enough for both.
type Noise struct {
	Length   float64  // of legs, chords and heights, mm; 0: 0.5
	Angle    s1.Angle // of the angle left; 0: 0.25 degrees
	Set      s1.Angle // how well the bender comes to the set angle, and comes to it again; 0: counts as exact
	Diameter float64  // mm; 0: 0.1, a caliper's
}

// Defaults of Noise. Length and Angle are this project's; a caliper's 0.1 mm is
// common practice, no source.
const (
	defaultLengthNoise   = 0.5
	defaultAngleNoise    = 0.25 * s1.Degree
	defaultDiameterNoise = 0.1
)

func (n Noise) orDefault() Noise {
	if !(n.Length > 0) {
		n.Length = defaultLengthNoise
	}
	if !(n.Angle > 0) {
		n.Angle = defaultAngleNoise
	}
	if !(n.Diameter > 0) {
		n.Diameter = defaultDiameterNoise
	}
	return n
}

// LoadedRadius returns the centreline radius (mm) to which the tube is drawn while
// the bender holds it at the angle set, for a bend that has the radius free (mm)
// and angle when it is let go. The bend opens and its radius grows, but the arc
// keeps its length: free x angle = loaded x set. Play that the bender takes up
// before the tube begins to bend is no part of set. set must not be 0.
func LoadedRadius(free float64, angle, set s1.Angle) float64 { return free * float64(angle/set) }

// FreeRadius is the way back from [LoadedRadius]: the centreline radius (mm) after
// release of a bend that was drawn to the radius loaded (mm) and the angle set.
// angle must not be 0.
func FreeRadius(loaded float64, angle, set s1.Angle) float64 { return loaded * float64(set/angle) }

// ChordRadius returns the radius of the circle on which a chord has the height h
// over its middle, both in mm: c^2/(8h) + h/2 (Pythagoras).
func ChordRadius(chord, height float64) float64 {
	return chord*chord/(8*height) + height/2
}

// LegLength returns what is measured, in mm, of a leg whose straight has the
// length straight (mm): to the apex of the outer or the inner edges of a bend of
// the centreline radius clr (mm) in tube of the outside diameter od (mm).
func LegLength(straight, clr, od float64, angle s1.Angle, to Edge) float64 {
	return straight + tube.Setback(clr+to.side()*od/2, angle)
}

// Proposal is a test piece to make.
type Proposal struct {
	Angle, Set s1.Angle // wanted, and what to set for it
	Estimated  bool     // Set comes from the material, not from a test piece
	Length     float64  // of the blank, mm
	Mark       float64  // from end A, mm
	LegA, LegB float64  // that the piece should have, to the outside, mm
}

// Straights of a test piece in tube diameters: enough to lay a straightedge
// against, and the bender's hold. Common practice, no source.
const proposedStraight = 3.0

// Propose returns the test piece for an angle of tube of the given spec, whose
// die must have a CLR. Lengths are rounded to step, mm (10, or 12.7 for half an
// inch); set angles are not rounded.
func Propose(spec *tube.Spec, angle s1.Angle, step float64) Proposal {
	clr := spec.Die.CLR
	start := roundUp(max(proposedStraight*spec.OD, spec.Die.Tail), step)
	arc := clr * float64(angle)
	p := Proposal{Angle: angle, Mark: max(start-math.Round(spec.Die.Offset/step)*step, step)}
	p.Set, p.Estimated = spec.SetAngle(angle)
	p.Length = roundUp(2*start+arc, step)
	// The bend begins the offset behind the mark, and the tube grows by its stretch.
	begin := p.Mark + spec.Die.Offset
	p.LegA = LegLength(begin, clr, spec.OD, angle, EdgeOutside)
	p.LegB = LegLength(p.Length+spec.Die.Stretch*float64(angle)-arc-begin, clr, spec.OD, angle, EdgeOutside)
	return p
}

// roundUp rounds x up to a multiple of step. What is over a multiple by less than
// a millionth of a step is rounding in the arithmetic (1e-16 of lengths up to 1e4
// steps, a few times), not a reason for one more step.
func roundUp(x, step float64) float64 { return math.Ceil(x/step-1e-6) * step }

// Decimals of the block for the job file. A tenth of what any of them is known to.
const (
	clrDecimals     = 2 // mm
	offsetDecimals  = 2 // mm
	stretchDecimals = 4 // mm per degree: 0.01 mm in a right angle
	roundDecimals   = 3
	setDecimals     = 2 // degrees
	inchDecimals    = 2 // more than mm, as an inch is 25 of them
)

// rounded rounds to decimals, without -0.
func rounded(x float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(x*p)/p + 0
}

// Die returns the die as the test pieces have it, rounded to what Block prints in
// mm. Grip, tail and largest angle are not known from test pieces, and are 0.
func (c *Calibration) Die() tube.Die {
	d := tube.Die{Name: c.Name, OD: c.OD, CLR: rounded(c.CLR.Value, clrDecimals)}
	for _, pair := range c.pairs() {
		d.Springback = append(d.Springback, tube.Springback{Want: s1.Angle(pair[0]) * s1.Degree, Set: s1.Angle(pair[1]) * s1.Degree})
	}
	if c.Stretch.Basis != Unknown {
		d.Stretch = rounded(c.Stretch.Value*float64(s1.Degree), stretchDecimals) / float64(s1.Degree)
	}
	if c.Offset.Basis != Unknown {
		d.Offset = rounded(c.Offset.Value, offsetDecimals)
	}
	if c.Roundness.Basis != Unknown {
		d.Roundness = rounded(c.Roundness.Value, roundDecimals)
	}
	return d
}

// pairs returns the springback pairs [wanted, set] in degrees: the fitted line at
// the smallest and at the largest angle of the pieces, or one point of it where
// they are nearly the same. Wanted angles are whole degrees.
func (c *Calibration) pairs() [][2]float64 {
	if c.B.Basis == Unknown {
		return nil
	}
	wants := []float64{max(math.Round(c.Least.Degrees()), 1), max(math.Round(c.Most.Degrees()), 1)}
	if c.A.Basis != Measured || wants[0] >= wants[1] {
		wants = wants[1:]
	}
	var out [][2]float64
	for _, want := range wants {
		set, _ := c.SetAngle(s1.Angle(want) * s1.Degree)
		// Noise can put the line under the angle itself, which no bend can be.
		pair := [2]float64{want, max(rounded(tube.Degrees(set), setDecimals), want)}
		if len(out) > 0 && pair[1] <= out[0][1] {
			continue
		}
		out = append(out, pair)
	}
	return out
}

// Block returns the lines for the job file, in the unit of lengths that the job
// has (mm or in). What is not known is left out, what is assumed is said so.
func (c *Calibration) Block(unit job.Unit) string {
	scale, more := 1.0, 0
	if unit == job.Inch {
		scale, more = 25.4, inchDecimals
	}
	length := func(mm float64, decimals int) string { return number(mm/scale, decimals+more) }
	remark := func(what string, v Value) string {
		if v.Basis == Measured && slices.ContainsFunc(c.Weak, func(w Weakness) bool { return w.What == what }) {
			return "; NOT SURE, bend another test piece"
		}
		return v.Basis.remark()
	}
	var lines [][2]string
	add := func(key, value, comment string) { lines = append(lines, [2]string{key + " = " + value, comment}) }

	odDecimals := 3 // as given: 1.75 in is 44.45 mm, a gauge's 0.095 in 2.413 mm
	add("od", length(c.OD, odDecimals), "")
	add("clr", length(c.CLR.Value, clrDecimals), "centreline radius of the finished bend"+remark("clr", c.CLR))
	var pairs []string
	for _, p := range c.pairs() {
		pairs = append(pairs, "["+number(p[0], 0)+", "+number(p[1], setDecimals)+"]")
	}
	if pairs != nil {
		add("springback", "["+strings.Join(pairs, ", ")+"]", "[wanted, set] in degrees"+remark("springback", c.B))
	}
	if c.Stretch.Basis != Unknown {
		add("stretch", length(c.Stretch.Value*float64(s1.Degree), stretchDecimals), string(unit)+" per degree of bend"+remark("stretch", c.Stretch))
	}
	if c.Offset.Basis != Unknown {
		add("offset", length(c.Offset.Value, offsetDecimals), string(unit)+", mark to start of bend"+remark("offset", c.Offset))
	}
	if c.Roundness.Basis != Unknown {
		add("ovality", number(c.Roundness.Value, roundDecimals), "smallest / largest diameter in a bend")
	}
	width := 0
	for _, l := range lines {
		width = max(width, len(l[0]))
	}
	var out strings.Builder
	out.WriteString("[die." + tomlKey(c.Name) + "]\n")
	for _, l := range lines {
		out.WriteString(l[0])
		if l[1] != "" {
			out.WriteString(strings.Repeat(" ", width-len(l[0])) + "  # " + l[1])
		}
		out.WriteString("\n")
	}
	return out.String()
}

// number prints x with at most that many decimals and no zeros behind them.
func number(x float64, decimals int) string {
	return strconv.FormatFloat(rounded(x, decimals), 'f', -1, 64)
}

// tomlKey returns name as a key of TOML, in quotes if it needs them.
func tomlKey(name string) string {
	bare := name != ""
	for _, c := range name {
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '_' || c == '-') {
			bare = false
		}
	}
	if bare {
		return name
	}
	var out strings.Builder
	out.WriteByte('"')
	for _, c := range name {
		switch {
		case c == '"' || c == '\\':
			out.WriteByte('\\')
			out.WriteRune(c)
		case c < ' ' || c == 0x7f:
			out.WriteByte(' ')
		default:
			out.WriteRune(c)
		}
	}
	out.WriteByte('"')
	return out.String()
}
