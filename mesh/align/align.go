package align

import (
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/mesh"
)

// Mode says where the car's axes come from.
type Mode uint8

// The modes.
const (
	None  Mode = iota // the scan stands in the car's axes
	Axes              // from the scan's own axes
	Datum             // from points the user read off the scan
	Auto              // from the shape of the body
)

// String returns the mode's name in a job file.
func (m Mode) String() string {
	names := [...]string{"none", "axes", "datum", "auto"}
	if int(m) < len(names) {
		return names[m]
	}
	return fmt.Sprintf("mode %d", uint8(m))
}

// ParseMode returns the mode with that name; "" is none.
func ParseMode(s string) (Mode, error) {
	for m := None; m <= Auto; m++ {
		if s == m.String() {
			return m, nil
		}
	}
	if s == "" {
		return None, nil
	}
	return None, fmt.Errorf("alignment %q is not none, axes, datum or auto", s)
}

// Options steer [Align]. Places are in scan coordinates, mm.
type Options struct {
	Mode Mode

	// Up and Front are scan axes: x, y, z with an optional sign, as in "-y".
	// Axes needs both. Auto takes either as a hint, the scan axis nearest to up
	// or forward; "": unknown.
	Up, Front string

	// Origin is the place that becomes the car's origin. nil: on the mirror
	// plane and at floor level, both as found in the shape; along x, half-way
	// along the body, with Datum at the pair.
	Origin *r3.Vector

	// For Datum: three points of the floor, a left and a right point that are
	// mirror images of each other, and a point anywhere ahead of these two.
	Floor              [3]r3.Vector
	Left, Right, Ahead r3.Vector
}

// Result is a frame and what it is worth. Figures that were not measured, as
// all are with None, are zero.
type Result struct {
	Frame Frame

	// Sure tells that nothing measured speaks against the frame. It is false
	// whenever there is a doubt, which Notes names.
	Sure  bool
	Notes []string // one line each

	UpResidual      float64  // rms distance of the floor's flat patch from its plane, mm; with Datum, of the floor points from level
	FloorShare      float64  // that patch as a share of the scan's surface
	UpSigma         s1.Angle // one sigma of the up axis, in the mirror plane; Auto only
	MirrorResidual  float64  // median distance between the body and its mirror image, mm, where both are there
	MirrorOverlap   float64  // share of the surface that has a counterpart on the other side
	RunnerUp        float64  // agreement of the next best, different mirror plane over that of the best, 0 to 1; Auto only
	PlaneAngleSigma s1.Angle // one sigma of the mirror plane's direction
	PlaneSigma      float64  // one sigma of its place, mm
}

func (r *Result) doubt(format string, args ...any) {
	r.Sure = false
	r.note(format, args...)
}

func (r *Result) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// Align returns the car's frame in a scan. It fails on options that make no
// frame and on a scan without a surface; a frame that the data do not support
// is a result with Sure false.
func Align(ctx context.Context, m *mesh.Mesh, opt Options) (Result, error) {
	for _, p := range append([]r3.Vector{opt.Left, opt.Right, opt.Ahead}, opt.Floor[:]...) {
		if !finite(p) {
			return Result{}, errors.New("align: a datum point is not finite")
		}
	}
	if opt.Origin != nil && !finite(*opt.Origin) {
		return Result{}, errors.New("align: the origin is not finite")
	}
	up, err := axis("up", opt.Up)
	if err != nil {
		return Result{}, err
	}
	front, err := axis("front", opt.Front)
	if err != nil {
		return Result{}, err
	}
	if up != nil && front != nil && up.Dot(*front) != 0 {
		return Result{}, fmt.Errorf("align: up %s and front %s are the same axis", opt.Up, opt.Front)
	}
	result := Result{Frame: Identity(), Sure: true}
	if opt.Mode == None {
		if opt.Origin != nil {
			result.Frame.Origin = *opt.Origin
		}
		return result, nil
	}
	if err := ctx.Err(); err != nil {
		return Result{}, err
	}
	b := newBody(m)
	if b == nil {
		return Result{}, errors.New("align: the scan has no surface to measure")
	}
	switch opt.Mode {
	case Axes:
		if up == nil || front == nil {
			return Result{}, errors.New("align: axes need both up and front")
		}
		result.Frame = Frame{X: *front, Y: up.Cross(*front), Z: *up}
		b.check(&result, opt.Origin)
	case Datum:
		if err := b.datum(&result, opt); err != nil {
			return Result{}, err
		}
	case Auto:
		if err := b.auto(ctx, &result, up, front, opt.Origin); err != nil {
			return Result{}, err
		}
	default:
		return Result{}, fmt.Errorf("align: unknown mode %d", uint8(opt.Mode))
	}
	return result, nil
}

func finite(p r3.Vector) bool {
	const far = 1e9 // mm
	return math.Abs(p.X) < far && math.Abs(p.Y) < far && math.Abs(p.Z) < far
}

// axis reads the name of a scan axis; nil for none.
func axis(key, name string) (*r3.Vector, error) {
	if name == "" {
		return nil, nil
	}
	sign, letter := 1.0, name
	switch name[0] {
	case '-':
		sign, letter = -1, name[1:]
	case '+':
		letter = name[1:]
	}
	var v r3.Vector
	switch letter {
	case "x", "X":
		v.X = sign
	case "y", "Y":
		v.Y = sign
	case "z", "Z":
		v.Z = sign
	default:
		return nil, fmt.Errorf("align: %s %q is not a scan axis, x, y or z with an optional sign", key, name)
	}
	return &v, nil
}

// What makes a mirror plane or floor doubtful. All are common practice, no
// source; the first two angles are half of what a frame is to be good for, 0.1
// and 0.2 degree.
const (
	doubtPlaneSigma = 0.05 // degrees
	doubtUpSigma    = 0.1  // degrees
	doubtOffset     = 0.5  // mm, one sigma of the mirror plane
	doubtOverlap    = 0.5
	doubtResidual   = 0.5   // mm at the median, or doubtExcess if that is more
	doubtExcess     = 0.65  // of the samples' roughness: even bodies have 0.45 at any noise, one 10 mm wider on the right 0.85
	doubtRunnerUp   = 0.85  // of the best plane's agreement
	doubtFloor      = 0.015 // share of the surface
	doubtSecond     = 0.7   // of the best floor's score
	doubtSlope      = 0.2   // degrees between the floor and such a rival
	doubtTwist      = 1.5   // degrees between a floor and a plane square to the mirror plane
	doubtTurn       = 1.0   // degrees between a given and a measured mirror plane
	doubtShift      = 10.0  // mm, likewise
)

// judgeMirror takes a mirror plane's figures over and says what speaks against it.
func (b *body) judgeMirror(r *Result, f fit) {
	r.MirrorResidual, r.MirrorOverlap = f.residual, f.overlap
	r.PlaneAngleSigma, r.PlaneSigma = s1.Angle(f.angle), f.offset
	if f.overlap < doubtOverlap {
		r.doubt("only %.0f %% of the surface has a counterpart on the other side", 100*f.overlap)
	}
	if f.residual > max(doubtResidual, doubtExcess*b.noise) {
		r.doubt("the sides differ by %.1f mm at the median, more than noise explains: the mirror plane is a compromise between them", f.residual)
	}
	if a := r.PlaneAngleSigma.Degrees(); !(a <= doubtPlaneSigma) {
		r.doubt("the mirror plane's direction is determined to %.2f degree only (one sigma)", a)
	}
	if !(f.offset <= doubtOffset) {
		r.doubt("the mirror plane's place is determined to %.1f mm only (one sigma)", f.offset)
	}
}

// auto finds the frame in the shape: the mirror plane first, which needs no up,
// then the floor square to it.
func (b *body) auto(ctx context.Context, r *Result, up, front, origin *r3.Vector) error {
	planes, err := b.mirrors(ctx)
	if err != nil {
		return err
	}
	best := planes[0]
	b.judgeMirror(r, best)
	if len(planes) > 1 && best.agreement > 0 {
		r.RunnerUp = planes[1].agreement / best.agreement
		if r.RunnerUp > doubtRunnerUp {
			r.doubt("another plane mirrors the body nearly as well (%.0f %%)", 100*r.RunnerUp)
		}
	}

	floors := b.floors(best.n, func(u r3.Vector) bool {
		const hinted = 60 // degrees: an axis nearest to up is within 55
		return up == nil || u.Dot(*up) > math.Cos(hinted*math.Pi/180)
	})
	var f floor
	if len(floors) == 0 {
		r.doubt("no floor found: nothing large and flat lies below the body")
		f = b.guessUp(best.n, up)
	} else {
		f = floors[0]
		r.UpResidual, r.FloorShare, r.UpSigma = f.residual, f.share, s1.Angle(f.sigma)
		if f.share < doubtFloor {
			r.doubt("the floor found is only %.1f %% of the surface", 100*f.share)
		}
		if a := r.UpSigma.Degrees(); !(a <= doubtUpSigma) {
			r.doubt("the floor's slope is determined to %.2f degree only (one sigma)", a)
		}
		if a := s1.Angle(f.twist).Degrees(); !(a <= doubtTwist) {
			r.doubt("the floor is %.1f degree off square to the mirror plane", a)
		}
		r.doubtFloors(floors)
	}

	y := best.n
	x := y.Cross(f.up).Normalize()
	switch {
	case front != nil:
		c := x.Dot(*front)
		if c < 0 {
			x, y = x.Mul(-1), y.Mul(-1)
		}
		const hinted = 60 // degrees
		if math.Abs(c) < math.Cos(hinted*math.Pi/180) {
			r.doubt("the front given is %.0f degrees off the body's length", s1.Angle(math.Acos(min(math.Abs(c), 1))).Degrees())
		}
	default:
		// Which end is which can't be read off a stripped body: take the scan's
		// own direction, and say so.
		if largest(x) < 0 {
			x, y = x.Mul(-1), y.Mul(-1)
		}
		r.doubt("which end is the front can't be known from the shape; say which scan axis is nearest to it")
	}
	r.Frame = Frame{X: x, Y: y, Z: f.up}
	b.place(&r.Frame, best.plane, f, origin)
	return nil
}

// doubtFloors says whether the floor chosen, the first, has a rival: another
// side of the body, or a patch beside it of another slope.
func (r *Result) doubtFloors(floors []floor) {
	f := floors[0]
	for _, other := range floors[1:] {
		angle := f.up.Angle(other.up).Degrees()
		share := 100 * other.score / f.score
		switch {
		case share < 100*doubtSecond:
			return
		case angle > otherFloor:
			r.doubt("another flat patch could as well be the floor (%.0f %%); say which axis is up", share)
			return
		case angle > doubtSlope:
			r.doubt("a flat patch of another slope, by %.1f degrees, could as well be the floor (%.0f %%)", angle, share)
			return
		}
	}
}

// guessUp returns an up for a body without a floor: the hint, or the scan axis
// most square to the mirror plane, z first.
func (b *body) guessUp(m r3.Vector, hint *r3.Vector) floor {
	up := r3.Vector{Z: 1}
	if hint != nil {
		up = *hint
	}
	const square = 0.8
	if math.Abs(up.Dot(m)) > square {
		up = r3.Vector{Y: 1}
		if math.Abs(up.Dot(m)) > square {
			up = r3.Vector{X: 1}
		}
	}
	up = up.Sub(m.Mul(up.Dot(m))).Normalize()
	low, _ := b.extent(up)
	return floor{up: up, level: low - up.Dot(b.centre)}
}

// largest returns the component of v that is largest without its sign.
func largest(v r3.Vector) float64 {
	c := v.X
	if math.Abs(v.Y) > math.Abs(c) {
		c = v.Y
	}
	if math.Abs(v.Z) > math.Abs(c) {
		c = v.Z
	}
	return c
}

// place sets the frame's origin: the one given, or on the mirror plane, at
// floor level and half-way along the body.
func (b *body) place(f *Frame, m plane, g floor, origin *r3.Vector) {
	if origin != nil {
		f.Origin = *origin
		return
	}
	back, front := b.extent(f.X)
	middle := (back+front)/2 - f.X.Dot(b.centre)
	f.Origin = b.centre.Add(m.n.Mul(m.d)).Add(f.Z.Mul(g.level)).Add(f.X.Mul(middle))
}

// check measures a frame whose axes are given, finds its origin if it has none,
// and says where the shape speaks against it.
func (b *body) check(r *Result, origin *r3.Vector) {
	f := &r.Frame
	m := b.offsets(f.Y)
	b.judgeGiven(r, m)
	g := b.levelAt(f.Z, f.Y)
	r.UpResidual, r.FloorShare = g.residual, g.share
	if g.share < doubtFloor && origin == nil {
		r.doubt("no flat patch lies square to the up axis: the floor's level is a guess")
	}
	b.place(f, m.plane, g, origin)
	b.compare(r, m.plane)
}

// judgeGiven is judgeMirror for a plane whose direction is given, and so not in
// doubt.
func (b *body) judgeGiven(r *Result, f fit) {
	b.judgeMirror(r, fit{plane: f.plane, residual: f.residual, overlap: f.overlap, offset: f.offset})
	r.PlaneAngleSigma = s1.Angle(f.angle)
}

// compare says how a frame's mirror plane, y = 0, differs from the one that the
// shape has near it, m.
func (b *body) compare(r *Result, m plane) {
	f := &r.Frame
	for _, scale := range schedule {
		m = b.refine(m, b.thin, 1, scale, 6, false)
	}
	found := b.measure(b.refine(m, b.fine, 1, b.tolerance()/2, 12, false))
	if found.overlap < doubtOverlap || !(found.angle*180/math.Pi <= doubtTurn/2) {
		return
	}
	turn := s1.Angle(math.Acos(min(math.Abs(found.n.Dot(f.Y)), 1))).Degrees()
	shift := math.Abs(found.height(f.Origin.Sub(b.centre)))
	if turn > doubtTurn {
		r.doubt("the body's mirror plane is turned by %.1f degrees against the frame's", turn)
	}
	if shift > doubtShift {
		r.doubt("the body's mirror plane is %.0f mm off the frame's origin", shift)
	}
}
