package mesh

import (
	"cmp"
	"math"
	"slices"

	"github.com/golang/geo/r3"
)

// A Suspect is a piece of a scan that is likely not sheet metal.
type Suspect struct {
	Kind      string    // "spike": stands off its surroundings; "island": a loose bit
	Triangles []int32   // of the raw mesh, rising
	At        r3.Vector // tip of a spike, middle of an island, mm
	Size      float64   // diagonal of the bounds, mm
	Area      float64   // mm2
	Height    float64   // spike: how far the tip is off its surroundings, mm; island: 0
	Kept      bool      // part of what the fit must clear, because that was asked for
}

// The kinds of suspects.
const (
	Spike  = "spike"
	Island = "island"
)

// Hardness says how readily pieces of a scan are suspected.
type Hardness uint8

// The grades of hardness.
const (
	DropNormal Hardness = iota
	DropHard            // also larger islands, lower and blunter spikes: brackets of the body may be among them
)

// suspicion are the limits that make a suspect.
type suspicion struct {
	islandSize  float64 // an island is less than this across, mm
	islandShare float64 // with more than this share of the area in loose bits the scan is in pieces
	spikeHeight float64 // lowest spike, mm
	spikeSigmas float64 // and in units of the noise
	spikeSteep  float64 // lowest ratio of height to the radius of the foot
	spikeClear  float64 // the height is at least this many times the roughness around it
}

// suspicions has the limits of each Hardness. From the feasibility study: the
// two heights and the size of DropNormal. The rest is common practice, no
// source: it tells a spike from a crease, a corner or a boss of the body.
var suspicions = [...]suspicion{
	DropNormal: {islandSize: 120, islandShare: 0.2, spikeHeight: 6, spikeSigmas: 6, spikeSteep: 0.5, spikeClear: 6},
	DropHard:   {islandSize: 300, islandShare: 0.4, spikeHeight: 3, spikeSigmas: 5, spikeSteep: 0.35, spikeClear: 5},
}

// More figures for spikes, common practice, no source.
const (
	spikeLook     = 0.4 // a vertex this share of the height off its neighbours' mean is looked at
	spikeShare    = 0.3 // at most this share of the surroundings may stand off
	spikeVertices = 40  // and it has at most so many vertices
)

// islands returns the loose bits of m as suspects. ok is false where loose
// bits make up so much of the mesh that they can't be dirt.
func islands(m *Mesh, limits suspicion) (found []Suspect, ok bool) {
	parts := Components(m)
	var total, loose float64
	for i, c := range parts {
		total += c.Area
		if i == 0 || c.Size >= limits.islandSize {
			continue
		}
		loose += c.Area
		found = append(found, Suspect{
			Kind:      Island,
			Triangles: slices.Clone(c.Triangles),
			At:        c.Bounds.Min.Add(c.Bounds.Max).Mul(0.5),
			Size:      c.Size,
			Area:      c.Area,
		})
	}
	if loose > limits.islandShare*total {
		return nil, false
	}
	return found, true
}

// spike is a spike and how to level it.
type spike struct {
	Suspect
	vertices []int32     // of the mesh, rising
	level    []r3.Vector // where they would lie if the sheet went on under the spike, mm
}

// spikes returns the spikes of m, in the order of their first vertex. edge is
// the mesh's usual edge length, sigma its noise, both mm.
func spikes(m *Mesh, g *vertexGraph, edge, sigma float64, limits suspicion, workers int) []spike {
	high := max(limits.spikeSigmas*sigma, limits.spikeHeight)
	// The surroundings must reach well beyond the noise for a plane through
	// them to mean anything.
	rings := 3
	if edge > 0 {
		rings = min(max(3, int(math.Ceil(max(20, 5*sigma)/edge))), 10)
	}
	const chunk = 1 << 12
	n := len(m.Vertices)
	part := make([][]spike, (n+chunk-1)/chunk)
	spread(workers, len(part), 1, func(lo, hi int) {
		a := around{m: m, g: g, limits: limits}
		for c := lo; c < hi; c++ {
			for v := c * chunk; v < min((c+1)*chunk, n); v++ {
				if s, ok := a.spike(int32(v), rings, high); ok {
					part[c] = append(part[c], s)
				}
			}
		}
	})
	// A spike of several vertices has been found from several of them: the
	// tallest account stands.
	all := slices.Concat(part...)
	slices.SortStableFunc(all, func(a, b spike) int { return cmp.Compare(b.Height, a.Height) })
	taken := make(map[int32]bool)
	found := all[:0]
	for _, s := range all {
		if slices.ContainsFunc(s.vertices, func(v int32) bool { return taken[v] }) {
			continue
		}
		for _, v := range s.vertices {
			taken[v] = true
		}
		found = append(found, s)
	}
	slices.SortFunc(found, func(a, b spike) int { return cmp.Compare(a.vertices[0], b.vertices[0]) })
	of := make(map[int32]int)
	for i, s := range found {
		for _, v := range s.vertices {
			of[v] = i
		}
	}
	if len(found) > 0 {
		boxes := make([]Box, len(found))
		for t, tri := range m.Triangles {
			for _, v := range tri {
				i, ok := of[v]
				if !ok || has(found[i].Triangles, int32(t)) {
					continue
				}
				s := &found[i]
				p, q, r := m.Corners(t)
				if len(s.Triangles) == 0 {
					boxes[i] = Box{p, p}
				}
				boxes[i] = boxes[i].Add(p).Add(q).Add(r)
				s.Triangles = append(s.Triangles, int32(t))
				s.Area += q.Sub(p).Cross(r.Sub(p)).Norm() / 2
			}
		}
		for i := range found {
			found[i].Size = boxes[i].Size().Norm()
		}
	}
	return slices.DeleteFunc(found, func(s spike) bool { return s.panel(limits) })
}

// panel tells whether what looks like a spike is too broad to be one: on a
// coarse mesh a corner of a body panel stands out of its neighbours' plane as
// well. Sheet metal is never left out on such grounds.
func (s *spike) panel(limits suspicion) bool {
	broad := limits.islandSize
	return s.Size > broad+s.Height || s.Area > 4*broad*(broad+s.Height)
}

// has tells whether t is the last of ts.
func has(ts []int32, t int32) bool { return len(ts) > 0 && ts[len(ts)-1] == t }

// around looks at the surroundings of vertices. It keeps its memory from one
// to the next.
type around struct {
	m      *Mesh
	g      *vertexGraph
	limits suspicion // for spikes

	vertices []int32     // in order of rings about the first
	ring     []int32     // for each: the ring it lies in
	at       []r3.Vector // for each: its place
	use      []bool
	off      []float64 // for each: how far it is off the fit
	work     []float64
	number   map[int32]int32 // vertex to its place in vertices
	edges    [][2]int32      // pairs of places
}

// gather collects the rings about v, up to and including the given one, at
// most limit vertices (a ring that was begun is finished).
func (a *around) gather(v int32, rings, limit int) {
	if a.number == nil {
		a.number = make(map[int32]int32)
	}
	clear(a.number)
	a.vertices, a.ring, a.at = a.vertices[:0], a.ring[:0], a.at[:0]
	add := func(v, ring int32) {
		a.number[v] = int32(len(a.vertices))
		a.vertices = append(a.vertices, v)
		a.ring = append(a.ring, ring)
		a.at = append(a.at, a.m.Vertices[v])
	}
	add(v, 0)
	for i := 0; i < len(a.vertices); i++ {
		next := a.ring[i] + 1
		if int(next) > rings || len(a.vertices) > limit && next > a.ring[len(a.ring)-1] {
			break
		}
		for _, w := range a.g.of(a.vertices[i]) {
			w = vertexOf(w)
			if _, ok := a.number[w]; !ok {
				add(w, next)
			}
		}
	}
	n := len(a.vertices)
	a.use = slices.Grow(a.use[:0], n)[:n]
	a.off = slices.Grow(a.off[:0], n)[:n]
	a.work = slices.Grow(a.work[:0], n)[:n]
}

// scale returns the usual size of off: the median, made to agree with sigma
// where it is noise.
func (a *around) scale(from int) float64 {
	a.work = a.work[:0]
	for i := from; i < len(a.off); i++ {
		a.work = append(a.work, math.Abs(a.off[i]))
	}
	return normalMedian * quantile(a.work, 0.5)
}

// normalMedian is sigma over the median of |x| for a normal distribution:
// 1 / 0.67449.
const normalMedian = 1.4826

// spike tells whether v is the tip of a spike.
func (a *around) spike(v int32, rings int, high float64) (spike, bool) {
	l := a.g.of(v)
	if len(l) < 3 {
		return spike{}, false
	}
	var mean r3.Vector
	for _, w := range l {
		mean = mean.Add(a.m.Vertices[vertexOf(w)])
	}
	mean = mean.Mul(1 / float64(len(l)))
	if a.m.Vertices[v].Sub(mean).Norm() < spikeLook*high {
		return spike{}, false
	}
	a.gather(v, rings, 400)
	n := len(a.vertices)
	last := a.ring[n-1]
	if n < 12 || last < 2 {
		return spike{}, false
	}

	// A plane through the surroundings, without v and its neighbours at first,
	// then without what stands off.
	for i := range a.use {
		a.use[i] = a.ring[i] >= 2
	}
	var fit localFit
	var rough float64
	for range 5 {
		var ok bool
		if fit, ok = planeFit(a.at, a.use); !ok {
			return spike{}, false
		}
		for i, p := range a.at {
			a.off[i] = fit.off(p)
		}
		rough = a.scale(1)
		limit := max(2.5*rough, 1e-6*fit.scale)
		for i := range a.use {
			a.use[i] = math.Abs(a.off[i]) <= limit
		}
	}
	if math.Abs(a.off[0]) < max(high/2, a.limits.spikeClear/2*rough) {
		return spike{}, false
	}
	// The same with a curved surface: sheet metal around a spike may be bent.
	for range 2 {
		if !fit.bend(a.at, a.use) {
			return spike{}, false
		}
		for i, p := range a.at {
			a.off[i] = fit.off(p)
		}
		rough = a.scale(1)
		limit := max(3*rough, 1e-6*fit.scale)
		for i := range a.use {
			a.use[i] = math.Abs(a.off[i]) <= limit
		}
	}
	tip := math.Abs(a.off[0])
	if tip < high || tip < a.limits.spikeClear*rough {
		return spike{}, false
	}

	// What stands off together with v, the same way, must end before the
	// surroundings do.
	out := max(high/2, 4*rough)
	sign := math.Copysign(1, a.off[0])
	cluster := []int32{0}
	for i := range a.use {
		a.use[i] = i == 0
	}
	for i := 0; i < len(cluster); i++ {
		for _, w := range a.g.of(a.vertices[cluster[i]]) {
			k, ok := a.number[vertexOf(w)]
			if !ok {
				return spike{}, false
			}
			if a.use[k] || sign*a.off[k] < out {
				continue
			}
			if a.ring[k] == last || sign*a.off[k] > tip {
				return spike{}, false // goes on, or v is not the tip
			}
			a.use[k] = true
			cluster = append(cluster, k)
		}
	}
	if len(cluster) > spikeVertices || float64(len(cluster)) > spikeShare*float64(n) {
		return spike{}, false
	}
	// Its foot: the vertices around the cluster.
	var foot, flat []r3.Vector
	for _, i := range cluster {
		for _, w := range a.g.of(a.vertices[i]) {
			if k := a.number[vertexOf(w)]; !a.use[k] {
				foot = append(foot, a.at[k])
			}
		}
	}
	var middle r3.Vector
	for _, p := range foot {
		d := p.Sub(fit.origin)
		d = d.Sub(fit.n.Mul(d.Dot(fit.n)))
		flat = append(flat, d)
		middle = middle.Add(d)
	}
	if len(foot) < 3 {
		return spike{}, false
	}
	middle = middle.Mul(1 / float64(len(foot)))
	var radius float64
	for _, d := range flat {
		radius = max(radius, d.Sub(middle).Norm())
	}
	if tip < a.limits.spikeSteep*radius {
		return spike{}, false
	}

	slices.SortFunc(cluster, func(i, j int32) int { return cmp.Compare(a.vertices[i], a.vertices[j]) })
	s := spike{Suspect: Suspect{Kind: Spike, At: a.at[0], Height: tip}}
	for _, i := range cluster {
		d := a.at[i].Sub(fit.origin)
		d = d.Sub(fit.n.Mul(d.Dot(fit.n)))
		if e := d.Sub(middle); e.Norm() > radius {
			d = middle.Add(e.Mul(radius / e.Norm())) // leans over its foot
		}
		p := fit.origin.Add(d)
		s.vertices = append(s.vertices, a.vertices[i])
		s.level = append(s.level, p.Sub(fit.n.Mul(fit.off(p))))
	}
	return s, true
}

// Figures for noise.
const (
	noiseSamples  = 1500
	noiseVertices = 20    // fewest vertices of a patch
	noiseRadius   = 25.0  // least radius of a patch, mm
	noiseReach    = 120.0 // largest one, mm: beyond it body panels are no longer a quadric
	noiseKnown    = 0.05  // least share of patches that must have given an answer
	noiseQuantile = 0.25  // creases and seams raise a patch's figure, never lower it
)

// estimateNoise returns the standard deviation, in mm, of m's vertices about
// the smooth surface they were taken from. false: the mesh is too coarse to
// tell.
//
// About vertices spread over the area, a patch of at least noiseVertices is
// fitted with a quadric. The patch's figure is the smaller of the residuals'
// standard deviation and what the differences across edges say: noise differs
// from vertex to vertex, a seam or a crease that the quadric can't follow does
// so along one direction only. Of all patches, a low quantile counts.
func estimateNoise(m *Mesh, g *vertexGraph, edge float64, workers int) (sigma float64, ok bool) {
	if len(m.Triangles) == 0 || edge <= 0 {
		return 0, false
	}
	centres := areaSamples(m, noiseSamples)
	for round := 0; ; round++ {
		radius := min(max(3*edge, noiseRadius, 8*sigma), noiseReach)
		figures := make([]float64, len(centres))
		spread(workers, len(centres), 32, func(lo, hi int) {
			a := around{m: m, g: g}
			for i := lo; i < hi; i++ {
				figures[i] = a.noise(centres[i], radius)
			}
		})
		known := figures[:0]
		for _, f := range figures {
			if f >= 0 {
				known = append(known, f)
			}
		}
		if float64(len(known)) < noiseKnown*float64(len(centres)) || len(known) == 0 {
			return 0, false
		}
		sigma = quantile(known, noiseQuantile)
		if round == 2 || 8*sigma <= radius || radius == noiseReach {
			return sigma, true
		}
	}
}

// areaSamples returns at most n vertices, one on each of n equal shares of m's
// area, repeats left out.
func areaSamples(m *Mesh, n int) []int32 {
	area := func(t int) float64 {
		a, b, c := m.Corners(t)
		return b.Sub(a).Cross(c.Sub(a)).Norm()
	}
	var total float64
	for t := range m.Triangles {
		total += area(t)
	}
	var samples []int32
	var sum float64
	for t := range m.Triangles {
		sum += area(t)
		if float64(len(samples))+0.5 < sum/total*float64(n) {
			for float64(len(samples))+0.5 < sum/total*float64(n) {
				samples = append(samples, m.Triangles[t][0])
			}
		}
	}
	slices.Sort(samples)
	return slices.Compact(samples)
}

// noise returns the figure of the patch about v, mm; negative: no answer.
func (a *around) noise(v int32, radius float64) float64 {
	a.gatherBall(v, radius, 600)
	if len(a.vertices) < noiseVertices {
		return -1
	}
	for i := range a.use {
		a.use[i] = true
	}
	var fit localFit
	used := len(a.use)
	for round := range 3 {
		var ok bool
		if fit, ok = planeFit(a.at, a.use); !ok || !fit.bend(a.at, a.use) {
			return -1
		}
		for i, p := range a.at {
			a.off[i] = fit.off(p)
		}
		if round == 2 {
			break
		}
		// Spikes and the like must not count.
		limit := 4 * a.scale(0)
		used = 0
		for i := range a.use {
			a.use[i] = math.Abs(a.off[i]) <= limit
			if a.use[i] {
				used++
			}
		}
		if used < noiseVertices/2 {
			return -1
		}
	}
	var sum float64
	for i, use := range a.use {
		if use {
			sum += a.off[i] * a.off[i]
		}
	}
	deviation := math.Sqrt(sum / float64(used-6))
	a.work = a.work[:0]
	for _, e := range a.edges {
		if a.use[e[0]] && a.use[e[1]] {
			a.work = append(a.work, math.Abs(a.off[e[0]]-a.off[e[1]]))
		}
	}
	if len(a.work) < noiseVertices {
		return -1
	}
	// A difference of two has sqrt 2 times their deviation; the fit has taken
	// 6 of the patch's degrees of freedom.
	differences := normalMedian * quantile(a.work, 0.5) / math.Sqrt2 *
		math.Sqrt(float64(used)/float64(used-6))
	return min(deviation, differences)
}

// gatherBall collects the vertices within radius of v that hang together with
// it, at most limit of them, and the edges between them.
func (a *around) gatherBall(v int32, radius float64, limit int) {
	if a.number == nil {
		a.number = make(map[int32]int32)
	}
	clear(a.number)
	centre := a.m.Vertices[v]
	a.vertices, a.at, a.edges = append(a.vertices[:0], v), append(a.at[:0], centre), a.edges[:0]
	a.number[v] = 0
	for i := 0; i < len(a.vertices); i++ {
		for _, w := range a.g.of(a.vertices[i]) {
			w = vertexOf(w)
			k, ok := a.number[w]
			if !ok {
				if len(a.vertices) >= limit || a.m.Vertices[w].Sub(centre).Norm() > radius {
					continue
				}
				k = int32(len(a.vertices))
				a.number[w] = k
				a.vertices = append(a.vertices, w)
				a.at = append(a.at, a.m.Vertices[w])
			}
			if int(k) > i {
				a.edges = append(a.edges, [2]int32{int32(i), k})
			}
		}
	}
	n := len(a.vertices)
	a.use = slices.Grow(a.use[:0], n)[:n]
	a.off = slices.Grow(a.off[:0], n)[:n]
	a.work = slices.Grow(a.work[:0], n)[:n]
}
