package fit

import (
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// Cage is the result of a fit: every bar, the joints once they are worked out,
// and what is to be said about them.
type Cage struct {
	Title    string
	Shell    ShellInfo
	Bars     []*Bar // job order; a pair's mirror follows its twin
	Joints   []Joint
	Findings []Finding
}

// ShellInfo says which scan the cage was fitted to.
type ShellInfo struct {
	File      string
	Triangles int      // in the file
	Unit      job.Unit // of the file, as used
	Clearance float64  // mm
	Noise     float64  // estimated scan noise, one sigma, mm
	Suspects  int      // spikes and islands left out of the fit
}

// Bar is one fitted tube.
type Bar struct {
	Name      string
	Job       *job.Bar // the [[bar]] it was made from
	Tube      *tube.Spec
	Mirrored  bool   // it is the mirror image of a pair's first bar
	MirrorOf  string // name of that bar; "" if not mirrored
	Ends      [2]job.End
	Path      *tube.Path
	Table     tube.Table
	Cuts      [2]EndCut     // how end A and end B are cut; empty until joints are worked out
	Blank     *bender.Blank // the straight tube it is bent from; nil until it is planned
	Budget    *Budget       // what errors in its bends do; nil until it is worked out
	Clearance float64       // mm
	Gap       Gap
	Feet      []Foot
	Symmetry  float64   // pairs: how much nearer on average this side could be if it were fitted alone, mm
	Blocking  []Blocker // constraints that could not be met, worst first; empty: all met
	Kept      []int     // which nodes of the sketch are still there; bends that came out straight are dropped
	Solved    bool      // false: given as built (fixed) or straight without freedom
}

// Radius is the tube's outer radius, mm.
func (b *Bar) Radius() float64 { return b.Tube.OD / 2 }

// Gap holds distances from the tube's surface to the shell, mm.
//
// Three domains, after the contract's "required distance":
//   - Min, Mean, Max, RMSOver: the bar without its last 2 x OD before feet and
//     landed ends (free ends count).
//   - CertifiedMin: everywhere but in foot zones, that is wherever the full
//     clearance is required. At most 0.01 mm below the true minimum there,
//     never above it.
//   - Deficit: the whole bar, foot zones with their own requirement included.
type Gap struct {
	Min, Mean, Max float64
	RMSOver        float64 // root mean square of gap - clearance
	CertifiedMin   float64
	Deficit        float64 // upper bound of max(required distance - distance); <= 0: met everywhere
	DeficitAt      r3.Vector
	RawMin         float64 // as CertifiedMin, against every triangle of the file
	Gain           float64 // mean gap that a small further move could still save
	Residual       float64 // stationarity residual of the tightness problem
	Contacts       []r3.Vector
	CapHeld        bool      // a cap over a hole holds the bar, not sheet metal
	WorstAt        r3.Vector // point of the centreline where CertifiedMin is
	Outside        bool      // a part of the bar is outside the cabin
	OutsideAt      r3.Vector // point of the centreline that is deepest outside
}

// Foot is an end that stands on the shell.
type Foot struct {
	End    int       // 0: A, 1: B
	Point  r3.Vector // the node, mm
	Normal r3.Vector // unit normal of the shell's local plane, towards the cabin
	Error  float64   // distance of the node from the surface, mm
	Packer float64   // paired or self-mirrored bars: gap under this foot because the other side is higher, mm
	Angle  float64   // angle between tube axis and surface, degrees
}

// Blocker names a constraint that holds a bar from a valid place.
type Blocker struct {
	Rule       string // a rule of the finding list
	Bend       int    // 1-based; 0: none
	Got, Limit float64
	Unit       string
	At         r3.Vector
	Detail     string // what it is, in a few words
}

// EndCut is the shape of a bar's end. Lengths are mm along the bar's last
// straight from its node, positive towards the bar's other end: what lies on
// the other side of the curve is waste. The curves have as many values as were
// asked for, at clock positions 360 i / n of the bar (from its reference line,
// clockwise seen from end A).
type EndCut struct {
	Kind  CutKind
	Outer []float64 // where the outside of the tube ends
	Inner []float64 // where its bore ends
}

// CutKind says what an end is cut for.
type CutKind string

const (
	Square CutKind = "square" // at the node, at right angles
	Notch  CutKind = "notch"  // a saddle on another bar
	Mitre  CutKind = "mitre"  // oblique, for a plate
)

// Beyond returns how far (mm) the end reaches past its node: 0 or more.
func (e EndCut) Beyond() float64 {
	beyond := 0.0
	for _, curve := range [2][]float64{e.Outer, e.Inner} {
		for _, x := range curve {
			beyond = max(beyond, -x)
		}
	}
	return beyond
}

// Budget says what errors in a bar's bends do to it.
type Budget struct {
	Angle  s1.Angle // the tolerance of every bend's angle and rotation, one that is held 95 times of 100
	Length float64  // the tolerance of every straight, likewise, mm
	Bends  []Sensitivity
	Draws  int     // bars drawn at random within the tolerances
	Clears float64 // share of them that still clear the shell
	Need95 float64 // clearance at which 95 % of them would, mm
}

// Sensitivity is what an error in one bend does when end A is held in place.
// Gap figures are changes of the bar's smallest gap: negative, it gets smaller;
// each is the worse of an error in one and in the other direction.
type Sensitivity struct {
	EndPerDegree float64 // far end, mm per degree of angle
	EndPerTurn   float64 // far end, mm per degree of rotation
	EndPerMM     float64 // far end, mm per mm of the straight before the bend
	GapPerDegree float64 // mm per degree of angle
	GapPerTurn   float64 // mm per degree of rotation
	GapPerMM     float64 // mm per mm
}

// Joint is a landed end. Angle in degrees, lengths in mm.
type Joint struct {
	Name   string // J1, J2, ...
	Bar    string
	End    string // "A" or "B"
	Onto   string
	Angle  float64 // acute angle between the centrelines
	Offset float64
	Clock  float64
	At     float64
	Long   float64
	Short  float64
	Node   r3.Vector
	Bead   []r3.Vector
}

// Severity ranks findings.
type Severity string

const (
	Error   Severity = "error"
	Warning Severity = "warning"
	Note    Severity = "note"
)

// Finding is one thing to be said about a cage: it is a result, not an error.
type Finding struct {
	Severity Severity
	Rule     string
	Bar      string
	Other    string // second bar of a clash, or the keep-out
	Bend     int    // 1-based; 0: none
	Joint    string
	Got      float64
	Limit    float64
	Unit     string
	At       *r3.Vector
	Message  string
}
