package fit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"sync"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit/job"
	"barwright/fit/tube"
	"barwright/mesh"
)

// Options steers Fit. The zero value is good.
type Options struct {
	// Workers is how many runs go on at once. 0: runtime.GOMAXPROCS(0). The
	// result does not depend on it.
	Workers int
	// Starts is how many starts each hugging bar gets. 0: chosen by the bar's
	// freedom, see defaultStarts.
	Starts int
	// From, if not nil, is an earlier result for much the same job, from which
	// bars of the same name start: a refit. A bar that ends badly from there is
	// fitted anew.
	From *Cage
	// Keepouts holds the meshes that the job's keep-outs name, by the name as
	// written in the job.
	Keepouts map[string]*mesh.Mesh
	// Progress, if not nil, is told what has been done. It is called from one
	// goroutine at a time.
	Progress func(Event)
}

// Event is a step of progress.
type Event struct {
	Stage       string // what is going on, in a few words
	Bar         string // the bar it is about; "" if none
	Done, Total int    // bars
}

// Seeds returns points that should lie in open cabin air: the job's own, or
// the centre of all sketches. Bars that are to be sketched yet count with the
// points they give; box, the bounds of the shell, stands in for what they leave
// open.
func Seeds(j *job.Job, box mesh.Box) []r3.Vector {
	if j.Shell.Inside != nil {
		return []r3.Vector{*j.Shell.Inside}
	}
	middle := box.Min.Add(box.Max).Mul(0.5)
	var all []r3.Vector
	for i := range j.Bars {
		b := &j.Bars[i]
		points := b.Sketch
		switch {
		case len(points) > 0:
		case b.Station != nil:
			points = []r3.Vector{{X: *b.Station, Z: middle.Z}}
		case b.Follow != nil:
			points = b.Follow[:]
		}
		all = append(all, points...)
		if b.Mirror == job.Pair {
			for _, p := range points {
				all = append(all, mirrorY(p))
			}
		}
	}
	if len(all) == 0 {
		return []r3.Vector{middle}
	}
	return []r3.Vector{centroid(all)}
}

// sketch makes the sketches of bars that only say where they run, in a copy of
// the job's bars.
func sketch(j *job.Job, sh *mesh.Shell) (*job.Job, error) {
	out := *j
	out.Bars = append([]job.Bar(nil), j.Bars...)
	made := false
	for i := range out.Bars {
		b := &out.Bars[i]
		if len(b.Sketch) > 0 {
			continue
		}
		made = true
		s := Sketcher{Shell: sh, Inside: Seeds(j, sh.Raw.Bounds())[0], Offset: b.Tube.OD/2 + b.Clearance}
		var err error
		switch {
		case b.Station != nil:
			// The hoop stays in its plane, upright if no lean is given.
			if b.Lean == nil {
				b.Lean = new(s1.Angle)
			}
			b.Flat = true
			b.Sketch, err = s.Station(*b.Station, b.Lean.Radians(), b.Bends)
		case b.Follow != nil:
			b.Sketch, err = s.Follow(b.Follow[0], b.Follow[1], b.Bends)
		default:
			err = errors.New("it has no sketch")
		}
		if err != nil {
			return nil, fmt.Errorf("bar %q: %w", b.Name, err)
		}
	}
	if made {
		return &out, out.Finish()
	}
	return &out, nil
}

// Fit moves every bar of the job from its sketch to where it hugs the shell at
// its clearance, within what its die can bend, and returns them all. A bar for
// which that cannot be done is in the result as near as it came, with the
// constraints that block it. Errors are a context that ended and a job that
// contradicts itself.
func Fit(ctx context.Context, j *job.Job, sh *mesh.Shell, opt Options) (*Cage, error) {
	workers := opt.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	j, err := sketch(j, sh)
	if err != nil {
		return nil, err
	}
	levels := j.Order()
	f := &fitter{
		job: j, shell: sh, full: sh.Full(), opt: opt, gate: make(chan struct{}, workers),
		done: map[string]*Bar{}, keepouts: map[string]*mesh.Index{}, total: len(j.Bars),
	}
	if sh.SmoothIndex != nil {
		f.doubt = doubt(sh.Used, sh.Noise)
	}
	for i := range j.Keepouts {
		name := j.Keepouts[i].Mesh
		if name == "" || f.keepouts[name] != nil {
			continue
		}
		m := opt.Keepouts[name]
		if m == nil {
			return nil, fmt.Errorf("keep-out %q: its mesh %q was not read", j.Keepouts[i].Name, name)
		}
		f.keepouts[name] = mesh.NewIndex(m)
	}
	for _, level := range levels {
		if err := f.level(ctx, level); err != nil {
			return nil, err
		}
	}
	cage := &Cage{
		Title: j.Title,
		Shell: ShellInfo{File: j.Shell.File, Triangles: len(sh.Raw.Triangles), Unit: j.Shell.Unit, Clearance: j.Shell.Clearance, Noise: sh.Noise, Suspects: len(sh.Suspects)},
	}
	for i := range j.Bars {
		b := f.done[j.Bars[i].Name]
		cage.Bars = append(cage.Bars, b)
		if twin := f.done[b.Name+job.MirrorSuffix]; j.Bars[i].Mirror == job.Pair && twin != nil {
			cage.Bars = append(cage.Bars, twin)
		}
	}
	return cage, nil
}

// fitter is one run of Fit.
type fitter struct {
	job      *job.Job
	shell    *mesh.Shell
	full     *mesh.Shell // the same without reduction: what certificates ask
	opt      Options
	gate     chan struct{} // as many as may run at once
	keepouts map[string]*mesh.Index
	doubt    float64 // mm, see doubtfulField

	mu    sync.Mutex
	done  map[string]*Bar
	count int
	total int
}

// level fits bars that do not depend on each other.
func (f *fitter) level(ctx context.Context, bars []int) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	errs := make([]error, len(bars))
	results := make([]*Bar, len(bars))
	costs := make([][2]float64, len(bars))
	var wg sync.WaitGroup
	for k, i := range bars {
		wg.Add(1)
		go func() {
			defer wg.Done()
			results[k], costs[k], errs[k] = f.bar(ctx, &f.job.Bars[i])
			if errs[k] != nil {
				cancel()
				return
			}
			f.mu.Lock()
			defer f.mu.Unlock()
			f.count++
			if f.opt.Progress != nil {
				f.opt.Progress(Event{Stage: "fitted", Bar: results[k].Name, Done: f.count, Total: f.total})
			}
		}()
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	for k, b := range results {
		f.done[b.Name] = b
		b.Symmetry = costs[k][0]
		if b.Job.Mirror == job.Pair {
			twin := b.mirror(f.job)
			twin.Symmetry = costs[k][1]
			Evaluate(twin, f.shell, f.job.Shell.LandingAngle)
			f.done[twin.Name] = twin
		}
	}
	return nil
}

// mirror returns the second bar of a pair.
func (b *Bar) mirror(j *job.Job) *Bar {
	t := *b
	t.Name = b.Name + job.MirrorSuffix
	t.Mirrored, t.MirrorOf = true, b.Name
	t.Path = b.Path.Mirrored()
	t.Table = t.Tube.Table(t.Path)
	for e, end := range t.Ends {
		if end.Kind == job.Landed {
			t.Ends[e].Onto = j.MirrorName(end.Onto)
		}
	}
	t.Blocking = nil
	for _, block := range b.Blocking {
		block.At = mirrorY(block.At)
		t.Blocking = append(t.Blocking, block)
	}
	t.Gap.Contacts = nil
	for _, c := range b.Gap.Contacts {
		t.Gap.Contacts = append(t.Gap.Contacts, mirrorY(c))
	}
	return &t
}

func (f *fitter) requirement(b *job.Bar) Requirement {
	return (&Bar{Tube: b.Tube, Ends: b.Ends, Clearance: b.Clearance}).Requirement(f.job.Shell.LandingAngle, f.shell.Noise)
}

// problem sets up one bar.
func (f *fitter) problem(b *job.Bar) (*problem, error) {
	req := f.requirement(b)
	p := &problem{
		bar: b, sketch: b.Sketch, kept: indices(len(b.Sketch)), tube: req.Radius, clearance: b.Clearance, allowance: req.FootAllowance,
		landing: math.Sin(f.job.Shell.LandingAngle.Radians()), stick: b.Tube.Stick, hug: b.Hug, corner: meantForCorner(b), window: windowMost,
		maxHalf: math.Pi / 2 * 0.95, gate: f.gate,
	}
	if d := b.Tube.Die; d != nil {
		p.radius, p.grip, p.tail = d.CLR, d.Grip, d.Tail
		p.maxHalf = math.Min(p.maxHalf, d.MaxAngle.Radians()/2)
	}
	for e, end := range b.Ends {
		if end.Kind != job.Landed {
			continue
		}
		target := f.done[end.Onto]
		if target == nil {
			return nil, fmt.Errorf("bar %q: it lands on %q, which is not there", b.Name, end.Onto)
		}
		p.targets[e] = target.Path
	}
	f.shells(p, f.full.Used, f.full.Index)
	for i := range f.job.Keepouts {
		k := &f.job.Keepouts[i]
		field := keepoutField(k, f.keepouts[k.Mesh])
		if field == nil {
			continue
		}
		p.solids = append(p.solids, field)
		p.names = append(p.names, k.Name)
		if b.Mirror == job.Pair {
			p.solids = append(p.solids, mirrored{field})
			p.names = append(p.names, k.Name)
		}
	}
	return p, nil
}

func indices(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}

// meantForCorner tells whether a bar runs along one side of the car, so that it
// may belong into the corner of side and roof.
func meantForCorner(b *job.Bar) bool {
	if !b.Hug || b.Flat || b.Mirror == job.Self {
		return false
	}
	side := 0
	for _, p := range b.Sketch {
		switch {
		case p.Y > offMiddle:
			side++
		case p.Y < -offMiddle:
			side--
		}
	}
	return side == len(b.Sketch) || side == -len(b.Sketch)
}

// offMiddle is how far off the car's middle all nodes of a side's bar are, mm.
const offMiddle = 150

// shells points the problem at a surface.
func (f *fitter) shells(p *problem, m *mesh.Mesh, index *mesh.Index) {
	var s field = &shellField{shell: f.shell, index: index}
	if index == f.full.Index && f.shell.SmoothIndex != nil {
		s = &doubtfulField{
			scan:   shellField{shell: f.shell, index: index},
			smooth: shellField{shell: f.shell, index: f.shell.SmoothIndex},
			extra:  f.doubt,
		}
	}
	p.shells = []field{s}
	if p.bar.Mirror == job.Pair {
		p.shells = append(p.shells, mirrored{s})
	}
	p.land = (&lander{shell: f.shell, mesh: m, index: index, tube: p.tube}).land
}

// defaultStarts is how many starts a bar with n unknowns gets.
func defaultStarts(n int) int { return max(4, min(n/2, 8)) }

// bar fits one bar of the job. costs is what symmetry costs either side of a
// pair.
func (f *fitter) bar(ctx context.Context, b *job.Bar) (fitted *Bar, costs [2]float64, err error) {
	p, err := f.problem(b)
	if err != nil {
		return nil, costs, err
	}
	out := &Bar{Name: b.Name, Job: b, Tube: b.Tube, Ends: b.Ends, Clearance: b.Clearance}
	nodes := b.Sketch
	if !b.Fixed {
		s, err := f.solve(ctx, p)
		if err != nil {
			return nil, costs, err
		}
		if costs, err = f.symmetry(ctx, p, s); err != nil {
			return nil, costs, err
		}
		nodes = s.nodes
		out.Solved, out.Kept = true, p.kept
		out.Blocking = s.blockers(tolerated)
		t := p.tighten(s.e)
		out.Gap.Gain, out.Gap.Residual, out.Gap.Contacts = t.gain, t.residual, t.contacts
	}
	out.Path, err = bendable(nodes, p.radius)
	if err != nil {
		return nil, costs, fmt.Errorf("bar %q: %w", b.Name, err)
	}
	out.Table = b.Tube.Table(out.Path)
	Evaluate(out, f.shell, f.job.Shell.LandingAngle)
	return out, costs, nil
}

// symmetry tells what it costs a pair that one bend program serves both sides:
// by how much the mean gap of either side falls when it moves on alone.
func (f *fitter) symmetry(ctx context.Context, p *problem, s *solution) (costs [2]float64, err error) {
	if p.bar.Mirror != job.Pair || !p.hug || s.e.violation > tolerated {
		return costs, nil
	}
	f.gate <- struct{}{}
	defer func() { <-f.gate }()
	req := f.requirement(p.bar)
	mean := func(nodes []r3.Vector, side int) float64 {
		path, err := tube.NewPath(nodes, p.radius)
		if err != nil {
			return math.Inf(1)
		}
		if side == 1 {
			path = path.Mirrored()
		}
		return Certify(path, req, f.full.Index, f.full.Inside).Mean
	}
	for side := range costs {
		alone := p.clone()
		alone.shells = p.shells[side : side+1]
		if side == 1 {
			alone.land = func(at, dir r3.Vector) plane { return p.land(mirrorY(at), mirrorY(dir)).mirrored() }
		}
		end, err := alone.run(ctx, s.nodes, [2][2]plane{s.planes[side]}, 2*pieceLength, 40, 1e-5, 60, false)
		if err != nil {
			return costs, err
		}
		if end.e.violation <= tolerated {
			costs[side] = math.Max(0, mean(s.nodes, side)-mean(end.nodes, side))
		}
	}
	return costs, nil
}

// bendable makes a path of nodes. Where the bends do not fit between them the
// radius is cut down until they do, so that there is something to show; the
// findings tell that it is not the die's.
func bendable(nodes []r3.Vector, radius float64) (*tube.Path, error) {
	path, err := tube.NewPath(nodes, radius)
	for k := 1; err != nil && k <= 40; k++ {
		if k == 40 {
			radius = 0
		}
		radius *= 0.9
		if shorter, e := tube.NewPath(nodes, radius); e == nil {
			return shorter, nil
		}
	}
	return path, err
}

// tolerated is the violation, in mm, below which a constraint counts as met
// in the bar that is handed over.
const tolerated = 0.05

// solve looks for the best place, then works it out to the full.
func (f *fitter) solve(ctx context.Context, p *problem) (*solution, error) {
	eff := effort{starts: f.opt.Starts, jitter: 60, coarse: 2 * pieceLength, iterate: 60}
	if eff.starts <= 0 {
		eff.starts = 1
		if p.hug {
			eff.starts = defaultStarts(p.layoutFor(p.sketch).dim)
		}
	}
	if s, err := f.again(ctx, p); s != nil || err != nil {
		return s, err
	}
	// Starts are tried on a smoothed or reduced copy of the scan, if there is one.
	if f.shell.SmoothIndex != nil {
		f.shells(p, f.shell.Smooth, f.shell.SmoothIndex)
	} else {
		f.shells(p, f.shell.Used, f.shell.Index)
	}
	best, err := p.search(ctx, [][]r3.Vector{p.sketch}, eff)
	if err != nil {
		return nil, err
	}
	f.shells(p, f.full.Used, f.full.Index)
	return f.finish(ctx, p, best, 20)
}

// finish works a solution out and takes out bends that are none.
func (f *fitter) finish(ctx context.Context, p *problem, s *solution, radius float64) (*solution, error) {
	f.gate <- struct{}{}
	defer func() { <-f.gate }()
	s, err := f.polish(ctx, p, s, radius)
	if err != nil {
		return nil, err
	}
	return f.dropBends(ctx, p, s)
}

// again starts from an earlier result. It returns nil if there is none or if it
// leads nowhere.
func (f *fitter) again(ctx context.Context, p *problem) (*solution, error) {
	if f.opt.From == nil {
		return nil, nil
	}
	for _, old := range f.opt.From.Bars {
		if old.Name != p.bar.Name || len(old.Kept) != len(old.Path.Nodes) {
			continue
		}
		q := p.clone()
		q.kept, q.sketch = old.Kept, nil
		for _, i := range old.Kept {
			if i >= len(p.sketch) {
				return nil, nil
			}
			q.sketch = append(q.sketch, p.sketch[i])
		}
		from := &solution{nodes: old.Path.Nodes}
		for _, foot := range old.Feet {
			pl := plane{at: foot.Point, normal: foot.Normal, local: foot.Normal, ok: true}
			from.planes[0][foot.End], from.planes[1][foot.End] = pl, pl
		}
		s, err := f.finish(ctx, q, from, 30)
		if err != nil {
			return nil, err
		}
		if s.e.violation > tolerated || q.hug && s.e.gap > old.Gap.Mean-old.Clearance+farOff {
			return nil, nil
		}
		*p = *q
		return s, nil
	}
	return nil, nil
}

// polish works a solution out at full resolution and raises the margin until
// the certificate bears it out.
func (f *fitter) polish(ctx context.Context, p *problem, from *solution, radius float64) (*solution, error) {
	req := f.requirement(p.bar)
	p.margin = Resolution + 0.001
	s, err := p.run(ctx, from.nodes, from.planes, pieceLength, radius, 1e-6, 60, false)
	if err != nil {
		return nil, err
	}
	// A fresh trust region gets further where the last one shrank at a kink.
	for range 3 {
		next, err := p.run(ctx, s.nodes, s.planes, pieceLength, radius, 1e-6, 60, false)
		if err != nil {
			return nil, err
		}
		done := !next.better(s) || s.e.objective-next.e.objective < settled
		if next.better(s) {
			s = next
		}
		if done {
			break
		}
	}
	best, bestShort := s, math.Inf(1)
	for round := range 8 {
		path, err := tube.NewPath(s.nodes, p.radius)
		if err != nil || s.e.violation > 1 {
			break // cannot be bent, or cannot be met: no margin helps
		}
		short := f.short(path, req)
		if p.bar.Mirror == job.Pair {
			short = math.Max(short, f.short(path.Mirrored(), req))
		}
		if short < bestShort {
			best, bestShort = s, short
		}
		if short <= 0 || short > 2 {
			break
		}
		p.margin += 1.5*short + 0.002*float64((round+1)*(round+1))
		if s, err = p.run(ctx, s.nodes, s.planes, pieceLength, 5, 1e-6, 40, false); err != nil {
			return nil, err
		}
	}
	return best, nil
}

// settled is the fall of the objective, mm of mean gap, that is not worth
// another run.
const settled = 0.05

// short is by how much a path's certificate falls short of what is required,
// mm. The requirement of a foot zone ends in nothing at the foot itself, where
// it cannot be borne out better than to the certificate's resolution.
func (f *fitter) short(path *tube.Path, req Requirement) float64 {
	c := Certify(path, req, f.full.Index, f.full.Inside)
	return math.Max(req.Clearance-c.CertifiedMin, c.Deficit-Resolution)
}

// surplusBend is the turn under which a bend is not worth making.
const surplusBend = 2 * s1.Degree

// dropBends takes out bends that came out (nearly) straight, as long as the bar
// is as good without them.
func (f *fitter) dropBends(ctx context.Context, p *problem, s *solution) (*solution, error) {
	for {
		c := s.e.curve
		drop := -1
		for i := 1; i < len(c.nodes)-1; i++ {
			if 2*c.half[i] < surplusBend.Radians() && (drop < 0 || c.half[i] < c.half[drop]) {
				drop = i
			}
		}
		if drop < 0 || len(c.nodes) <= 2 {
			return s, nil
		}
		out := map[int]bool{drop: true}
		if p.self() {
			out[len(c.nodes)-1-drop] = true
		}
		fewer := p.clone()
		fewer.sketch, fewer.kept = without(p.sketch, out), without(p.kept, out)
		end := &solution{nodes: without(c.nodes, out), planes: s.planes}
		next, err := f.polish(ctx, fewer, end, 20)
		if err != nil {
			return nil, err
		}
		if next.e.violation > math.Max(s.e.violation, tolerated) || next.e.gap > s.e.gap+0.5 {
			return s, nil
		}
		*p = *fewer
		s = next
	}
}

func without[T any](nodes []T, drop map[int]bool) []T {
	var out []T
	for i, v := range nodes {
		if !drop[i] {
			out = append(out, v)
		}
	}
	return out
}
