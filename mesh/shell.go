package mesh

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/golang/geo/r3"
)

// PrepareOptions steer [Prepare].
type PrepareOptions struct {
	Seeds        []r3.Vector // points in open cabin air, mm; at least one
	KeepSuspects bool        // spikes and islands stay in Used; they are listed all the same
	KeepIslands  bool        // islands stay in Used, spikes do not
	Drop         Hardness    // how readily spikes and islands are suspected; 0: DropNormal
	// Reduce is how far, in mm, the surface of Used may be from the scan in exchange
	// for fewer triangles: see [Reduce] and [Shell.Full]. Spikes, islands and noise are
	// judged on the scan before. 0: not reduced.
	Reduce float64
	// Accuracy is one sigma of the scan, mm, as its owner states it. It stands
	// in for the noise where the mesh is too coarse to show it; 0: none then.
	Accuracy float64
	Workers  int // goroutines; 0: GOMAXPROCS. The result does not depend on it.
	// Progress is told what is going on and the share done, 0 to 1; nil is
	// fine. It is called from one goroutine.
	Progress func(stage string, done float64)
}

// Validate reports an option outside its range.
func (o PrepareOptions) Validate() error {
	if len(o.Seeds) == 0 {
		return errors.New("no point inside the cabin is given")
	}
	for _, p := range o.Seeds {
		if !finiteVector(p) {
			return fmt.Errorf("point inside the cabin %s is not finite", placeText(p))
		}
	}
	if !(o.Accuracy >= 0) || math.IsInf(o.Accuracy, 1) {
		return fmt.Errorf("scan accuracy %v mm is not a length", o.Accuracy)
	}
	if !(o.Reduce >= 0) || math.IsInf(o.Reduce, 1) {
		return fmt.Errorf("distance %v mm of the reduced scan is not a length", o.Reduce)
	}
	if int(o.Drop) >= len(suspicions) {
		return fmt.Errorf("unknown hardness %d", o.Drop)
	}
	return nil
}

// Shell is a scan made ready for the fit. It is immutable and safe for
// concurrent readers. Where nothing was removed or added, Used is Raw, and
// arrays are shared wherever they hold the same.
type Shell struct {
	Raw *Mesh // as given: every triangle of the file after welding

	// RawIndex answers for Raw. Where it isn't CertIndex it is made for little
	// memory, and several times slower: it is asked once a bar is fitted.
	RawIndex *Index

	// Used is what the fit must clear: Raw with spikes levelled and without
	// islands (unless they are kept), and behind its triangles the caps. Where
	// it was not reduced, vertices keep their numbers.
	Used  *Mesh
	Index *Index

	// Smooth is Used with the noise filtered out, for solving on; triangles
	// and vertices have the same numbers. nil: the scan is clean.
	Smooth      *Mesh
	SmoothIndex *Index

	// ReducedBy is the proven distance between the surfaces of Used and of
	// what it was reduced from, both ways, mm; 0: not reduced. See Full.
	ReducedBy float64

	// Open is the share, 0 to 1, of the directions from the seeds in which
	// there is no sheet metal: a cap comes first, or nothing.
	Open float64

	Noise    float64   // estimated standard deviation of the vertices, mm
	Suspects []Suspect // spikes by vertex, then islands by area
	Caps     []Cap     // largest first
	Notes    []string  // what the owner of the scan should know, one line each

	sheet int // triangles of Used that are not caps
	air   air
	full  *Shell // nil: not reduced
}

// Full returns the shell as it is without reduction: Used holds every triangle
// of the scan but for suspects that were left out, with the same caps behind
// them, Index answers for that, and there is no Smooth. Everything else is
// shared. A bar fitted to s must be certified against Full; gaps differ by
// ReducedBy at most. Where nothing was reduced, Full returns s.
func (s *Shell) Full() *Shell {
	if s.full == nil {
		return s
	}
	return s.full
}

// CertIndex returns the index that certificates must ask: that of the full
// scan without suspects, caps included. It is Index where nothing was reduced.
// Its triangles are those of Full().Used.
func (s *Shell) CertIndex() *Index { return s.Full().Index }

// IsCap tells whether triangle tri of Used, or of Smooth, is part of a cap.
func (s *Shell) IsCap(tri int32) bool { return int(tri) >= s.sheet }

// cleanNoise is the noise up to which no smoothed copy is made, mm: the fit
// then gains nothing from one.
const cleanNoise = 0.25

// Prepare makes a scan ready for the fit. m should be welded (see [Read]); it
// may be open, holed and unoriented, and have double walls. It must not be
// changed afterwards. A seed that is not in open air inside the shell is an
// error that names it.
func Prepare(ctx context.Context, m *Mesh, opt PrepareOptions) (*Shell, error) {
	if err := opt.Validate(); err != nil {
		return nil, err
	}
	if len(m.Triangles) == 0 {
		return nil, errors.New("the shell has no triangles")
	}
	p := &preparation{ctx: ctx, opt: opt, shell: &Shell{Raw: m}}
	for _, stage := range []struct {
		name string
		done float64 // share of the time when it begins, measured
		run  func() error
	}{
		{"noise", 0, p.look},
		{"sort out", 0.04, p.sortOut},
		{"index", 0.08, p.reduce},
		{"inside", 0.25, p.turn},
		{"reach", 0.4, p.reach},
		{"caps", 0.5, p.close},
		{"finish", 0.73, p.finish},
	} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if opt.Progress != nil {
			opt.Progress(stage.name, stage.done)
		}
		if err := stage.run(); err != nil {
			return nil, err
		}
	}
	if opt.Progress != nil {
		opt.Progress("finish", 1)
	}
	return p.shell, nil
}

// preparation is the state of Prepare between its stages.
type preparation struct {
	ctx   context.Context
	opt   PrepareOptions
	shell *Shell

	edge  float64 // usual length of an edge, mm
	graph *vertexGraph

	sheet  *Mesh // Used without caps
	index  *Index
	across [][3]int32
	smooth []r3.Vector // sheet's vertices without noise; nil: not yet made
	whole  *Mesh       // the sheet before reduction; nil: not reduced

	blocked bitset // voxels too close to the sheet for the ball
	starts  []int32
	first   flooded
	zone    bitset // voxels near the border of the first flood, and near caps
	caps    capMesh
}

func (p *preparation) note(format string, args ...any) {
	p.shell.Notes = append(p.shell.Notes, fmt.Sprintf(format, args...))
}

// look estimates the noise of the raw mesh.
func (p *preparation) look() error {
	s := p.shell
	p.edge = medianEdge(s.Raw)
	p.graph = newVertexGraph(s.Raw, p.opt.Workers)
	noise, ok := estimateNoise(s.Raw, p.graph, p.edge, p.opt.Workers)
	if !ok {
		noise = p.opt.Accuracy
		if noise > 0 {
			p.note("the scan is too coarse to show its noise: %.3g mm taken as stated", noise)
		}
	}
	s.Noise = noise
	return nil
}

// sortOut finds the suspects and leaves them out.
func (p *preparation) sortOut() error {
	s := p.shell
	limits := suspicions[p.opt.Drop]
	loose, ok := islands(s.Raw, limits)
	if !ok {
		p.note("the scan is in pieces: loose bits under %.0f mm are taken for sheet", limits.islandSize)
	}
	sharp := spikes(s.Raw, p.graph, p.edge, s.Noise, limits, p.opt.Workers)
	// A spike on an island goes with it.
	lone := make(map[int32]bool)
	for _, i := range loose {
		for _, t := range i.Triangles {
			lone[t] = true
		}
	}
	sharp = slices.DeleteFunc(sharp, func(k spike) bool { return lone[k.Triangles[0]] })
	keepSpikes := p.opt.KeepSuspects
	keepIslands := keepSpikes || p.opt.KeepIslands
	for _, k := range sharp {
		k.Kept = keepSpikes
		s.Suspects = append(s.Suspects, k.Suspect)
	}
	for _, i := range loose {
		i.Kept = keepIslands
		s.Suspects = append(s.Suspects, i)
	}

	p.sheet = &Mesh{Vertices: s.Raw.Vertices, Triangles: s.Raw.Triangles}
	changed := false
	if len(sharp) > 0 && !keepSpikes {
		changed = true
		p.sheet.Vertices = slices.Clone(s.Raw.Vertices)
		for _, k := range sharp {
			for i, v := range k.vertices {
				p.sheet.Vertices[v] = k.level[i]
			}
		}
	}
	if len(loose) > 0 && !keepIslands {
		changed = true
		p.sheet.Triangles = make([][3]int32, 0, len(s.Raw.Triangles)-len(lone))
		for t, tri := range s.Raw.Triangles {
			if !lone[int32(t)] {
				p.sheet.Triangles = append(p.sheet.Triangles, tri)
			}
		}
	}
	if !changed {
		p.sheet = s.Raw
	}
	return nil
}

// Figures of reduction in Prepare, common practice, no source.
const (
	reduceNoise = 1.0 // with more noise, in units of the bound, it is not tried
	reduceLeast = 0.7 // and not used where more than this share of the triangles is left
)

// reduce makes the sheet lighter where that is asked for, and gets it ready for queries.
func (p *preparation) reduce() error {
	if err := p.lighten(); err != nil {
		return err
	}
	var group sync.WaitGroup
	group.Go(func() { p.index = NewIndex(p.sheet) })
	p.across = acrossEdges(p.sheet)
	group.Wait()
	return nil
}

// lighten replaces the sheet by a reduced one.
func (p *preparation) lighten() error {
	s := p.shell
	bound := p.opt.Reduce
	if bound == 0 {
		return nil
	}
	if s.Noise > reduceNoise*bound {
		p.note("not reduced: the scan's noise of %.2g mm does not fit into %.3g mm", s.Noise, bound)
		return nil
	}
	light, report, err := Reduce(p.sheet, bound, p.opt.Workers)
	if err != nil {
		return err
	}
	if float64(report.To) > reduceLeast*float64(report.From) {
		p.note("not reduced: within %.3g mm, %d of %d triangles would be left", bound, report.To, report.From)
		return nil
	}
	p.note("fitted to %d triangles, within %.3g mm of the scan's %d", report.To, report.Worst, report.From)
	if s.Noise > cleanNoise {
		// Noise is filtered out where its edges are short and even.
		all, err := p.filtered()
		if err != nil {
			return err
		}
		p.smooth = make([]r3.Vector, len(report.Kept))
		for i, v := range report.Kept {
			p.smooth[i] = all[v]
		}
	}
	p.graph = nil
	s.ReducedBy = report.Worst
	p.whole, p.sheet = p.sheet, light
	return nil
}

// filtered returns the sheet's vertices without noise.
func (p *preparation) filtered() ([]r3.Vector, error) {
	return smoothed(p.ctx, p.sheet, p.graph, p.edge, p.opt.Workers)
}

// turn orients the sheet and makes the winding number.
func (p *preparation) turn() error {
	s := p.shell
	patch, flip, count := patches(p.sheet, p.across)
	votes := vote(p.sheet, p.index, patch, flip, count, p.opt.Seeds, p.opt.Workers)
	a := &s.air
	a.wind = newWinding(p.sheet, votes.all, p.opt.Workers)
	mean := p.seedMean(a.wind)
	if mean < enclosedWell {
		views := p.views(a.wind, mean)
		seen := vote(p.sheet, p.index, patch, flip, count, views, p.opt.Workers).seen
		other := newWinding(p.sheet, seen, p.opt.Workers)
		if m := p.seedMean(other); m > mean+enclosedGain {
			a.wind, mean = other, m
			p.note("inside is judged from the surfaces in sight of the cabin's points alone: the body has double walls")
		}
	}
	a.threshold = mean - insideRoom
	lowest, w := r3.Vector{}, math.Inf(1)
	for _, q := range p.opt.Seeds {
		if x := a.wind.at(q); x < w {
			lowest, w = q, x
		}
	}
	if mean < enclosedLeast || w <= a.threshold {
		return fmt.Errorf("point %s is not inside the shell: only %.0f %% of it is enclosed", placeText(lowest), 100*max(0, w))
	}
	return nil
}

// views returns points in the cabin from which more of it is in sight than from
// the seeds: the seeds, and places towards the ends of rays from them. Rays that
// go out through a window lead to where the winding number is another.
func (p *preparation) views(w *winding, mean float64) []r3.Vector {
	views := slices.Clone(p.opt.Seeds)
	for _, q := range p.opt.Seeds {
		for _, dir := range directions(max(4, maxViews/len(p.opt.Seeds))) {
			h, ok := p.index.Ray(q, dir, math.Inf(1))
			if !ok {
				continue
			}
			to := q.Add(dir.Mul(viewShare * h.T))
			if p.index.Closest(to).Distance > 2*ballSize && math.Abs(w.at(to)-mean) < viewRoom {
				views = append(views, to)
			}
		}
	}
	return views
}

func (p *preparation) seedMean(w *winding) float64 {
	sum := 0.0
	for _, q := range p.opt.Seeds {
		sum += w.at(q)
	}
	return sum / float64(len(p.opt.Seeds))
}

// reach fills the cabin with air for the first time.
func (p *preparation) reach() error {
	a := &p.shell.air
	box := Box{p.opt.Seeds[0], p.opt.Seeds[0]}
	for _, q := range p.opt.Seeds {
		box = box.Add(q)
	}
	a.bounds = p.sheet.Bounds()
	a.grid = newVoxels(a.bounds, box.Min.Add(box.Max).Mul(0.5))
	p.blocked = newBitset(a.grid.count())
	a.grid.block(p.blocked, p.sheet, p.index, p.opt.Workers)
	for _, q := range p.opt.Seeds {
		v, ok := p.start(q)
		if !ok {
			h := p.index.Closest(q)
			return fmt.Errorf("point %s is %.1f mm from the shell: no room for a ball of %.0f mm radius around it",
				placeText(q), h.Distance, ballSize)
		}
		p.starts = append(p.starts, v)
	}
	f, err := a.grid.flood(p.ctx, p.starts, p.blocked, func(_ int32, q r3.Vector) float64 { return a.over(q, a.wind.coarse) })
	if err != nil {
		return err
	}
	if f.leak >= 0 {
		return fmt.Errorf("point %s is not inside the shell: the air around it leads out at %s",
			placeText(p.opt.Seeds[0]), placeText(a.grid.centre(a.grid.cell(f.leak))))
	}
	if !a.grid.roomy(f.reached) {
		return fmt.Errorf("point %s is not in open air: it lies in a wall or a pocket", placeText(p.opt.Seeds[0]))
	}
	p.first = f
	return nil
}

// start returns the free voxel from which the flood starts for seed q.
func (p *preparation) start(q r3.Vector) (int32, bool) {
	g := &p.shell.air.grid
	if !g.holds(q) {
		return 0, false
	}
	c := g.at(q)
	best, bestD := int32(-1), math.Inf(1)
	for z := max(c[2]-1, 0); z <= min(c[2]+1, g.n[2]-1); z++ {
		for y := max(c[1]-1, 0); y <= min(c[1]+1, g.n[1]-1); y++ {
			for x := max(c[0]-1, 0); x <= min(c[0]+1, g.n[0]-1); x++ {
				d := [3]int32{x, y, z}
				v := g.number(d)
				to := g.centre(d)
				if e := to.Sub(q).Norm2(); !p.blocked.has(v) && e < bestD {
					if _, hit := p.index.Ray(q, to.Sub(q), 1); !hit {
						best, bestD = v, e
					}
				}
			}
		}
	}
	return best, best >= 0
}

// close caps the holes at the border of the first flood.
func (p *preparation) close() error {
	s := p.shell
	a := &s.air
	if s.Noise <= cleanNoise {
		p.smooth = p.sheet.Vertices
	} else if p.smooth == nil {
		var err error
		if p.smooth, err = p.filtered(); err != nil {
			return err
		}
	}
	p.graph = nil
	p.caps = capMesh{mesh: &Mesh{}}
	p.zone = newBitset(a.grid.count())
	if len(p.first.border) == 0 {
		a.reach = p.first.reached
		return nil
	}
	net := newCapNet(p.sheet, p.index, p.smooth, func(q r3.Vector) float64 { return a.over(q, a.wind.at) }, &a.grid, p.first.border, p.opt.Workers)
	net.keep(&a.grid, p.first.border)
	net.snap(rims(p.sheet, p.across))
	if err := net.fair(p.ctx, s.Noise <= capNoise); err != nil {
		return err
	}
	net.skirts()
	for _, v := range p.first.border {
		p.zone.set(v)
	}
	for range 3 {
		p.zone = a.grid.grown(p.zone)
	}
	// Fairing may have drawn a cap over a seed where a hole's rim lies around
	// it: the winding level never does.
	for _, faired := range [2]bool{true, false} {
		p.caps = net.triangles(faired)
		ok, err := p.refill()
		if err != nil {
			return err
		}
		if ok {
			break
		}
		if !faired {
			return fmt.Errorf("point %s is in a hole of the shell", placeText(p.opt.Seeds[0]))
		}
	}
	return nil
}

// rims returns the open edges of m, as pairs of vertices.
func rims(m *Mesh, across [][3]int32) [][2]int32 {
	var edges [][2]int32
	for t, tri := range m.Triangles {
		for c, u := range across[t] {
			if u == acrossNone {
				edges = append(edges, [2]int32{tri[c], tri[(c+1)%3]})
			}
		}
	}
	return edges
}

// refill fills the cabin with air again, now that holes are capped. false: a
// seed has no air around it any more.
func (p *preparation) refill() (bool, error) {
	a := &p.shell.air
	blocked := slices.Clone(p.blocked)
	zone := slices.Clone(p.zone)
	if len(p.caps.mesh.Triangles) > 0 {
		near := newBitset(a.grid.count())
		a.grid.block(near, p.caps.mesh, NewIndex(p.caps.mesh), p.opt.Workers)
		grown := a.grid.grown(a.grid.grown(near))
		for i := range blocked {
			blocked[i] |= near[i]
			zone[i] |= grown[i]
		}
	}
	for _, v := range p.starts {
		if blocked.has(v) {
			return false, nil
		}
	}
	over := func(v int32, q r3.Vector) float64 {
		if zone.has(v) { // a cap may bulge out of the bounds
			return a.wind.coarse(q) - a.threshold + capRoom
		}
		return a.over(q, a.wind.coarse)
	}
	f, err := a.grid.flood(p.ctx, p.starts, blocked, over)
	if err != nil {
		return false, err
	}
	if f.leak >= 0 || !a.grid.roomy(f.reached) {
		return false, nil
	}
	a.reach, a.nearCap = f.reached, zone
	return true, nil
}

// finish puts the caps behind the sheet and indexes what the fit will ask.
func (p *preparation) finish() error {
	s := p.shell
	s.sheet = len(p.sheet.Triangles)
	s.Caps = p.caps.caps
	s.Used, s.Index = withCaps(p.sheet, p.caps.mesh), p.index
	capped := s.Used != p.sheet
	if capped {
		s.air.wind.m = s.Used // so that the sheet's own arrays may go
	}
	noisy := s.Noise > cleanNoise
	if noisy {
		s.Smooth = &Mesh{Vertices: append(p.smooth, p.caps.mesh.Vertices...), Triangles: s.Used.Triangles}
	}
	s.air.bounds = s.Used.Bounds()
	if p.whole != nil {
		s.full = &Shell{Used: withCaps(p.whole, p.caps.mesh), sheet: len(p.whole.Triangles)}
	}
	p.sheet, p.index, p.across, p.smooth, p.blocked, p.whole = nil, nil, nil, nil, nil, nil
	var group sync.WaitGroup
	if capped {
		group.Go(func() { s.Index = NewIndex(s.Used) })
	}
	if noisy {
		group.Go(func() { s.SmoothIndex = NewIndex(s.Smooth) })
	}
	if f := s.full; f != nil {
		group.Go(func() { f.Index = NewIndex(f.Used) })
	}
	if s.Full().Used != s.Raw {
		group.Go(func() { s.RawIndex = newLeanIndex(s.Raw) })
	}
	a := &s.air
	if a.nearCap == nil {
		a.nearCap = newBitset(a.grid.count())
	}
	a.near = a.grid.nearest(a.reach, p.opt.Workers)
	group.Wait()
	if s.RawIndex == nil {
		s.RawIndex = s.CertIndex()
	}
	s.Open = s.open(p.opt.Seeds)
	if n := len(s.Caps); n > 0 {
		var area float64
		for _, c := range s.Caps {
			area += c.Area
		}
		p.note("%d holes are capped, %.2f m2 in all, the largest %.2f m2 at %s: caps are not sheet metal",
			n, area/1e6, s.Caps[0].Area/1e6, placeText(s.Caps[0].Centre))
	}
	if f := s.full; f != nil {
		f.Raw, f.RawIndex = s.Raw, s.RawIndex
		f.Open, f.Noise, f.Suspects, f.Caps, f.Notes = s.Open, s.Noise, s.Suspects, s.Caps, s.Notes
		f.air = s.air
		f.air.bounds = f.Used.Bounds()
	}
	return nil
}

// withCaps returns a mesh of sheet's triangles and, behind them, those of caps;
// sheet itself where there are none.
func withCaps(sheet, caps *Mesh) *Mesh {
	if len(caps.Triangles) == 0 {
		return sheet
	}
	m := &Mesh{
		Vertices:  slices.Concat(sheet.Vertices, caps.Vertices),
		Triangles: make([][3]int32, 0, len(sheet.Triangles)+len(caps.Triangles)),
	}
	first := int32(len(sheet.Vertices))
	m.Triangles = append(m.Triangles, sheet.Triangles...)
	for _, tri := range caps.Triangles {
		m.Triangles = append(m.Triangles, [3]int32{first + tri[0], first + tri[1], first + tri[2]})
	}
	return m
}

// openRays is the number of directions, shared by the seeds, for Shell.Open:
// the share comes out to about 1 %.
const openRays = 4096

// open returns the share of directions from the seeds in which a cap comes
// first, or nothing.
func (s *Shell) open(seeds []r3.Vector) float64 {
	rays := directions(max(openRays/len(seeds), 64))
	count := 0
	for _, q := range seeds {
		for _, dir := range rays {
			if h, ok := s.Index.Ray(q, dir, math.Inf(1)); !ok || s.IsCap(h.Triangle) {
				count++
			}
		}
	}
	return float64(count) / float64(len(rays)*len(seeds))
}

// placeText prints a point for messages, in whole mm.
func placeText(p r3.Vector) string { return fmt.Sprintf("(%.0f, %.0f, %.0f)", p.X, p.Y, p.Z) }
