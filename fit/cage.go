package fit

import (
	"github.com/golang/geo/r3"

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
	Clearance float64 // mm
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
