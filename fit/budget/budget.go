package budget

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"github.com/golang/geo/s1"

	"barwright/fit"
	"barwright/fit/internal/par"
	"barwright/mesh"
)

// Tolerances say how exactly a builder bends. With Angle and Length both 0 they
// are half a degree and 1 mm (common practice, no source); where only one of them
// is 0, that one is held exactly.
type Tolerances struct {
	// Angle is what 95 of 100 angles and rotations are within, up to 45 degrees.
	Angle s1.Angle
	// Length is what 95 of 100 straights are within, mm, up to 1000.
	Length float64
	// Draws is how many bars are drawn, 100 to 1,000,000; 0: 1000.
	Draws int
	// Seed picks another set of draws; any number, 0 too.
	Seed uint64
	// Landing is the flattest angle of a foot, as in the job: it says how long
	// foot zones are. Up to 90 degrees; 0: 30, as in a job that has none.
	Landing s1.Angle
}

// Defaults of Tolerances.
const (
	defaultAngle   = s1.Degree / 2
	defaultLength  = 1.0
	defaultDraws   = 1000
	defaultLanding = 30 * s1.Degree
)

// Validate reports a tolerance outside its range.
func (t Tolerances) Validate() error {
	switch {
	case !(t.Angle >= 0 && t.Angle <= 45*s1.Degree):
		return fmt.Errorf("angle tolerance of %g degrees: 0 to 45 are possible", t.Angle.Degrees())
	case !(t.Length >= 0 && t.Length <= 1000):
		return fmt.Errorf("length tolerance of %g mm: 0 to 1000 are possible", t.Length)
	case t.Draws != 0 && (t.Draws < 100 || t.Draws > 1e6):
		return fmt.Errorf("%d draws: 100 to 1000000 are possible", t.Draws)
	case !(t.Landing >= 0 && t.Landing <= 90*s1.Degree):
		return fmt.Errorf("landing angle of %g degrees: 0 to 90 are possible", t.Landing.Degrees())
	}
	return nil
}

// filled returns t with its defaults.
func (t Tolerances) filled() Tolerances {
	if t.Angle == 0 && t.Length == 0 {
		t.Angle, t.Length = defaultAngle, defaultLength
	}
	if t.Draws == 0 {
		t.Draws = defaultDraws
	}
	if t.Landing == 0 {
		t.Landing = defaultLanding
	}
	return t
}

// within95 is how many sigma on either side of the mean hold 95 % of a normal
// distribution.
const within95 = 1.959963984540054

// Work works out the Budget of every bar of the cage that has bends; straight
// bars get none. Gaps are those to sh in full, not to its reduced copy; sh may be
// nil, then only the ends' movements are worked out. workers is the number of
// goroutines, 0: GOMAXPROCS; the result does not depend on it.
//
// Errors: tolerances out of range, a bar whose path and bend table do not
// belong together, and the context's. The cage is then as it was.
func Work(ctx context.Context, c *fit.Cage, sh *mesh.Shell, tol Tolerances, workers int) error {
	if err := tol.Validate(); err != nil {
		return err
	}
	tol = tol.filled()
	budgets, errs := make([]*fit.Budget, len(c.Bars)), make([]error, len(c.Bars))
	par.Each(len(c.Bars), workers, func(i int) { budgets[i], errs[i] = work(ctx, c.Bars[i], sh, tol) })
	if err := ctx.Err(); err != nil {
		return err
	}
	for i, err := range errs {
		if err != nil {
			return fmt.Errorf("bar %q: %w", c.Bars[i].Name, err)
		}
	}
	for i, b := range c.Bars {
		b.Budget = budgets[i]
	}
	return nil
}

// work works out one bar's budget.
func work(ctx context.Context, b *fit.Bar, sh *mesh.Shell, tol Tolerances) (*fit.Budget, error) {
	if len(b.Table.Bends) == 0 {
		return nil, ctx.Err()
	}
	p, err := newPlan(b, sh, tol.Landing)
	if err != nil {
		return nil, err
	}
	out := &fit.Budget{Angle: tol.Angle, Length: tol.Length, Clears: math.NaN(), Need95: math.NaN()}
	for i := range b.Table.Bends {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		out.Bends = append(out.Bends, p.sensitivity(i))
	}
	if p.prober == nil {
		return out, nil
	}
	gaps, err := p.draws(ctx, tol)
	if err != nil {
		return nil, err
	}
	slices.Sort(gaps)
	touching, _ := slices.BinarySearch(gaps, 0)
	out.Draws = len(gaps)
	out.Clears = 1 - float64(touching)/float64(len(gaps))
	out.Need95 = max(0, b.Clearance-gaps[len(gaps)/20])
	return out, nil
}

// plan is a bar as planned, with room for what becomes of it.
type plan struct {
	bar     *fit.Bar
	frame   frame
	table   entries
	shape   []segment
	placer  placer
	prober  *prober // nil: no gap to be asked for
	entries entries // of the bar in error
	bent    []segment
}

// tableSlack is how far, in mm, a bar rebuilt from its table may be from its
// path. Files carry 1e-6 mm; over ten bends and as many metres that grows to no
// more than 1e-4. A table of another bar is off by far more.
const tableSlack = 0.01

func newPlan(b *fit.Bar, sh *mesh.Shell, landing s1.Angle) (*plan, error) {
	if b.Path == nil || b.Tube == nil {
		return nil, errors.New("it has no path or no tube yet")
	}
	p := &plan{bar: b, table: entriesOf(b.Table), entries: entriesOf(b.Table)}
	segments := b.Path.Segments
	if len(segments) != 2*len(b.Table.Bends)+1 {
		return nil, fmt.Errorf("its bend table has %d bends, its path %d", len(b.Table.Bends), len(segments)/2)
	}
	p.frame = frame{at: segments[0].From, dir: segments[0].Dir, axis: segments[1].Axis}
	p.shape = p.table.shape(nil, p.frame, b.Path.Radius)
	for k := range p.shape {
		g := &p.shape[k]
		off := max(g.from.Sub(segments[k].From).Norm(), g.at(g.length).Sub(segments[k].To).Norm())
		if !(off <= tableSlack) {
			return nil, fmt.Errorf("its bend table gives a bar that is %.3g mm from its path", off)
		}
	}
	p.placer = newPlacer(p.shape)
	if sh != nil {
		p.prober = newProber(p.shape, b.Requirement(landing, sh.Noise), sh)
	}
	return p, nil
}

// sensitivity works out what errors in bend i (counted from 0) do.
func (p *plan) sensitivity(i int) fit.Sensitivity {
	degree := float64(s1.Degree)
	var s fit.Sensitivity
	s.EndPerDegree, s.GapPerDegree = p.off(&p.entries.angles[i], degree)
	s.EndPerTurn, s.GapPerTurn = p.off(&p.entries.rotations[i], degree)
	s.EndPerMM, s.GapPerMM = p.off(&p.entries.feeds[i], 1)
	return s
}

// off changes an entry by step to either side. It returns how far the far end
// moves and how the smallest gap changes, the worse of both sides each.
func (p *plan) off(entry *float64, step float64) (end, gap float64) {
	planned := *entry
	end, gap = 0, math.NaN()
	for _, by := range [2]float64{step, -step} {
		*entry = planned + by
		p.bent = p.entries.shape(p.bent[:0], p.frame, p.bar.Path.Radius)
		end = max(end, farEnd(p.bent).Sub(farEnd(p.shape)).Norm())
		if p.prober != nil {
			change := p.prober.least(p.bent, fineTol) - p.prober.planned
			if !(gap <= change) {
				gap = change
			}
		}
	}
	*entry = planned
	return end, gap
}

// draws returns the smallest gaps of bars drawn at random and laid in place.
func (p *plan) draws(ctx context.Context, tol Tolerances) ([]float64, error) {
	name := fnv.New64a()
	name.Write([]byte(p.bar.Name))
	rng := rand.New(rand.NewPCG(name.Sum64(), tol.Seed))
	gaps := make([]float64, tol.Draws)
	for i := range gaps {
		if i%64 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		p.draw(rng, tol)
		gaps[i] = p.prober.least(p.bent, drawTol) - p.bar.Radius()
	}
	return gaps, nil
}

// draw bends a bar with random errors and lays it in place: p.bent.
func (p *plan) draw(rng *rand.Rand, tol Tolerances) {
	angle, length := float64(tol.Angle)/within95, tol.Length/within95
	for i := range p.table.angles {
		p.entries.feeds[i] = p.table.feeds[i] + length*rng.NormFloat64()
		p.entries.angles[i] = p.table.angles[i] + angle*rng.NormFloat64()
		if i > 0 {
			p.entries.rotations[i] = p.table.rotations[i] + angle*rng.NormFloat64()
		}
	}
	p.entries.tail = p.table.tail + length*rng.NormFloat64()
	p.bent = p.entries.shape(p.bent[:0], p.frame, p.bar.Path.Radius)
	p.placer.place(p.bent)
}

// Worst returns the bend to hold against the template first, counted from 1: the
// one whose error of a whole angle tolerance takes most off the smallest gap;
// among those that take as much to 0.05 mm, the one that moves the far end most;
// then the first. 0 if there is no bend.
func Worst(b *fit.Budget) int {
	if b == nil {
		return 0
	}
	const even = 0.05 // mm; less than can be measured on a bar (common practice, no source)
	tol := b.Angle.Degrees()
	least := math.Inf(1)
	for _, s := range b.Bends {
		if change := s.GapPerDegree * tol; change < least {
			least = change
		}
	}
	worst, most := 0, math.Inf(-1)
	for i, s := range b.Bends {
		if s.GapPerDegree*tol > least+even {
			continue
		}
		if s.EndPerDegree > most {
			worst, most = i+1, s.EndPerDegree
		}
	}
	return worst
}
