package sample

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"

	"barwright/mesh"
)

// Windows is a set of window openings.
type Windows uint8

// The panes of a coupe.
const (
	SideWindows Windows = 1 << iota // door and quarter windows, both sides
	Windscreen
	RearScreen

	AllWindows = SideWindows | Windscreen | RearScreen
)

// CoupeOptions steer [NewCoupe]. The zero value gives a closed, symmetric body
// of about 200,000 triangles.
type CoupeOptions struct {
	Edge      float64 // grid step, mm: edges are this long on average; 0: from Triangles; 2 to 60
	Triangles int     // wanted number if Edge is 0, met within 3 %; 0: 200,000; 10,000 to 9,000,000
	Open      Windows // panes to leave out
	Skew      float64 // how much wider the right side stands than the left at its widest, mm; 0: symmetric; -50 to 50
}

// Validate reports a figure outside its range.
func (o CoupeOptions) Validate() error {
	switch {
	case o.Edge != 0 && !(o.Edge >= 2 && o.Edge <= 60):
		return fmt.Errorf("coupe: edge %v mm is not within 2 to 60", o.Edge)
	case o.Edge == 0 && o.Triangles != 0 && (o.Triangles < 10_000 || o.Triangles > 9_000_000):
		return fmt.Errorf("coupe: %d triangles are not within 10,000 to 9,000,000", o.Triangles)
	case !(o.Skew >= -50 && o.Skew <= 50):
		return fmt.Errorf("coupe: skew %v mm is not within -50 to 50", o.Skew)
	case o.Open&^AllWindows != 0:
		return fmt.Errorf("coupe: unknown window %#x", uint8(o.Open))
	}
	return nil
}

// Coupe is the stripped interior of an invented two-door coupe, as one sheet
// seen from inside: floor with tunnel, seat cross-member and sills, raked toe
// board and firewall, raked screen between A pillars, crowned roof with rails,
// B pillars, sloping rear screen, raised rear floor with wheel arches and
// damper towers, boot. The cabin reaches from x = 1170 at the firewall to
// x = -720 at the rear axle, the boot to x = -1450; it is 1.37 m wide at the
// doors and 1.15 m high, floor at z = 0. The B pillars stand about x = -20.
type Coupe struct {
	Mesh   *mesh.Mesh // clean, normals into the cabin, mm
	Pane   []Windows  // for each triangle: the pane it belongs to, 0 for metal
	Centre r3.Vector  // a point in open air, mm

	// Inside tells whether p, in mm, is strictly inside the true surface, panes
	// closed. The mesh deviates from it by its chord error only.
	Inside func(p r3.Vector) bool
}

// trianglesTimesStep2 is the number of triangles of a closed coupe times the
// square of the grid step, mm2: twice the area seen along the three axes,
// summed. Measured on a mesh of 1 million; it differs by under 3 % from 10,000
// to 5 million.
const trianglesTimesStep2 = 3.05e7

// NewCoupe builds the coupe. Options that do not validate are a programming
// error and panic.
func NewCoupe(o CoupeOptions) *Coupe {
	if err := o.Validate(); err != nil {
		panic("sample: " + err.Error())
	}
	h := o.Edge
	if h == 0 {
		n := o.Triangles
		if n == 0 {
			n = 200_000
		}
		h = math.Sqrt(trianglesTimesStep2 / float64(n))
	}
	body := body{skew: o.Skew}
	c := &Coupe{
		Mesh:   net(field{body.at, 1.6, bodyBox}, h),
		Centre: r3.Vector{X: 200, Y: 0, Z: 700},
		Inside: func(p r3.Vector) bool { return body.at(p.X, p.Y, p.Z) < 0 },
	}
	kept := c.Mesh.Triangles[:0]
	for i := range c.Mesh.Triangles {
		a, b, d := c.Mesh.Corners(i)
		pane := body.pane((a.X+b.X+d.X)/3, (a.Y+b.Y+d.Y)/3, (a.Z+b.Z+d.Z)/3)
		if pane&o.Open == 0 {
			kept = append(kept, c.Mesh.Triangles[i])
			c.Pane = append(c.Pane, pane)
		}
	}
	c.Mesh.Triangles = kept
	if o.Open != 0 {
		c.Mesh = compact(c.Mesh)
	}
	return c
}

// bodyBox holds the body, skewed or not, mm.
var bodyBox = mesh.Box{
	Min: r3.Vector{X: -1500, Y: -760, Z: -40},
	Max: r3.Vector{X: 1220, Y: 760, Z: 1210},
}

// body is the coupe's field. Every figure in it is invented.
type body struct{ skew float64 }

// smax is the larger of a and b, with the corner where they meet rounded over
// a width of k; smin likewise. They are never steeper than the steeper of the
// two.
func smax(a, b, k float64) float64 {
	d := k - math.Abs(a-b)
	m := max(a, b)
	if d <= 0 {
		return m
	}
	return m + float64(d*d/(4*k))
}

func smin(a, b, k float64) float64 { return -smax(-a, -b, k) }

// bump is 1 at 0, 0 from 1 on, and smooth between.
func bump(t float64) float64 {
	s := 1 - float64(t*t)
	if s <= 0 {
		return 0
	}
	return float64(s * s)
}

// plateau is 1 up to inner, 0 from outer on, smooth between; t >= 0.
func plateau(t, inner, outer float64) float64 {
	s := (outer - t) / (outer - inner)
	switch {
	case s <= 0:
		return 0
	case s >= 1:
		return 1
	}
	return float64(s * s * (3 - float64(2*s)))
}

func sq(v float64) float64 { return float64(v * v) }

// warp maps a place in a skewed body to one in the symmetric one. The right
// side is stretched and the roof twisted.
func (b body) warp(x, y, z float64) (float64, float64, float64) {
	if b.skew != 0 {
		z -= float64(0.4 * b.skew * (y / 685) * (z / 1150))
		if y < 0 {
			y *= 1 - float64(b.skew/685)
		}
	}
	return x, math.Abs(y), z
}

// panels are the distances from the body's large faces, mm, negative inside;
// distances near the face, and only roughly so further away.
type panels struct{ side, upper, roof, rail, screen, pillarA, rear, pillarC float64 }

// panels takes a place in the left half of the symmetric body.
func (b body) panels(x, y, z float64) panels {
	var p panels
	plan := sq(x+50) / 24_000 // bodies narrow towards both ends

	// Doors and quarters: a slight barrel, B pillars and, from the hinge pillars
	// forward, the foot well's sides standing in, a waist rail along the doors.
	pillars := float64(40*plateau(math.Abs(x+20), 55, 130)) +
		float64(40*plateau(max(930-x, 0), 60, 140)) +
		float64(14*bump((z-640)/70)*plateau(math.Abs(x-450), 330, 420))
	p.side = y - (685 - plan - sq(z-420)/3_600 - pillars)

	// Side windows lean in; the B pillar runs on to the roof.
	p.upper = float64(0.956 * (y - (666 - plan - float64(0.30*(z-650)) + sq(z-650)/12_000 -
		float64(30*plateau(math.Abs(x+20), 50, 120)))))

	p.roof = z - (1150 - sq(x+50)/11_000 - sq(y)/5_200)
	p.rail = float64(0.7071*(p.roof+p.upper)) + 46

	p.screen = float64(0.5115*(x-960)) + float64(0.8593*(z-745)) + sq(y)/4_400
	p.pillarA = float64(0.7071*(p.screen+p.upper)) + 40

	p.rear = float64(-0.4348*(x+480)) + float64(0.9005*(z-1108)) + sq(y)/5_000
	p.pillarC = float64(0.7071*(p.rear+p.upper)) + 40
	return p
}

// at is negative in cabin air.
func (b body) at(x, y, z float64) float64 {
	x, y, z = b.warp(x, y, z)
	p := b.panels(x, y, z)

	// The glasshouse, and below it the foot well and the boot, which reach
	// under the cowl and under the boot lid.
	f := smax(p.screen, p.rear, 120)
	f = smax(f, p.roof, 120)
	low := smin(smax(z-700-float64(0.12*(1170-x)), 900-x, 60), smax(z-760-float64(0.08*(x+1450)), x+1100, 60), 30)
	f = smin(f, low, 50)
	f = smax(f, smax(p.side, p.upper, 60), 60)
	f = smax(f, p.rail, 50)
	f = smax(f, smin(p.pillarA, low+15, 50), 50)
	f = smax(f, smin(p.pillarC, low+15, 50), 50)

	// Firewall leaning back, rear panel, floor.
	f = smax(f, float64(0.995*(x-1170))+float64(0.0995*(z-300)), 70)
	f = smax(f, float64(-0.98*(x+1450))+float64(0.199*(z-400)), 90)
	f = smax(f, -z, 40)

	// Toe board.
	f = smax(f, float64(0.806*(x-960))-float64(0.591*z), 70)

	// Tunnel, taller towards the gearbox.
	top := 185.0
	if x > 350 {
		top += sq(x-350) / 5_000
	}
	wide := 150.0
	if x > 500 {
		wide += sq(x-500) / 6_000
	}
	tunnel := smax(z-top, float64(0.958*(y-wide+float64(0.3*z))), 90)
	f = smax(f, -tunnel, 60)

	// Sills and the seats' cross-member.
	f = smax(f, -smax(z-150, float64(0.995*(520-y))-float64(0.0995*z), 40), 40)
	f = smax(f, -smax(z-75, math.Abs(x-330)-60, 50), 50)

	// Heel board and the raised rear floor.
	floor := 200.0
	if x < -600 {
		floor += sq(x+600) / 16_000
	}
	f = smax(f, -smax(z-floor, float64(0.928*(x+400))+float64(0.371*(z-200)), 70), 70)

	// Wheel arches with damper towers on them.
	arch := smax(hypot(x+720, z-110)-330, 450-y, 90)
	tower := smax(hypot(x+700, min(y-540, 0))-105-float64(0.15*(520-z)), z-530, 40)
	f = smax(f, -smin(arch, tower, 60), 50)
	return f
}

// pane tells which window a place on the surface belongs to.
func (b body) pane(x, y, z float64) Windows {
	x, y, z = b.warp(x, y, z)
	p := b.panels(x, y, z)
	const skin = 15 // mm: rounding takes a surface off its panel by up to a quarter of smax's k
	switch {
	case p.upper > -skin && z > 685 && p.rail < -12 && p.pillarA < -12 && p.pillarC < -12:
		door := x > 120 && x < 820
		quarter := x > -720 && x < -160
		if door || quarter {
			return SideWindows
		}
	case p.screen > -skin && p.upper < -90 && p.roof < -55 && z > 790:
		return Windscreen
	case p.rear > -skin && p.upper < -95 && p.roof < -55 && z > 830:
		return RearScreen
	}
	return 0
}
