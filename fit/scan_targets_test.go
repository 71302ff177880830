package fit_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"barwright/fit"
	"barwright/fit/check"
	"barwright/fit/job"
	"barwright/mesh"
	"barwright/mesh/sample"
)

// truth is what a scan was made from: bars are fitted to the scan and judged on
// this.
type truth struct {
	coupe *sample.Coupe
	index *mesh.Index
	shell *mesh.Shell // the clean mesh made ready like a scan, for clean fits
}

func newTruth(t testing.TB, triangles int) truth {
	c := sample.NewCoupe(sample.CoupeOptions{Triangles: triangles})
	sh := prepare(t, c.Mesh, c.Centre)
	return truth{c, mesh.NewIndex(c.Mesh), sh}
}

// certify judges a bar on the clean body, panes in. sigma is the scan's noise,
// mm: the contract allows three of it inside foot zones.
func (tr truth) certify(b *fit.Bar, sigma float64) fit.Certificate {
	r := b.Requirement(30*s1.Degree, 0)
	r.FootAllowance = 3 * sigma
	return fit.Certify(b.Path, r, tr.index, tr.coupe.Inside)
}

// onCap tells whether a bar is at its clearance from a cap, to slack mm, at a
// point where the cap is what is nearest.
func onCap(sh *mesh.Shell, b *fit.Bar, slack float64) bool {
	for s := 0.0; s <= b.Path.Length; s += 2 {
		p, _ := b.Path.At(s)
		h := sh.Index.Closest(p)
		if sh.IsCap(h.Triangle) && h.Distance < b.Radius()+b.Clearance+slack {
			return true
		}
	}
	return false
}

// scanCases are the car hoop and the free side bar of studyCases, and the side
// bar as a pair.
func (tr truth) scanCases() []studyCase {
	side := []r3.Vector{{X: 900, Y: 530, Z: 150}, {X: 870, Y: 510, Z: 600}, {X: 300, Y: 430, Z: 970}, {X: 0, Y: 480, Z: 980}}
	return []studyCase{
		{"car hoop", nil, []r3.Vector{{Y: -560, Z: 150}, {Y: -555, Z: 590}, {Y: -430, Z: 1040}, {Y: 430, Z: 1040}, {Y: 555, Z: 590}, {Y: 560, Z: 150}}, upright},
		{"free side bar", nil, side, func(b *job.Bar) { b.Ends[1].Kind = job.Free }},
		{"pair of side bars", nil, side, func(b *job.Bar) { b.Ends[1].Kind, b.Mirror = job.Free, job.Pair }},
	}
}

// stands is certified for bars of a pair too, whose feet touch on the higher
// side and have a packer under the other.
func stands(b *fit.Bar) bool {
	c := *b
	c.Feet = nil
	for _, f := range b.Feet {
		if f.Packer == 0 {
			c.Feet = append(c.Feet, f)
		}
	}
	return certified(&c)
}

// cage fits one case to a shell.
func (c studyCase) cage(t testing.TB, sh *mesh.Shell, sketch []r3.Vector) (*fit.Cage, *job.Job) {
	j := oneBar(sketch, c.change)
	cage, err := fit.Fit(context.Background(), j, sh, fit.Options{Workers: 1})
	if err != nil {
		t.Error(err)
	}
	return cage, j
}

// The contract's target on dirty scans, judged on the clean body: sigma 1.5 mm,
// spikes, islands, 12 holes; true violation at most 0.2 mm, mean gap at most
// 1.5 mm over that of the same sketch fitted to the clean body. Half of the
// triangles are turned over besides.
//
// A side bar has several good places some 3 mm of mean gap apart, and dirt may
// tip a sketch from one to the other, in either direction; so its mean gap is
// held to the share that the contract asks of starts, 90 %. The hoop has one
// place, and its mean gap is held to the target in every trial.
//
// The small run has few trials, and holds what noise does to the size of the
// noise; the whole target is held with BARWRIGHT_FULL=1.
func TestDirtyScans(t *testing.T) {
	for _, triangles := range []int{50_000, 200_000}[:trials(1, 2)] {
		tr := newTruth(t, triangles)
		for _, sigma := range []float64{0, 1.5} {
			violation := 0.2
			if !full && sigma > 0 {
				violation = sigma
			}
			scans := trials(1, 4)
			shells := make([]*mesh.Shell, scans)
			for k := range shells {
				m := tr.coupe.Scan(sample.Dirt{Sigma: sigma, Spikes: 40, Islands: 12, Holes: 12, FlipShare: 0.5, Seed: uint64(k + 1)})
				shells[k] = prepare(t, m, tr.coupe.Centre)
				t.Logf("%d triangles, sigma %g, scan %d: noise %.3f, %d suspects, %d caps", triangles, sigma, k, shells[k].Noise, len(shells[k].Suspects), len(shells[k].Caps))
			}
			for _, c := range tr.scanCases()[:trials(2, 3)] {
				tr.dirty(t, c, shells, sigma, violation)
			}
		}
	}
}

// dirty fits one case to scans of noise sigma (mm) and to the clean body, and
// compares the two.
func (tr truth) dirty(t *testing.T, c studyCase, shells []*mesh.Shell, sigma, violation float64) {
	n := len(shells) * trials(2, 3) // sketches, by turns on each scan
	dirty, clean := make([]*fit.Cage, n), make([]*fit.Cage, n)
	each(n, func(i int) {
		sketch := noisy(uint64(2000+i), c.sketch, 30)
		dirty[i], _ = c.cage(t, shells[i%len(shells)], sketch)
		clean[i], _ = c.cage(t, tr.shell, sketch)
	})
	worst, over, foot := math.Inf(-1), math.Inf(-1), 0.0
	bars, kept, near, sure := 0, 0, 0, 0
	for i := range n {
		require.NotNil(t, dirty[i])
		require.NotNil(t, clean[i])
		for k, b := range dirty[i].Bars {
			got := tr.certify(b, sigma)
			extra := got.Mean - tr.certify(clean[i].Bars[k], 0).Mean
			worst, over, bars = math.Max(worst, got.Deficit), math.Max(over, extra), bars+1
			for _, f := range b.Feet {
				foot = math.Max(foot, tr.index.Closest(f.Point).Distance)
			}
			if stands(b) {
				sure++
			}
			if extra <= 1.5 {
				near++
			}
			if got.Deficit <= 0.2 {
				kept++
			}
			if stands(b) && got.Deficit <= 0.2 && extra <= 1.5 {
				continue
			}
			t.Logf("  %s, scan %d sketch %d: true violation %.3f at %.0f (s %.0f of %.0f), mean gap %+.2f; on the scan: certified %.4f, deficit %.4f, feet %.3f, radius %.0f, %.160v",
				b.Name, i%len(shells), i, got.Deficit, got.DeficitAt, got.DeficitS, b.Path.Length, extra, b.Gap.CertifiedMin, b.Gap.Deficit, footErrors(b), b.Path.Radius, b.Blocking)
		}
	}
	t.Logf("%d triangles, sigma %g, %s, %d bars: true violation at most %.3f mm, %d within 0.2; mean gap at most %+.2f mm, %d within 1.5; %d certified on the scan; feet at most %.2f mm off the clean body",
		len(tr.coupe.Mesh.Triangles), sigma, c.name, bars, worst, kept, over, near, sure, foot)
	assert.LessOrEqual(t, worst, violation, "%s, sigma %g: true violation", c.name, sigma)
	switch {
	case c.name == "car hoop":
		assert.LessOrEqual(t, over, 1.5, "%s, sigma %g: mean gap", c.name, sigma)
	case full:
		assert.GreaterOrEqual(t, near, (9*bars+9)/10, "%s, sigma %g: mean gap", c.name, sigma)
	}
}

// The contract's target for missing windows, judged on the whole body: with all
// side windows missing the true violation is at most 1 mm, and bars that lean on
// the cap in a missing pane's place say so. All panes missing is shown beside it, without a target.
func TestMissingWindows(t *testing.T) {
	tr := newTruth(t, 50_000)
	for _, open := range []sample.Windows{sample.SideWindows, sample.AllWindows}[:trials(1, 2)] {
		scan := sample.NewCoupe(sample.CoupeOptions{Triangles: 50_000, Open: open})
		sh := prepare(t, scan.Mesh, tr.coupe.Centre)
		require.NotEmpty(t, sh.Caps)
		n := trials(2, 24)
		for _, c := range tr.scanCases() {
			cages, jobs := make([]*fit.Cage, n), make([]*job.Job, n)
			each(n, func(i int) { cages[i], jobs[i] = c.cage(t, sh, noisy(uint64(4000+i), c.sketch, 30)) })
			violation, bars, good, held, leaning, mute := math.Inf(-1), 0, 0, 0, 0, 0
			for i := range n {
				require.NotNil(t, cages[i])
				said := map[string]bool{}
				for _, f := range check.Cage(cages[i], jobs[i], sh, check.Options{}) {
					said[f.Bar] = said[f.Bar] || f.Severity == fit.Note && strings.Contains(f.Message, "closed with a cap")
				}
				for _, b := range cages[i].Bars {
					got := tr.certify(b, 0)
					violation, bars = math.Max(violation, got.Deficit), bars+1
					if stands(b) {
						good++
					}
					if b.Gap.CapHeld {
						held++
					}
					assert.Equal(t, b.Gap.CapHeld, said[b.Name], "%s, sketch %d: the finding and the bar differ", c.name, i)
					if onCap(sh, b, 0.05) {
						leaning++
						if !b.Gap.CapHeld {
							mute++
							t.Logf("  %s, sketch %d: leans on a cap and does not say so: worst at %.0f, contacts %.0f", b.Name, i, b.Gap.WorstAt, b.Gap.Contacts)
						}
					}
					if got.Deficit > 1 || !stands(b) {
						t.Logf("  %s, sketch %d: true violation %.3f at %.0f (s %.0f of %.0f), on the scan: certified %.4f, deficit %.4f, %.160v",
							b.Name, i, got.Deficit, got.DeficitAt, got.DeficitS, b.Path.Length, b.Gap.CertifiedMin, b.Gap.Deficit, b.Blocking)
					}
				}
			}
			t.Logf("panes %b missing, %s: %d of %d certified on the scan, true violation at most %.3f mm, %d held by a cap, %d lean on one, %d of them silent", open, c.name, good, bars, violation, held, leaning, mute)
			if open == sample.SideWindows {
				assert.LessOrEqual(t, violation, 1.0, c.name)
				assert.Zero(t, mute, c.name)
			}
		}
	}
}
