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
	Plates   []Plate // of the feet, in the order of the bars; empty until they are laid
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

// SawLength returns the length of the straight tube to saw off for the bar, mm:
// its blank's, or from node to node with what its ends and trim need beyond where
// no blank is planned.
func (b *Bar) SawLength() float64 {
	if b.Blank != nil {
		return b.Blank.Length
	}
	return b.Table.Cut + b.Cuts[0].Beyond() + b.Cuts[1].Beyond() + 2*b.Tube.Trim
}

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
// straight, or its extension, from its node, positive towards the bar's other
// end: what lies on the other side of the curve is waste. Both curves have one
// value for each degree of clock, 360 in all, at clock positions 0, 1, ..., 359
// of the bar (from its reference line, clockwise seen from end A; see
// tube.AtClock).
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

// Budget says what errors in a bar's bends do to it; package fit/budget says how
// it is worked out. Clears and Need95 are NaN, and Draws is 0, where there is no
// shell.
type Budget struct {
	Angle  s1.Angle // the tolerance of every bend's angle and rotation, one that is held 95 times of 100
	Length float64  // the tolerance of every straight, likewise, mm
	Bends  []Sensitivity
	Draws  int     // bars drawn at random within the tolerances
	Clears float64 // share of them, 0 to 1, that touch the shell nowhere but in foot zones
	Need95 float64 // clearance at which 95 % of them would, mm
}

// Sensitivity is what an error in one bend does when end A is held in place: the
// worse of one degree or one mm too much and too little. Gap figures are changes
// of the bar's smallest gap: negative, it gets smaller; NaN: there is no shell.
type Sensitivity struct {
	EndPerDegree float64 // far end, mm per degree of angle
	EndPerTurn   float64 // far end, mm per degree of rotation; 0 for the first bend, which has none
	EndPerMM     float64 // far end, mm per mm of the straight before the bend
	GapPerDegree float64 // mm per degree of angle
	GapPerTurn   float64 // mm per degree of rotation; 0 for the first bend
	GapPerMM     float64 // mm per mm of the straight before the bend
}

// Joint is a landed end: where a bar, the branch, is notched to sit on another,
// its target. Angles in degrees, lengths in mm.
type Joint struct {
	Name string // J1, J2, ...
	Bar  string // the branch
	End  string // "A" or "B" of the branch
	Onto string // the target

	Angle  float64 // acute angle between the centrelines
	Offset float64 // between the lines of the centrelines, positive where the branch's lies on the side w x d of the target's: w from the node back along the branch, d along the target from its end A
	Clock  float64 // where the branch stands on the target, from its reference line, clockwise seen from its end A
	Wrap   float64 // the same round the target's outside, mm
	At     float64 // of the node along the target from its end A

	// The bead is where the outsides of branch and target meet. Distances from
	// the node along the branch, as in EndCut: to the far and the near end of it.
	Long, Short float64
	Node        r3.Vector
	Bead        []r3.Vector // 72 points at the branch's clock 0, 5, ... degrees; closed, the first is not repeated
	Length      float64     // of the bead

	// The opening in which the weld is laid, between the two surfaces square to
	// the bead: 90 on a post on a plate, the joint's angle in the crotch.
	WedgeMin, WedgeMax float64

	Order  int      // of the ends that meet at this node this is the Order-th to be cut, from 1
	Around []string // bars besides Onto that the notch goes round, in the cage's order
	Open   float64  // part of the branch's girth, 0 to 1, that meets no bar: the branch is wider than its target or beside it

	Saw   Saw
	Vent  *Vent  // nil: none wanted, or no room for one
	Zones []Zone // bare metal for the weld: the branch first, then the bars it meets
}

// Saw is how to cut a notch in a hole-saw notcher: the saw takes the place of
// the target. Lengths in mm, angles in degrees.
type Saw struct {
	Size    float64 // the saw's diameter, that of the target
	Nearest float64 // the nearest diameter in sixteenths of an inch
	Angle   float64 // by which the branch is turned off square to the saw: 90 - Joint.Angle
	Offset  float64 // between the axes of branch and saw, as Joint.Offset
	Clock   float64 // of the branch: the line that goes into the notcher's plane of tilt, on the side where branch and saw close
	Depth   float64 // how far the saw has to travel along its axis from the first to the last of the notch

	// From the node along the branch to the far and to the near end of the
	// notch; negative: beyond the node.
	Deepest, Shallowest float64

	Passes int  // 1: from one side; 2: from both sides along the same axis; 0: the saw does not reach, or does not cut this notch
	Exact  bool // false: the target is bent there, or the notch goes round other bars too: no saw cuts it as it is
}

// Vent is a small hole in a tube's wall inside a joint, through which the air
// of the branch gets out while it is welded. Lengths in mm, degrees.
type Vent struct {
	Bar      string    // that is drilled
	At       float64   // along it from its end A
	Clock    float64   // from its reference line, clockwise seen from its end A
	Wrap     float64   // the same round its outside
	Point    r3.Vector // its centre on the tube's outside
	Diameter float64
	Margin   float64 // from its edge to the edge of the branch's bore
}

// Zone is a length of bar to keep bare for a weld. mm and degrees.
type Zone struct {
	Joint    string // "": a foot
	Bar      string
	From, To float64    // along the bar from its end A
	Round    bool       // all round
	Clock    [2]float64 // else from the first clockwise to the second, from the bar's reference line seen from its end A
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
