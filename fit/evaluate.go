package fit

import (
	"math"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/job"
	"barwright/mesh"
)

// Requirement returns what the bar has to keep off the shell: landing is the
// flattest angle of a foot, noise the scan's estimated noise, one sigma in mm,
// of which three are allowed inside foot zones of a scan that is not clean.
func (b *Bar) Requirement(landing s1.Angle, noise float64) Requirement {
	r := Requirement{Radius: b.Radius(), Clearance: b.Clearance, Landing: landing}
	if noise > cleanNoise {
		r.FootAllowance = noiseSigmas * noise
	}
	for e, end := range b.Ends {
		r.Feet[e] = end.Kind == job.Foot
		r.Landed[e] = end.Kind == job.Landed
	}
	return r
}

// Evaluate fills in how a bar sits in the shell: the distances in b.Gap (Gain,
// Residual and Contacts are left as they are, they come from the solver) and
// b.Feet. It needs the bar's path, ends, tube and clearance.
func Evaluate(b *Bar, sh *mesh.Shell, landing s1.Angle) {
	sh = sh.Full() // not the reduced copy
	r := b.Requirement(landing, sh.Noise)
	c := Certify(b.Path, r, sh.Index, sh.Inside)
	g := &b.Gap
	g.Min, g.Mean, g.Max, g.RMSOver = c.Min, c.Mean, c.Max, c.RMSOver
	g.CertifiedMin, g.WorstAt = c.CertifiedMin, c.WorstAt
	g.Deficit, g.DeficitAt = c.Deficit, c.DeficitAt
	g.Outside, g.OutsideAt = c.Outside, c.OutsideAt
	g.RawMin = c.CertifiedMin
	if sh.RawIndex != sh.Index {
		g.RawMin = certify(b.Path, r, sh.RawIndex, sh.Inside, math.Inf(1)).CertifiedMin
	}

	g.CapHeld = heldByCap(b, sh)

	b.Feet = nil
	for e, end := range b.Ends {
		if end.Kind == job.Foot {
			b.Feet = append(b.Feet, b.foot(e, sh))
		}
	}
}

// heldByCap tells whether a cap over a hole, not sheet metal, is what is nearest
// within a millimetre of the bar's clearance anywhere along it.
func heldByCap(b *Bar, sh *mesh.Shell) bool {
	if len(sh.Caps) == 0 {
		return false
	}
	tri := int32(-1)
	for _, s := range b.Path.Sample(5) {
		p, _ := b.Path.At(s)
		h := sh.Index.ClosestFrom(p, tri)
		tri = h.Triangle
		if tri >= 0 && sh.IsCap(tri) && h.Distance < b.Radius()+b.Clearance+1 {
			return true
		}
	}
	return false
}

// foot measures how the bar's end e meets the shell.
func (b *Bar) foot(e int, sh *mesh.Shell) Foot {
	var node, axis r3.Vector // axis: along the tube, out of the cabin
	if e == 0 {
		node, axis = b.Path.At(0)
		axis = axis.Mul(-1)
	} else {
		node, axis = b.Path.At(b.Path.Length)
	}
	hit := sh.Index.Closest(node)
	f := Foot{End: e, Point: node, Error: hit.Distance}
	if hit.Triangle < 0 {
		return f
	}
	l := &lander{shell: sh, mesh: sh.Used, index: sh.Index, tube: b.Radius()}
	ground := l.land(node, axis)
	if ground.ok {
		// Straight down onto it, as the solver looks: a leaning tube's face sees
		// other triangles.
		if square := l.land(node, ground.normal.Mul(-1)); square.ok {
			ground = square
		}
	}
	if !ground.ok {
		p, q, r := sh.Used.Corners(int(hit.Triangle))
		ground.normal = q.Sub(p).Cross(r.Sub(p)).Normalize()
		if ground.normal.Dot(axis) > 0 {
			ground.normal = ground.normal.Mul(-1)
		}
	}
	f.Normal = ground.normal
	f.Angle = math.Asin(min(1, math.Abs(f.Normal.Dot(axis)))) * 180 / math.Pi
	if !ground.ok {
		return f
	}
	below := -ground.height(node) // mm from the node on to the surface
	if down := ground.normal.Dot(axis); down < -0.1 {
		below = ground.height(node) / -down // along the tube
	}
	if sh.Noise >= cleanNoise {
		// Triangles of a noisy scan lie off their own surface; the plane under
		// the tube averages over them.
		f.Error = min(f.Error, math.Abs(ground.at.Sub(node).Dot(f.Normal)))
	}
	if b.Job != nil && b.Job.Mirror != job.None && below > FootError {
		f.Packer = below
	}
	return f
}
