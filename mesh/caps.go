package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"

	"github.com/golang/geo/r3"
)

// A Cap closes a hole of the shell where the cabin's air would leave through
// it: not sheet metal, but a guess at where it would be.
type Cap struct {
	Triangles int // of Used; caps lie behind each other, in the order of Shell.Caps
	Area      float64
	Centre    r3.Vector // by area, mm
	Bounds    Box
}

// Figures of caps.
const (
	capStep = 30.0 // of the lattice whose cells hold a cap's vertices, mm; from the study
	capZone = 3    // lattice steps about the flood's border that are looked at
	// capHinge: at a rim where cap and sheet would meet at more than this
	// angle, the cap does not go on in the sheet's direction. (Common
	// practice, no source: panes go on as the sheet around them does, open
	// ends don't.)
	capHinge = 35 * math.Pi / 180
	// capNoise: with more noise than this, mm, a rim's direction can't be made
	// out, and caps are stretched between the rims like a skin: on a body that
	// bulges outward they then lie on the cabin's side of what is missing.
	capNoise = 2.5
	// rimStep: rims are looked at in points this far apart, mm.
	rimStep = 5.0
	// capStandoff keeps parts of a cap that would pass through sheet metal
	// behind it, mm.
	capStandoff = 1.0
)

// capNet builds caps: surface nets of the level at which the winding number
// crosses the threshold, on a lattice of capStep. (Gibson, "Constrained
// elastic surface nets", MICCAI 1998, for the idea of one vertex in every cell
// that the surface crosses; from memory.) Where an edge of the lattice that
// crosses the level meets no sheet, it is in a hole, and the four cells around
// it span a face of a cap. Where it meets the sheet, the faces are the hole's
// collar: they tell a cap in which direction to go on, and are not kept.
type capNet struct {
	sheet  *Mesh
	ix     *Index
	smooth []r3.Vector             // places of sheet's vertices without noise
	over   func(r3.Vector) float64 // winding number less the level

	origin r3.Vector
	n      [3]int32
	values map[int32]float64 // over at the lattice's nodes of the zone

	cells map[int32]int32 // cell to place in verts
	verts []capVertex
	faces []capFace
}

type capVertex struct {
	cell       int32
	at         r3.Vector // now
	level      r3.Vector // where the winding level put it
	open, hits int32     // crossings in holes, and on the sheet
	sumOpen    r3.Vector
	sumHits    r3.Vector
	rim        bool // at an open edge of the sheet
	free       bool // may be moved by fairing
	behind     bool // moved behind the sheet, part of a skirt
}

type capFace struct {
	v    [4]int32
	open bool // in a hole: part of a cap
}

func (c *capNet) number(i [3]int32) int32 { return i[0] + c.n[0]*(i[1]+c.n[1]*i[2]) }

func (c *capNet) indices(v int32) [3]int32 {
	return [3]int32{v % c.n[0], v / c.n[0] % c.n[1], v / c.n[0] / c.n[1]}
}

func (c *capNet) node(i [3]int32) r3.Vector {
	return c.origin.Add(r3.Vector{X: float64(i[0]), Y: float64(i[1]), Z: float64(i[2])}.Mul(capStep))
}

// cellAt returns the cell that holds p, which must lie in the lattice.
func (c *capNet) cellAt(p r3.Vector) ([3]int32, bool) {
	d := p.Sub(c.origin).Mul(1 / capStep)
	f := [3]float64{math.Floor(d.X), math.Floor(d.Y), math.Floor(d.Z)}
	var i [3]int32
	for k := range f {
		if !(f[k] >= 0 && f[k] < float64(c.n[k]-1)) {
			return i, false
		}
		i[k] = int32(f[k])
	}
	return i, true
}

// newCapNet lays the lattice over grid and asks the winding number about the
// border of a flood.
func newCapNet(sheet *Mesh, ix *Index, smooth []r3.Vector, over func(r3.Vector) float64, grid *voxels, border []int32, workers int) *capNet {
	c := &capNet{sheet: sheet, ix: ix, smooth: smooth, over: over,
		origin: grid.origin, values: make(map[int32]float64), cells: make(map[int32]int32)}
	for k := range c.n {
		c.n[k] = int32(math.Ceil(float64(grid.n[k])*voxelSize/capStep)) + 2
	}
	zone := newBitset(int(c.n[0]) * int(c.n[1]) * int(c.n[2]))
	var nodes []int32
	for _, v := range border {
		p := grid.centre(grid.cell(v)).Sub(c.origin).Mul(1 / capStep)
		var lo, hi [3]int32
		for k, x := range [3]float64{p.X, p.Y, p.Z} {
			lo[k] = max(int32(math.Round(x))-capZone, 0)
			hi[k] = min(int32(math.Round(x))+capZone, c.n[k]-1)
		}
		for z := lo[2]; z <= hi[2]; z++ {
			for y := lo[1]; y <= hi[1]; y++ {
				for x := lo[0]; x <= hi[0]; x++ {
					if i := c.number([3]int32{x, y, z}); !zone.has(i) {
						zone.set(i)
						nodes = append(nodes, i)
					}
				}
			}
		}
	}
	slices.Sort(nodes)
	values := make([]float64, len(nodes))
	spread(workers, len(nodes), 256, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			values[i] = over(c.node(c.indices(nodes[i])))
		}
	})
	for i, v := range nodes {
		c.values[v] = values[i]
	}
	c.cross(nodes, workers)
	return c
}

// latticeCrossing is where the level crosses an edge of the lattice.
type latticeCrossing struct {
	at    r3.Vector
	found bool
	open  bool
}

// cross finds the vertices and faces.
func (c *capNet) cross(nodes []int32, workers int) {
	found := make([][3]latticeCrossing, len(nodes))
	spread(workers, len(nodes), 256, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			a := c.indices(nodes[i])
			for k := range 3 {
				b := a
				b[k]++
				w, ok := c.values[c.number(b)]
				if b[k] < c.n[k] && ok {
					found[i][k] = c.edge(c.node(a), c.node(b), c.values[nodes[i]], w)
				}
			}
		}
	})
	for i, v := range nodes {
		a := c.indices(v)
		for k := range 3 {
			x := &found[i][k]
			if !x.found {
				continue
			}
			// The four cells around the edge, in order.
			k1, k2 := (k+1)%3, (k+2)%3
			if a[k1] == 0 || a[k2] == 0 {
				continue
			}
			face := capFace{open: x.open}
			for j, s := range [4][2]int32{{0, 0}, {-1, 0}, {-1, -1}, {0, -1}} {
				cell := a
				cell[k1] += s[0]
				cell[k2] += s[1]
				u := c.vertex(c.number(cell))
				face.v[j] = u
				if x.open {
					c.verts[u].open++
					c.verts[u].sumOpen = c.verts[u].sumOpen.Add(x.at)
				} else {
					c.verts[u].hits++
					c.verts[u].sumHits = c.verts[u].sumHits.Add(x.at)
				}
			}
			if c.values[v] <= 0 {
				slices.Reverse(face.v[:])
			}
			c.faces = append(c.faces, face)
		}
	}
	for i := range c.verts {
		v := &c.verts[i]
		v.level = v.sumOpen.Add(v.sumHits).Mul(1 / float64(v.open+v.hits))
		v.at = v.level
		if v.hits > 0 {
			v.at = v.sumHits.Mul(1 / float64(v.hits))
		}
	}
}

func (c *capNet) vertex(cell int32) int32 {
	u, ok := c.cells[cell]
	if !ok {
		u = int32(len(c.verts))
		c.cells[cell] = u
		c.verts = append(c.verts, capVertex{cell: cell})
	}
	return u
}

// edge finds where the level crosses the edge from p to q.
func (c *capNet) edge(p, q r3.Vector, wp, wq float64) latticeCrossing {
	if (wp > 0) == (wq > 0) {
		return latticeCrossing{}
	}
	// From inside: the first sheet is the cabin's.
	if wp <= 0 {
		p, q, wp, wq = q, p, wq, wp
	}
	if h, ok := c.ix.Ray(p, q.Sub(p), 1); ok {
		return latticeCrossing{at: c.unnoised(h), found: true}
	}
	lo, hi, wlo, whi := 0.0, 1.0, wp, wq
	t := 0.5
	for range 4 { // regula falsi, kept off the ends
		t = lo + (hi-lo)*min(max(wlo/(wlo-whi), 0.1), 0.9)
		if w := c.over(p.Add(q.Sub(p).Mul(t))); w > 0 {
			lo, wlo = t, w
		} else {
			hi, whi = t, w
		}
	}
	return latticeCrossing{at: p.Add(q.Sub(p).Mul(t)), found: true, open: true}
}

// unnoised moves a point of the sheet to where it lies on the smoothed sheet.
func (c *capNet) unnoised(h RayHit) r3.Vector {
	tri := c.sheet.Triangles[h.Triangle]
	a, b, d := c.sheet.Corners(int(h.Triangle))
	n := b.Sub(a).Cross(d.Sub(a))
	n2 := n.Norm2()
	if n2 == 0 {
		return h.Point
	}
	v := h.Point.Sub(a).Cross(d.Sub(a)).Dot(n) / n2
	w := b.Sub(a).Cross(h.Point.Sub(a)).Dot(n) / n2
	u := 1 - v - w
	return c.smooth[tri[0]].Mul(u).Add(c.smooth[tri[1]].Mul(v)).Add(c.smooth[tri[2]].Mul(w))
}

// keep drops the faces of everything that has no part near the flood's border.
func (c *capNet) keep(grid *voxels, border []int32) {
	near := make(map[int32]bool) // cells
	for _, v := range border {
		i, ok := c.cellAt(grid.centre(grid.cell(v)))
		if !ok {
			continue
		}
		for z := i[2] - 1; z <= i[2]+1; z++ {
			for y := i[1] - 1; y <= i[1]+1; y++ {
				for x := i[0] - 1; x <= i[0]+1; x++ {
					near[c.number([3]int32{x, y, z})] = true
				}
			}
		}
	}
	root := c.pieces()
	good := make([]bool, len(c.verts))
	for _, f := range c.faces {
		if f.open && slices.ContainsFunc(f.v[:], func(v int32) bool { return near[c.verts[v].cell] }) {
			good[root[f.v[0]]] = true
		}
	}
	kept := c.faces[:0]
	for _, f := range c.faces {
		if !f.open || good[root[f.v[0]]] {
			kept = append(kept, f)
		}
	}
	c.faces = kept
}

// pieces returns for every vertex the lowest vertex of the cap it is part of.
func (c *capNet) pieces() []int32 {
	root := make([]int32, len(c.verts))
	for i := range root {
		root[i] = int32(i)
	}
	find := func(i int32) int32 {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	for _, f := range c.faces {
		if !f.open {
			continue
		}
		for _, v := range f.v[1:] {
			a, b := find(f.v[0]), find(v)
			root[max(a, b)] = min(a, b)
		}
	}
	for i := range root {
		root[i] = find(int32(i))
	}
	return root
}

// snap puts vertices in cells that hold a rim of the sheet onto the rim.
func (c *capNet) snap(rims [][2]int32) {
	type sum struct {
		p r3.Vector
		n float64
	}
	inCell := make(map[int32]sum)
	for _, e := range rims {
		a, b := c.smooth[e[0]], c.smooth[e[1]]
		n := max(1, math.Ceil(b.Sub(a).Norm()/rimStep))
		for i := 0.5; i < n; i++ {
			p := a.Add(b.Sub(a).Mul(i / n))
			if cell, ok := c.cellAt(p); ok {
				k := c.number(cell)
				if _, ok := c.cells[k]; ok {
					s := inCell[k]
					inCell[k] = sum{s.p.Add(p), s.n + 1}
				}
			}
		}
	}
	for i := range c.verts {
		v := &c.verts[i]
		if v.open == 0 {
			continue
		}
		if s, ok := inCell[v.cell]; ok {
			v.at, v.rim = s.p.Mul(1/s.n), true
		}
	}
	for i := range c.verts {
		v := &c.verts[i]
		v.free = v.hits == 0 && !v.rim
	}
}

// fair moves the free vertices: a skin stretched between the rims, or if stiff a
// thin plate held there, which goes on in the direction of the sheet around
// it where that is nearly its own. Where it would have to pass sheet metal on
// its way it stops behind it.
func (c *capNet) fair(ctx context.Context, stiff bool) error {
	number := make([]int32, len(c.verts)) // among the free ones
	var free []int32
	for i := range c.verts {
		number[i] = -1
		if c.verts[i].free {
			number[i] = int32(len(free))
			free = append(free, int32(i))
		}
	}
	if len(free) == 0 {
		return nil
	}
	around := c.neighbours()
	p := plate{net: c, free: free, number: number, around: around}
	if err := p.membrane(ctx); err != nil {
		return err
	}
	if stiff {
		p.hinges()
		if err := p.bend(ctx); err != nil {
			return err
		}
	}
	for _, i := range free {
		v := &c.verts[i]
		way := v.at.Sub(v.level)
		if h, ok := c.ix.Ray(v.level, way, 1); ok {
			v.at = v.level.Add(way.Mul(max(0, h.T-capStandoff/way.Norm())))
		}
	}
	return nil
}

// neighbours lists for every vertex those it shares a face's edge with, rising.
func (c *capNet) neighbours() [][]int32 {
	around := make([][]int32, len(c.verts))
	for _, f := range c.faces {
		for j, v := range f.v {
			around[v] = append(around[v], f.v[(j+1)%4], f.v[(j+3)%4])
		}
	}
	for i := range around {
		slices.Sort(around[i])
		around[i] = slices.Compact(around[i])
	}
	return around
}

// plate is the linear problem behind fair. Its unknowns are the free
// vertices' places, one coordinate at a time.
type plate struct {
	net    *capNet
	free   []int32
	number []int32
	around [][]int32
	rims   []int32 // fixed vertices where the plate goes on as the sheet does
}

// membrane makes each free vertex the mean of its neighbours.
func (p *plate) membrane(ctx context.Context) error {
	n := len(p.free)
	apply := func(x, y []float64) {
		for i, v := range p.free {
			y[i] = float64(len(p.around[v])) * x[i]
			for _, w := range p.around[v] {
				if k := p.number[w]; k >= 0 {
					y[i] -= x[k]
				}
			}
		}
	}
	diagonal := make([]float64, n)
	for i, v := range p.free {
		diagonal[i] = float64(len(p.around[v]))
	}
	return p.solve(ctx, apply, diagonal, func(get func(int32) float64, right []float64) {
		for i, v := range p.free {
			right[i] = 0
			for _, w := range p.around[v] {
				if p.number[w] < 0 {
					right[i] += get(w)
				}
			}
		}
	})
}

// hinges picks the rims at which the plate goes on as the sheet does.
func (p *plate) hinges() {
	c := p.net
	inside, outside := make([]r3.Vector, len(c.verts)), make([]r3.Vector, len(c.verts))
	for _, f := range c.faces {
		a, b, d, e := c.verts[f.v[0]].at, c.verts[f.v[1]].at, c.verts[f.v[2]].at, c.verts[f.v[3]].at
		n := d.Sub(a).Cross(e.Sub(b))
		for _, v := range f.v {
			if f.open {
				inside[v] = inside[v].Add(n)
			} else {
				outside[v] = outside[v].Add(n)
			}
		}
	}
	for i := range c.verts {
		if c.verts[i].free || inside[i].Norm() == 0 || outside[i].Norm() == 0 {
			continue
		}
		if inside[i].Angle(outside[i]).Radians() < capHinge {
			p.rims = append(p.rims, int32(i))
		}
	}
}

// bend minimises the sum, over free vertices and rims, of the squared distance
// from the mean of their neighbours, from where the vertices are now.
func (p *plate) bend(ctx context.Context) error {
	rows := slices.Concat(p.free, p.rims)
	row := func(v int32, get func(int32) float64) float64 {
		var sum float64
		for _, w := range p.around[v] {
			sum += get(w)
		}
		return sum/float64(len(p.around[v])) - get(v)
	}
	lap := make([]float64, len(rows))
	back := func(y []float64) {
		clear(y)
		for r, v := range rows {
			if k := p.number[v]; k >= 0 {
				y[k] -= lap[r]
			}
			share := lap[r] / float64(len(p.around[v]))
			for _, w := range p.around[v] {
				if k := p.number[w]; k >= 0 {
					y[k] += share
				}
			}
		}
	}
	apply := func(x, y []float64) {
		get := func(v int32) float64 {
			if k := p.number[v]; k >= 0 {
				return x[k]
			}
			return 0
		}
		for r, v := range rows {
			lap[r] = row(v, get)
		}
		back(y)
	}
	diagonal := make([]float64, len(p.free))
	for _, v := range rows {
		if k := p.number[v]; k >= 0 {
			diagonal[k]++
		}
		share := 1 / float64(len(p.around[v]))
		for _, w := range p.around[v] {
			if k := p.number[w]; k >= 0 {
				diagonal[k] += share * share
			}
		}
	}
	return p.solve(ctx, apply, diagonal, func(get func(int32) float64, right []float64) {
		for r, v := range rows {
			lap[r] = -row(v, func(w int32) float64 {
				if p.number[w] >= 0 {
					return 0
				}
				return get(w)
			})
		}
		back(right)
	})
}

// Bounds on the conjugate gradients: places good to plateError, mm, in at most
// plateSteps. A plate of 100 cells across needs a few thousand.
const (
	plateError = 1e-3
	plateSteps = 4000
)

// solve runs conjugate gradients, scaled by the diagonal, for each coordinate,
// from the places of the free vertices, and moves them. (Hestenes, Stiefel,
// 1952; the textbook form.)
func (p *plate) solve(ctx context.Context, apply func(x, y []float64), diagonal []float64, rightSide func(get func(int32) float64, right []float64)) error {
	c := p.net
	n := len(p.free)
	x, r, z, d, q := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	solved := make([][3]float64, n)
	for axis := range 3 {
		get := func(v int32) float64 { return component(&c.verts[v].at, axis) }
		rightSide(get, r)
		for i, v := range p.free {
			x[i] = get(v)
		}
		apply(x, q)
		rho := 0.0
		for i := range r {
			r[i] -= q[i]
			z[i] = r[i] / diagonal[i]
			d[i] = z[i]
			rho += r[i] * z[i]
		}
		for step := 0; step < plateSteps && rho > 0; step++ {
			if step%64 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			apply(d, q)
			curve := 0.0
			for i := range d {
				curve += d[i] * q[i]
			}
			if !(curve > 0) {
				break
			}
			alpha := rho / curve
			worst := 0.0
			next := 0.0
			for i := range x {
				x[i] += alpha * d[i]
				r[i] -= alpha * q[i]
				z[i] = r[i] / diagonal[i]
				next += r[i] * z[i]
				worst = max(worst, math.Abs(z[i]))
			}
			// A plate's stiffness falls with the fourth power of its width: the
			// residual has to be that much smaller than the error.
			if worst < plateError*1e-4 {
				break
			}
			beta := next / rho
			rho = next
			for i := range d {
				d[i] = z[i] + beta*d[i]
			}
		}
		for i := range x {
			solved[i][axis] = x[i]
		}
	}
	for i, v := range p.free {
		c.verts[v].at = r3.Vector{X: solved[i][0], Y: solved[i][1], Z: solved[i][2]}
	}
	return nil
}

// capMesh is caps as triangles.
type capMesh struct {
	mesh *Mesh
	caps []Cap
}

// skirts turns the collar's faces that touch a cap into faces of it, with their
// far vertices moved behind the sheet: they close the slits that a straight
// line between a cap's vertices on the rim leaves open.
func (c *capNet) skirts() {
	capped := make([]bool, len(c.verts))
	out := make([]r3.Vector, len(c.verts))
	for _, f := range c.faces {
		a, b, d, e := c.verts[f.v[0]].at, c.verts[f.v[1]].at, c.verts[f.v[2]].at, c.verts[f.v[3]].at
		n := d.Sub(a).Cross(e.Sub(b)) // faces are turned so that this is away from the cabin
		for _, v := range f.v {
			if f.open {
				capped[v] = true
			} else {
				out[v] = out[v].Add(n)
			}
		}
	}
	for i := range c.faces {
		f := &c.faces[i]
		if f.open || !slices.ContainsFunc(f.v[:], func(v int32) bool { return capped[v] }) {
			continue
		}
		f.open = true
		for _, v := range f.v {
			u := &c.verts[v]
			if capped[v] || u.behind {
				continue
			}
			// In a corner the mean of what the cell's edges hit is off the sheet.
			u.behind = true
			if h, ok := c.ix.ClosestWithin(u.at, capStep); ok {
				u.at = h.Point
			}
			u.at = u.at.Add(out[v].Normalize().Mul(2 * capStandoff))
		}
	}
	// Across a corner a skirt would still cut through the cabin.
	c.faces = slices.DeleteFunc(c.faces, func(f capFace) bool {
		if !f.open || !slices.ContainsFunc(f.v[:], func(v int32) bool { return c.verts[v].behind }) {
			return false
		}
		a, b, d, e := c.verts[f.v[0]].at, c.verts[f.v[1]].at, c.verts[f.v[2]].at, c.verts[f.v[3]].at
		n := d.Sub(a).Cross(e.Sub(b)).Normalize()
		_, hit := c.ix.Ray(a.Add(b).Add(d).Add(e).Mul(0.25), n, capStep/2)
		return hit
	})
}

// triangles returns the caps, largest first; faired tells whether the vertices
// are taken where fairing put them or on the winding level.
func (c *capNet) triangles(faired bool) capMesh {
	root := c.pieces()
	type piece struct {
		faces []capFace
		cap   Cap
		mesh  Mesh
	}
	of := make(map[int32]int)
	var all []piece
	for _, f := range c.faces {
		if !f.open {
			continue
		}
		i, ok := of[root[f.v[0]]]
		if !ok {
			i = len(all)
			of[root[f.v[0]]] = i
			all = append(all, piece{})
		}
		all[i].faces = append(all[i].faces, f)
	}
	for i := range all {
		p := &all[i]
		number := make(map[int32]int32)
		corner := func(v int32) int32 {
			k, ok := number[v]
			if !ok {
				k = int32(len(p.mesh.Vertices))
				number[v] = k
				at := c.verts[v].at
				if !faired && c.verts[v].free {
					at = c.verts[v].level
				}
				p.mesh.Vertices = append(p.mesh.Vertices, at)
			}
			return k
		}
		for _, f := range p.faces {
			q := [4]int32{corner(f.v[0]), corner(f.v[1]), corner(f.v[2]), corner(f.v[3])}
			v := p.mesh.Vertices
			if v[q[0]].Sub(v[q[2]]).Norm2() > v[q[1]].Sub(v[q[3]]).Norm2() {
				q = [4]int32{q[1], q[2], q[3], q[0]}
			}
			for _, tri := range [2][3]int32{{q[0], q[1], q[2]}, {q[0], q[2], q[3]}} {
				a, b, d := v[tri[0]], v[tri[1]], v[tri[2]]
				if area := b.Sub(a).Cross(d.Sub(a)).Norm() / 2; area > 1e-6 {
					p.mesh.Triangles = append(p.mesh.Triangles, tri)
					p.cap.Area += area
					p.cap.Centre = p.cap.Centre.Add(a.Add(b).Add(d).Mul(area / 3))
				}
			}
		}
		p.cap.Triangles = len(p.mesh.Triangles)
		p.cap.Bounds = p.mesh.Bounds()
		if p.cap.Area > 0 {
			p.cap.Centre = p.cap.Centre.Mul(1 / p.cap.Area)
		}
	}
	slices.SortStableFunc(all, func(a, b piece) int { return cmp.Compare(b.cap.Area, a.cap.Area) })
	out := capMesh{mesh: &Mesh{}}
	for _, p := range all {
		if p.cap.Triangles == 0 {
			continue
		}
		first := int32(len(out.mesh.Vertices))
		out.mesh.Vertices = append(out.mesh.Vertices, p.mesh.Vertices...)
		for _, tri := range p.mesh.Triangles {
			out.mesh.Triangles = append(out.mesh.Triangles, [3]int32{first + tri[0], first + tri[1], first + tri[2]})
		}
		out.caps = append(out.caps, p.cap)
	}
	return out
}
