package job

import (
	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/tube"
)

// Position is a place in the job file, counted from 1. Zero: unknown.
type Position struct{ Line, Column int }

// Unit is a length unit.
type Unit string

// The units that a job file may use. Auto is allowed for the shell only.
const (
	MM   Unit = "mm"
	CM   Unit = "cm"
	M    Unit = "m"
	Inch Unit = "in"
	Auto Unit = "auto"
)

// Job is a parsed and validated job file. All lengths are in mm, whatever the
// file's unit; all defaults are filled in.
type Job struct {
	Title    string
	Unit     Unit // the file's own unit; inches are shown where it is Inch
	Shell    Shell
	Dies     []*tube.Die  // in file order
	Tubes    []*tube.Spec // in file order
	Bars     []Bar        // in file order
	Keepouts []Keepout
	File     string // name for messages

	Tolerance Tolerance
	Plate     Plate
	Joints    Joints
	Saw       Saw
	Paper     string // PaperA4 ...; default A4, Letter where the job is in inches

	SketchFrame Frame    // in which the job's points are given; default CarFrame
	Notes       []string // what had to be assumed in reading sketch files, a line each
}

// Frame says in which axes the points of a job are given.
type Frame string

// The frames. Without Shell.Align they are the same.
const (
	CarFrame  Frame = "car"  // after Shell.Align
	ScanFrame Frame = "scan" // the scan's own axes, in mm, before Shell.Align
)

// Shell tells where the scan is and how to keep off it.
type Shell struct {
	File         string     // as written in the job, relative to it
	Unit         Unit       // of the scan
	Clearance    float64    // tube surface to shell, mm
	Accuracy     float64    // one sigma of the scan, mm; 0: not given
	Inside       *r3.Vector // nil: centre of the sketches
	LandingAngle s1.Angle   // default 30 degrees
	KeepSuspects bool       // use spikes and islands as they are in the fit
	KeepIslands  bool       // use islands, but not spikes
	DropHard     bool       // drop = "hard": leave out more of what is suspect
	Reduce       *float64   // mm that a reduced scan may be off; 0: do not reduce; nil: automatic
	Align        *Align     // nil: the scan stands in the car's axes
	Cuts         []Cut      // in file order
}

// What a Reduce of nil stands for: scans of more triangles are reduced within
// that many mm.
const (
	AutoReduceAbove = 1_500_000
	AutoReduce      = 0.5
)

// AlignMode says how the car's axes are found in the scan.
type AlignMode string

// The ways to align.
const (
	AlignAxes  AlignMode = "axes"  // Up and Front name axes of the scan
	AlignDatum AlignMode = "datum" // by points: Floor, Left, Right, Ahead
	AlignAuto  AlignMode = "auto"  // from the scan's own shape; Up and Front, if given, help
)

// Align is [shell.align]. Points are in the scan's axes, in mm.
type Align struct {
	Mode               AlignMode
	Up, Front          string      // axes of the scan, "+x" to "-z"; "": not given
	Origin             *r3.Vector  // of the car's axes; nil: not given
	Floor              []r3.Vector // three points of the floor for AlignDatum, else nil
	Left, Right, Ahead *r3.Vector  // set for AlignDatum, else nil
	Pos                Position
}

// Cut is a region in which all triangles are taken out of the scan. Exactly
// one shape is set.
type Cut struct {
	Name   string
	Sphere *Sphere
	Box    *Box  // along the axes of Frame
	Frame  Frame // in which it is given: Job.SketchFrame of the job as read
	Pos    Position
}

// EndKind says what an end of a bar does.
type EndKind uint8

const (
	Foot   EndKind = iota // stands on the shell ("shell")
	Free                  // ends in the air ("free")
	Landed                // ends on another bar's centreline
)

// End is one end of a bar.
type End struct {
	Kind EndKind
	Onto string // Landed: the bar's name, which may be "NAME (mirror)"
}

// Mirror says how a bar and the car's mirror plane y = 0 belong together.
type Mirror uint8

const (
	None Mirror = iota // "none": stands alone
	Self               // "self": its own mirror image
	Pair               // "pair": also made mirrored
)

// MirrorSuffix is put behind the name of a mirrored bar.
const MirrorSuffix = " (mirror)"

// Bar is one [[bar]] of the job, defaults filled in.
type Bar struct {
	Name      string
	Tube      *tube.Spec
	Sketch    []r3.Vector // at least two nodes, mm; nil until one of the next three is resolved
	Ends      [2]End
	Mirror    Mirror
	Flat      bool
	Lean      *s1.Angle // nil: free
	Hug       bool
	Clearance float64 // mm
	Reach     float64 // how far a node may move from its sketch, mm
	Fixed     bool
	Plate     Plate // under its feet; default: the job's
	Pos       Position

	// Where the sketch comes from if it is not in the job: at most one is set.
	SketchFile string        // .dxf or .obj as written in the job; see AttachSketches
	Station    *float64      // a hoop in the plane through x, mm, in the car's axes, leaning by Lean
	Follow     *[2]r3.Vector // a bar along the shell from one point to the other, in Job.SketchFrame

	Bends int // for Station and Follow: how many the sketch gets

	later *later // what to check once there is a sketch; nil: checked
}

// Keepout is a region no tube may enter. Exactly one shape is set.
type Keepout struct {
	Name    string
	Sphere  *Sphere
	Capsule *Capsule
	Box     *Box
	Mesh    string // file name as written in the job
	Pos     Position
}

// Sphere, Capsule and Box are keep-out shapes, in mm.
type (
	Sphere struct {
		Centre r3.Vector
		Radius float64
	}
	Capsule struct {
		From, To r3.Vector
		Radius   float64
	}
	Box struct{ Min, Max r3.Vector }
)
