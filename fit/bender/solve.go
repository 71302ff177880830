package bender

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/s1"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
)

// The model of a test piece. With R the centreline radius, k the stretch (mm per
// rad), o the offset from mark to start of bend, a and b the springback, r the
// tube's radius, s = +1 for legs measured to the outside and -1 to the inside, and
// for each piece its true angle t:
//
//	set   = a + (1 + b) t
//	angle = t
//	leg A = mark + o + (R + s r) tan(t/2)
//	leg B = blank - mark - o + (k - R) t + (R + s r) tan(t/2)
//	height over a chord c on a line of radius q = R + s r:  q - sqrt(q^2 - c^2/4)
//
// The straights are those of tube's Table: straight A = mark + o, and straight A,
// straight B and R t add up to blank + k t.
//
// R, k, o, a, b and the angles are estimated together by weighted least squares
// (Gauss-Newton), so that an error of the angle counts in the legs as well: with
// normal errors that is the maximum likelihood. Uncertainties are those of the
// linearised problem with the stated noise.

// Basis says where a value comes from.
type Basis string

const (
	Measured Basis = "measured" // follows from the test pieces alone
	Leaning  Basis = "leaning"  // follows from the test pieces and something assumed
	Assumed  Basis = "assumed"  // the test pieces don't tell, or hardly
	Unknown  Basis = "unknown"  // nothing tells; the value is 0
)

// remark is what a value's comment in a job file adds.
func (b Basis) remark() string {
	switch b {
	case Leaning:
		return "; leans on an assumption"
	case Assumed:
		return "; ASSUMED, not measured"
	}
	return ""
}

// Value is an estimate with the half-width of its 95 % interval.
type Value struct {
	Value, Half float64
	Basis       Basis
}

// Calibration is what test pieces say about a die.
type Calibration struct {
	Name string
	OD   float64 // mm

	CLR       Value // centreline radius of the finished bend, mm
	Stretch   Value // growth of the centreline per bend angle, mm per radian
	Offset    Value // from mark to start of bend, mm
	A, B      Value // set = wanted + A + B wanted: A in radians, B a ratio
	Loaded    Value // centreline radius while the bender holds the bend, mm: CLR / (1 + B)
	Roundness Value // smallest / largest diameter in a bend
	Ovality   Value // (largest - smallest) / OD

	Least, Most s1.Angle // smallest and largest angle left in the pieces
	Fits        []Fit    // one for each piece
	Noise       Noise    // as used
	Scatter     float64  // by how much the measurements scatter more than Noise says; 1: they don't. Half takes it in
	Uneven      bool     // roundness differs more between pieces than noise explains: Roundness is that of the least round

	Sure  []string   // of "clr", "stretch", "offset", "springback" and "ovality": measured, and well enough
	Weak  []Weakness // the others
	Next  s1.Angle   // angle of the test piece that would tell most about what is weak; 0: none would
	Solid []string   // what would be sure with that piece, of what is weak

	covAB float64 // covariance of A and B
}

// Weakness is a value that is not sure, and why.
type Weakness struct{ What, Why string }

// Fit is one piece seen from the values found: its angle, and what was measured
// less what they give. What was not measured is NaN; Legs stands for the legs'
// sum where the piece has no mark.
type Fit struct {
	Angle                    s1.Angle
	AngleOff, SetOff         s1.Angle
	LegA, LegB, Legs, Height float64 // mm
}

// Fault is a measurement that can't be, or that contradicts the others.
type Fault struct {
	Piece int    // index of the piece; -1: not about a single one
	Name  string // of the piece, or ""
	Key   string // what was measured: "set", "angle", "leg_a", ...; "": the piece as a whole
	Text  string

	Missing bool // nothing is wrong, but something is not there
}

// String gives the fault in one line, with the piece's name.
func (f Fault) String() string {
	if f.Piece < 0 {
		return f.Text
	}
	return fmt.Sprintf("piece %q: %s", f.Name, f.Text)
}

// Contradiction is the error of measurements that can't be right.
type Contradiction struct{ Faults []Fault }

// Error gives the faults, one a line.
func (c *Contradiction) Error() string {
	lines := make([]string, len(c.Faults))
	for i, f := range c.Faults {
		lines[i] = f.String()
	}
	return strings.Join(lines, "\n")
}

// The unknowns: shared ones, then the angle of each piece.
const (
	iR = iota
	iK
	iO
	iA
	iB
	iFirst
)

// scales are natural sizes of the shared unknowns, for the numerics only.
var scales = [iFirst]float64{1, 1, 1, float64(s1.Degree), 0.01}

const angleScale = 0.01 // rad; of a piece's angle

// Numerical constants.
const (
	// exactSet stands for a set angle without noise, which would have infinite
	// weight: 250 times finer than the default noise of an angle, so that it adds
	// 8e-6 of a variance.
	exactSet = 0.001 * s1.Degree
	// Singular values under smallest of the largest count as zero: rounding leaves
	// some 1e-13, weights (see exactSet) range over 1e5.
	smallest = 1e-10
	// uncontrolled: a measurement whose residual has less than this part of its
	// variance is controlled by no other; rounding leaves 1e-14, a set angle that is
	// controlled has (exactSet/angle noise)^2, 1e-6 for a noise of one degree.
	uncontrolled = 1e-9
	settled      = 1e-9 // of scales: the step at which Gauss-Newton has arrived
	mostSteps    = 60
)

// What is assumed where the pieces don't tell, with one standard deviation. No
// source for any: common practice.
const (
	stampNoise   = 0.02            // of the CLR stamped on the die, held against the loaded radius
	stretchNoise = 0.025           // of OD, mm per rad, about a stretch of 0. The stretch is how far inside the centreline the line lies that keeps its length: a few per cent of OD (from memory)
	playNoise    = 0.5 * s1.Degree // of the offset of springback, about 0
)

// When pieces don't tell: one standard deviation from them alone over these. They
// are about as much as the assumption may be off.
const (
	tellsRadius = 0.05 // of the radius
	tellsPlay   = 1 * s1.Degree
	noRadius    = 0.25 // of the radius: beyond, it is a guess
	unknownMM   = 1e3  // sd in mm, mm per rad: nothing tells
)

// What is sure: 95 % half-widths up to these. They are what a builder can grind off
// or pull up with a clamp; common practice, no source.
const (
	sureRadius  = 0.02              // of the radius
	sureStretch = 2 / (math.Pi / 2) // mm per rad: 2 mm in a right angle
	sureOffset  = 2.0               // mm
	sureSet     = 0.75 * s1.Degree
)

// What can't be. Common practice, no source: far beyond what is seen on real
// benders, so that only slips are refused.
const (
	mostStretch  = 0.15 // of OD, mm per rad
	leastRadius  = 1.0  // of OD
	mostRadius   = 10.0 // of OD
	stampOff     = 0.25 // of the stamped CLR, by which a bend's radius may differ from it
	mostBack     = 0.2  // of the angle, that springs back
	mostPlay     = 5 * s1.Degree
	odOver       = 0.25 // mm, a mill's tolerance
	leastRound   = 0.5  // of OD, a diameter in a bend
	mostRound    = 1.5  // of OD
	legsToAngle  = 150 * s1.Degree
	gross        = 4.0  // standard deviations that single measurements may be beyond a limit
	oneIn        = 1e-4 // chance that a set of good measurements is refused
	scatterIn    = 1e-3 // chance that good measurements count as scattered
	z95          = 1.959964
	inseparable  = 0.98 // correlation of residuals at which two suspects can't be told apart
	mostPieces   = 100
	mostSuspects = 3 // named one by one
)

// observation is one measurement, or one assumption.
type observation struct {
	piece      int // -1: an assumption
	key        string
	got, sigma float64
	// at returns what the unknowns x give for it, and sets grad, which is all zero.
	at func(x, grad []float64) float64
}

type system struct {
	pieces  []Piece
	setting Setting
	obs     []observation
	basis   [iFirst]Basis
}

// Solve works out a die from test pieces. Measurements that can't be, or that
// contradict each other, come back as a *Contradiction which names them.
func Solve(pieces []Piece, setting Setting) (*Calibration, error) {
	setting.Noise = setting.Noise.orDefault()
	if faults := check(pieces, setting); len(faults) > 0 {
		return nil, &Contradiction{faults}
	}
	s := newSystem(pieces, setting)
	x := s.start()
	if fault := s.assume(x); fault != nil {
		return nil, &Contradiction{[]Fault{*fault}}
	}
	x, l, err := s.minimise(x)
	if err != nil {
		return nil, err
	}
	if faults := s.outliers(l); len(faults) > 0 {
		return nil, &Contradiction{faults}
	}
	c := s.calibration(x, l, s.scatter(l))
	if faults := s.impossible(x, c); len(faults) > 0 {
		return nil, &Contradiction{faults}
	}
	c.roundness(pieces, setting)
	c.judge()
	c.next(s, x)
	return c, nil
}

func newSystem(pieces []Piece, setting Setting) *system {
	s := &system{pieces: pieces, setting: setting}
	for i := range s.basis {
		s.basis[i] = Measured
	}
	for i := range pieces {
		s.observe(i)
	}
	return s
}

// observe adds the measurements of a piece.
func (s *system) observe(i int) {
	p, noise, r := s.pieces[i], s.setting.Noise, s.setting.OD/2
	t := iFirst + i
	add := func(key string, got, sigma float64, at func(x, grad []float64) float64) {
		s.obs = append(s.obs, observation{i, key, got, sigma, at})
	}
	add("set", float64(p.Set), float64(max(noise.Set, exactSet)), func(x, grad []float64) float64 {
		grad[iA], grad[iB], grad[t] = 1, x[t], 1+x[iB]
		return x[iA] + (1+x[iB])*x[t]
	})
	add("angle", float64(p.Angle), float64(noise.Angle), func(x, grad []float64) float64 {
		grad[t] = 1
		return x[t]
	})
	reach := func(x, grad []float64, legs float64) float64 {
		tan := math.Tan(x[t] / 2)
		q := x[iR] + p.Legs.side()*r
		grad[iR] += legs * tan
		grad[t] += legs * q * (1 + tan*tan) / 2
		return legs * q * tan
	}
	rest := func(x, grad []float64) float64 { // of the blank, but for the straights
		grad[iK] += x[t]
		grad[iR] -= x[t]
		grad[t] += x[iK] - x[iR]
		return (x[iK] - x[iR]) * x[t]
	}
	switch {
	case p.Mark > 0:
		if p.LegA > 0 {
			add("leg_a", p.LegA, noise.Length, func(x, grad []float64) float64 {
				grad[iO] = 1
				return p.Mark + x[iO] + reach(x, grad, 1)
			})
		}
		if p.LegB > 0 {
			add("leg_b", p.LegB, noise.Length, func(x, grad []float64) float64 {
				grad[iO] = -1
				return p.Length - p.Mark - x[iO] + rest(x, grad) + reach(x, grad, 1)
			})
		}
	case p.LegA > 0: // and leg B: without a mark they say something together only
		add("legs", p.LegA+p.LegB, math.Sqrt2*noise.Length, func(x, grad []float64) float64 {
			return p.Length + rest(x, grad) + reach(x, grad, 2)
		})
	}
	if p.Chord > 0 {
		// The chord's own error moves the height by its slope c / (4 (q - h)).
		q := ChordRadius(p.Chord, p.Height)
		sigma := noise.Length * math.Hypot(1, p.Chord/(4*(q-p.Height)))
		add("height", p.Height, sigma, func(x, grad []float64) float64 {
			q := x[iR] + p.ChordOn.side()*r
			root := math.Sqrt(max(q*q-p.Chord*p.Chord/4, 1e-6*q*q)) // a chord is at most a diameter
			grad[iR] = 1 - q/root
			return q - root
		})
	}
}

// start returns first values of the unknowns: straightforward averages.
func (s *system) start() []float64 {
	x := make([]float64, iFirst+len(s.pieces))
	var back, pieces, offset, offsets, num, den, chords, chord float64
	r := s.setting.OD / 2
	for i, p := range s.pieces {
		t := float64(p.Angle)
		x[iFirst+i] = t
		back, pieces = back+float64(p.Set/p.Angle)-1, pieces+1
		if p.Chord > 0 {
			chord, chords = chord+ChordRadius(p.Chord, p.Height)-p.ChordOn.side()*r, chords+1
		}
		if p.LegA > 0 && p.LegB > 0 {
			tan := math.Tan(t / 2)
			w := 2*tan - t
			num += w * (p.LegA + p.LegB - p.Length - 2*p.Legs.side()*r*tan)
			den += w * w
		}
	}
	x[iB] = back / pieces
	switch {
	case s.setting.CLR > 0:
		x[iR] = s.setting.CLR * (1 + x[iB])
	case chords > 0:
		x[iR] = chord / chords
	case den > 0:
		x[iR] = num / den
	}
	x[iR] = max(min(x[iR], mostRadius*s.setting.OD), leastRadius*s.setting.OD)
	for _, p := range s.pieces {
		if p.Mark > 0 && p.LegA > 0 {
			offset += p.LegA - p.Mark - (x[iR]+p.Legs.side()*r)*math.Tan(float64(p.Angle)/2)
			offsets++
		}
	}
	if offsets > 0 {
		x[iO] = offset / offsets
	}
	return x
}

// assume adds what must be assumed because the pieces don't tell, judged at x.
// What no measurement tells about at all is set to 0. The fault is that nothing
// tells the radius.
func (s *system) assume(x []float64) *Fault {
	assume := func(key string, got, sigma float64, at func(x, grad []float64) float64) {
		s.obs = append(s.obs, observation{-1, key, got, sigma, at})
	}
	direct := func(i int) func(x, grad []float64) float64 {
		return func(x, grad []float64) float64 { grad[i] = 1; return x[i] }
	}
	if s.linear(x).sd(iA) > float64(tellsPlay) {
		assume("springback", 0, float64(playNoise), direct(iA))
		s.basis[iA], s.basis[iB] = Assumed, Leaning
	}
	if s.linear(x).sd(iR) > tellsRadius*x[iR] {
		if stamp := s.setting.CLR; stamp > 0 {
			assume("clr", stamp, stampNoise*stamp, func(x, grad []float64) float64 {
				grad[iR], grad[iB] = 1/(1+x[iB]), -x[iR]/((1+x[iB])*(1+x[iB]))
				return x[iR] / (1 + x[iB])
			})
			s.basis[iR], s.basis[iK], s.basis[iO] = Assumed, Leaning, Leaning
		} else {
			assume("stretch", 0, stretchNoise*s.setting.OD, direct(iK))
			s.basis[iR], s.basis[iK], s.basis[iO] = Leaning, Assumed, Leaning
		}
	}
	l := s.linear(x)
	if l.sd(iR) > noRadius*x[iR] {
		return &Fault{Piece: -1, Key: "clr", Missing: true, Text: "nothing tells the bend's radius: measure both legs of a piece, or chord and height of the bend, or give the clr that is stamped on the die"}
	}
	for _, i := range []int{iK, iO} {
		if l.sd(i) > unknownMM {
			assume("", 0, 1, direct(i))
			s.basis[i] = Unknown
		}
	}
	return nil
}

// linear is the problem at one place, in units of standard deviations.
type linear struct {
	residual []float64 // measured less computed
	obs, n   int
	scale    []float64
	u, v     mat.Dense
	values   []float64 // singular, largest first
}

// linear works out the problem at x.
func (s *system) linear(x []float64) *linear {
	l := &linear{obs: len(s.obs), n: len(x), scale: make([]float64, len(x))}
	copy(l.scale, scales[:])
	for i := iFirst; i < len(x); i++ {
		l.scale[i] = angleScale
	}
	// Rows of zeros keep directions that no observation tells about among the
	// singular vectors.
	rows := max(l.obs, l.n)
	j := mat.NewDense(rows, l.n, nil)
	grad := make([]float64, l.n)
	for i, o := range s.obs {
		clear(grad)
		l.residual = append(l.residual, (o.got-o.at(x, grad))/o.sigma)
		for k := range grad {
			j.Set(i, k, grad[k]*l.scale[k]/o.sigma)
		}
	}
	var svd mat.SVD
	if !svd.Factorize(j, mat.SVDThin) {
		return nil // NaN in the measurements, which check keeps out
	}
	l.values = svd.Values(nil)
	svd.UTo(&l.u)
	svd.VTo(&l.v)
	return l
}

// cov returns the covariance of two unknowns: huge where nothing tells.
func (l *linear) cov(i, j int) float64 {
	sum := 0.0
	for k, w := range l.values {
		w = max(w, smallest*l.values[0])
		sum += l.v.At(i, k) * l.v.At(j, k) / (w * w)
	}
	return sum * l.scale[i] * l.scale[j]
}

// sd returns the standard deviation of an unknown.
func (l *linear) sd(i int) float64 { return math.Sqrt(l.cov(i, i)) }

// step returns the Gauss-Newton step.
func (l *linear) step() []float64 {
	out := make([]float64, l.n)
	for k, w := range l.values {
		if w <= smallest*l.values[0] {
			continue
		}
		dot := 0.0
		for i, r := range l.residual {
			dot += l.u.At(i, k) * r
		}
		for i := range out {
			out[i] += l.v.At(i, k) * dot / w * l.scale[i]
		}
	}
	return out
}

// redundancies returns the covariances of the residuals, in standard deviations: on
// the diagonal the part of a measurement's error that shows in its residual.
func (l *linear) redundancies() *mat.SymDense {
	q := mat.NewSymDense(l.obs, nil)
	for i := range l.obs {
		for j := i; j < l.obs; j++ {
			sum := 0.0
			if i == j {
				sum = 1
			}
			for k, w := range l.values {
				if w > smallest*l.values[0] {
					sum -= l.u.At(i, k) * l.u.At(j, k)
				}
			}
			q.SetSym(i, j, sum)
		}
	}
	return q
}

// cost returns the sum of squares.
func (l *linear) cost() float64 {
	sum := 0.0
	for _, r := range l.residual {
		sum += r * r
	}
	return sum
}

var errUnsettled = errors.New("the test pieces can't be brought together: check that set angles, angles and legs belong to the pieces they are written at")

// minimise goes from x to the least sum of squares.
func (s *system) minimise(x []float64) ([]float64, *linear, error) {
	l := s.linear(x)
	for range mostSteps {
		if l == nil {
			return nil, nil, errUnsettled
		}
		step := l.step()
		size := 0.0
		for i, d := range step {
			size = max(size, math.Abs(d)/l.scale[i])
		}
		if size < settled {
			return x, l, nil
		}
		better := false
		for part := 1.0; part > 1e-3; part /= 2 {
			next := slices.Clone(x)
			for i := range next {
				next[i] += part * step[i]
			}
			if !within(next) {
				continue
			}
			// Near the end the sums differ by rounding only.
			if n := s.linear(next); n != nil && n.cost() <= l.cost()*(1+1e-9)+1e-12 {
				x, l, better = next, n, true
				break
			}
		}
		if !better {
			return nil, nil, errUnsettled
		}
	}
	return nil, nil, errUnsettled
}

// within keeps the unknowns where the model is smooth.
func within(x []float64) bool {
	for i, t := range x {
		if math.IsNaN(t) || i >= iFirst && (t <= 0 || t > math.Pi*1.05) {
			return false
		}
	}
	return x[iB] > -0.5 && x[iR] > 0
}

// scatter says by how much the residuals are larger than the noise allows; 1 where
// chance explains them.
func (s *system) scatter(l *linear) float64 {
	free := l.obs - l.n
	if free <= 0 || mathext.GammaIncRegComp(float64(free)/2, l.cost()/2) >= scatterIn {
		return 1
	}
	return math.Sqrt(l.cost() / float64(free))
}

// calibration reads the values off.
func (s *system) calibration(x []float64, l *linear, scatter float64) *Calibration {
	c := &Calibration{Name: s.setting.Name, OD: s.setting.OD, Noise: s.setting.Noise, Scatter: scatter}
	values := [iFirst]*Value{&c.CLR, &c.Stretch, &c.Offset, &c.A, &c.B}
	for i, v := range values {
		*v = Value{x[i], z95 * c.Scatter * l.sd(i), s.basis[i]}
		if v.Basis == Unknown {
			*v = Value{Basis: Unknown}
		}
	}
	c.covAB = c.Scatter * c.Scatter * l.cov(iA, iB)
	// R / (1 + b), with the slopes 1 / (1 + b) and -R / (1 + b)^2.
	dr, db := 1/(1+x[iB]), -x[iR]/((1+x[iB])*(1+x[iB]))
	loaded := dr*dr*l.cov(iR, iR) + 2*dr*db*l.cov(iR, iB) + db*db*l.cov(iB, iB)
	c.Loaded = Value{x[iR] * dr, z95 * c.Scatter * math.Sqrt(max(loaded, 0)), c.CLR.Basis}
	nan := math.NaN()
	for i, p := range s.pieces {
		c.Fits = append(c.Fits, Fit{Angle: s1.Angle(x[iFirst+i]), AngleOff: s1.Angle(nan), SetOff: s1.Angle(nan), LegA: nan, LegB: nan, Legs: nan, Height: nan})
		if i == 0 || p.Angle < c.Least {
			c.Least = p.Angle
		}
		c.Most = max(c.Most, p.Angle)
	}
	for i, o := range s.obs {
		if o.piece < 0 {
			continue
		}
		f, off := &c.Fits[o.piece], l.residual[i]*o.sigma
		switch o.key {
		case "set":
			f.SetOff = s1.Angle(off)
		case "angle":
			f.AngleOff = s1.Angle(off)
		case "leg_a":
			f.LegA = off
		case "leg_b":
			f.LegB = off
		case "legs":
			f.Legs = off
		case "height":
			f.Height = off
		}
	}
	return c
}

// SetAngle returns the angle to set for a bend of want, by the line through the
// pieces, and the half-width of its 95 % interval.
func (c *Calibration) SetAngle(want s1.Angle) (set, half s1.Angle) {
	w := float64(want)
	a, b := c.A.Half/z95, c.B.Half/z95
	v := a*a + 2*w*c.covAB + w*w*b*b
	return want + s1.Angle(c.A.Value+c.B.Value*w), s1.Angle(z95 * math.Sqrt(max(v, 0)))
}
