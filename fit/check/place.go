package check

import (
	"fmt"
	"math"

	"github.com/golang/geo/r3"

	"barwright/fit"
	"barwright/mesh"
)

// clearance checks the certificate: the full clearance away from feet, and what
// a foot zone requires.
func (k *checker) clearance(b *fit.Bar) []fit.Finding {
	g := &b.Gap
	var out []fit.Finding
	switch {
	case g.CertifiedMin < b.Clearance-lengthTol:
		p := on(b.Path, g.WorstAt)
		got, limit := figures(g.CertifiedMin, b.Clearance)
		message := fmt.Sprintf("the tube is %s mm from the shell %s, asked %s mm", got, p.text, limit)
		if g.CertifiedMin < 0 {
			message = fmt.Sprintf("the tube is %.1f mm into the shell %s, asked %s mm clear of it", -g.CertifiedMin, p.text, limit)
		}
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "clearance", Bend: p.bend, Got: g.CertifiedMin, Limit: b.Clearance, Unit: "mm", At: &p.at,
			Message: message,
		})
	case g.Deficit > lengthTol:
		p := on(b.Path, g.DeficitAt)
		s, _ := b.Path.Closest(g.DeficitAt)
		r := b.Requirement(k.job.Shell.LandingAngle, k.noise())
		if r.InFootZone(s, b.Path.Length) && g.Deficit <= fit.FootError {
			break // within what a foot may be off
		}
		need := r.At(s, b.Path.Length)
		got, limit := figures(need-g.Deficit, need)
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "clearance", Bend: p.bend, Got: need - g.Deficit, Limit: need, Unit: "mm", At: &p.at,
			Message: fmt.Sprintf("near its foot the centreline is %s mm from the shell %s, where %s mm are required", got, p.text, limit),
		})
	}
	if g.CapHeld {
		p := on(b.Path, g.WorstAt)
		out = append(out, fit.Finding{
			Severity: fit.Note, Rule: "clearance", Bend: p.bend, Got: g.CertifiedMin, Limit: b.Clearance, Unit: "mm", At: &p.at,
			Message: fmt.Sprintf("held off a hole in the scan that was closed with a cap, not off sheet metal, %s", p.text),
		})
	}
	return out
}

// outside checks that the bar is in the cabin.
func (k *checker) outside(b *fit.Bar) []fit.Finding {
	if !b.Gap.Outside {
		return nil
	}
	p := on(b.Path, b.Gap.OutsideAt)
	f := fit.Finding{
		Severity: fit.Error, Rule: "outside", Bend: p.bend, Unit: "mm", At: &p.at,
		Message: fmt.Sprintf("the bar is outside the cabin, %s", p.text),
	}
	if k.shell != nil {
		if d := k.shell.Index.Closest(p.at).Distance; !math.IsInf(d, 0) {
			f.Got = d
			f.Message = fmt.Sprintf("the bar is outside the cabin, %.1f mm deep %s", d, p.text)
		}
	}
	return []fit.Finding{f}
}

// tight checks that a hugging bar could not come much closer to the shell.
func tight(b *fit.Bar) []fit.Finding {
	if b.Job == nil || !b.Job.Hug || !b.Solved {
		return nil
	}
	// What design.md section 4 calls tight.
	limit := max(0.2, 0.02*b.Gap.Mean)
	var out []fit.Finding
	if b.Symmetry > symmetryCost {
		out = append(out, fit.Finding{
			Severity: fit.Note, Rule: "tight", Got: b.Symmetry, Limit: symmetryCost, Unit: "mm",
			Message: fmt.Sprintf("fitted alone this side could be %.1f mm closer to the shell on average: that is what one bend table for both sides costs here", b.Symmetry),
		})
	}
	if b.Gap.Gain <= limit {
		return out
	}
	return append(out, fit.Finding{
		Severity: fit.Warning, Rule: "tight", Got: b.Gap.Gain, Limit: limit, Unit: "mm",
		Message: fmt.Sprintf("a small move would still bring the bar %.1f mm closer to the shell on average (mean gap %.1f mm)", b.Gap.Gain, b.Gap.Mean),
	})
}

// holdingSlack is how near to its clearance, mm, a bar is held by something.
const holdingSlack = 1

// symmetryCost is the loss of mean gap, mm, from which a pair is told what its
// symmetry costs. Common practice, no source: about what a builder can see.
const symmetryCost = 1

// noise returns the scan's estimated noise, one sigma in mm.
func (k *checker) noise() float64 {
	if k.shell != nil {
		return k.shell.Noise
	}
	return k.cage.Shell.Noise
}

// accuracy compares clearances with what the scan can tell: three sigma of the
// accuracy given, or of the noise found, which is the lesser part of it. One
// finding for each clearance that is too small.
func (k *checker) accuracy() []fit.Finding {
	sigma, what := k.job.Shell.Accuracy, "accuracy"
	if sigma <= 0 {
		sigma, what = k.noise(), "noise"
	}
	var clearances []float64
	bars := map[float64][]string{}
	for _, b := range k.cage.Bars {
		if b.Clearance < 3*sigma {
			if bars[b.Clearance] == nil {
				clearances = append(clearances, b.Clearance)
			}
			bars[b.Clearance] = append(bars[b.Clearance], b.Name)
		}
	}
	var out []fit.Finding
	for _, c := range clearances {
		got, limit := figures(c, 3*sigma)
		f := fit.Finding{Severity: fit.Warning, Rule: "scan-accuracy", Got: c, Limit: 3 * sigma, Unit: "mm"}
		who := fmt.Sprintf("of %d bars", len(bars[c]))
		if len(bars[c]) == 1 {
			f.Bar = bars[c][0]
			who = "of this bar"
		}
		f.Message = fmt.Sprintf("the clearance %s, %s mm, is within the scan's own error: three sigma of its %s are %s mm", who, got, what, limit)
		out = append(out, f)
	}
	return out
}

// suspects measures spikes and islands of the scan that were left out of the fit
// and are closer to the bar than its clearance.
func (k *checker) suspects(b *fit.Bar) []fit.Finding {
	if k.shell == nil {
		return nil
	}
	raw := k.shell.Raw
	var out []fit.Finding
	for i := range k.shell.Suspects {
		s := &k.shell.Suspects[i]
		part := &mesh.Mesh{Vertices: raw.Vertices, Triangles: make([][3]int32, len(s.Triangles))}
		for n, t := range s.Triangles {
			part.Triangles[n] = raw.Triangles[t]
		}
		box := part.Bounds()
		centre := box.Min.Add(box.Max).Mul(0.5)
		if _, d := b.Path.Closest(centre); d-box.Size().Norm()/2 >= b.Radius()+b.Clearance+holdingSlack {
			continue
		}
		c := fit.Certify(b.Path, fit.Requirement{Radius: b.Radius(), Clearance: b.Clearance}, mesh.NewIndex(part), nil)
		p := on(b.Path, c.WorstAt)
		if s.Kept && c.CertifiedMin < b.Clearance+holdingSlack {
			out = append(out, fit.Finding{
				Severity: fit.Note, Rule: "scan-accuracy", Bend: p.bend, Got: c.CertifiedMin, Limit: b.Clearance, Unit: "mm", At: pointer(s.At),
				Message: fmt.Sprintf("%s kept as the job asks, holds the bar off the shell %s: look at the car whether it is there", suspectName(s), p.text),
			})
		}
		if s.Kept || c.CertifiedMin >= b.Clearance {
			continue
		}
		how := fmt.Sprintf("%.1f mm from the tube", c.CertifiedMin)
		if c.CertifiedMin < 0 {
			how = fmt.Sprintf("%.1f mm into the tube", -c.CertifiedMin)
		}
		out = append(out, fit.Finding{
			Severity: fit.Warning, Rule: "scan-accuracy", Bend: p.bend, Got: c.CertifiedMin, Limit: b.Clearance, Unit: "mm", At: pointer(s.At),
			Message: fmt.Sprintf("the scan shows %s %s %s; the fit left it out: look at the car", suspectName(s), how, p.text),
		})
	}
	if len(out) == 0 && b.Gap.CertifiedMin >= b.Clearance-lengthTol && b.Gap.RawMin < b.Clearance-lengthTol {
		got, limit := figures(b.Gap.RawMin, b.Clearance)
		out = append(out, fit.Finding{
			Severity: fit.Note, Rule: "scan-accuracy", Got: b.Gap.RawMin, Limit: b.Clearance, Unit: "mm",
			Message: fmt.Sprintf("against every triangle of the file the tube has %s mm, asked %s mm", got, limit),
		})
	}
	return out
}

func suspectName(s *mesh.Suspect) string {
	if s.Kind == mesh.Spike {
		return fmt.Sprintf("a spike of %.0f mm,", s.Height)
	}
	return fmt.Sprintf("a loose piece of %.0f mm,", s.Size)
}

// keepouts checks that no part of the tube is in a keep-out.
func (k *checker) keepouts(b *fit.Bar) []fit.Finding {
	var out []fit.Finding
	for _, s := range k.solids {
		c := fit.Certify(b.Path, fit.Requirement{Radius: b.Radius()}, s.surface, s.clear)
		if c.CertifiedMin >= -lengthTol {
			continue
		}
		p := on(b.Path, c.WorstAt)
		out = append(out, fit.Finding{
			Severity: fit.Error, Rule: "keepout", Other: s.name, Bend: p.bend, Got: c.CertifiedMin, Limit: 0, Unit: "mm", At: &p.at,
			Message: fmt.Sprintf("the tube is %.1f mm inside keep-out %q %s", -c.CertifiedMin, s.name, p.text),
		})
	}
	return out
}

// blocked adds what the solver could not meet and the checks have not found to
// be broken: it was close, or another rule took the strain.
func (k *checker) blocked(b *fit.Bar, found []fit.Finding) []fit.Finding {
	known := map[string]bool{}
	for _, f := range found {
		if f.Severity != fit.Note {
			known[f.Rule] = true
		}
	}
	for _, x := range b.Blocking {
		if known[x.Rule] {
			continue
		}
		f := fit.Finding{
			Severity: fit.Warning, Rule: x.Rule, Bar: b.Name, Bend: x.Bend, Got: x.Got, Limit: x.Limit, Unit: x.Unit,
			Message: "no place was found that meets this with room to spare",
		}
		if x.At != (r3.Vector{}) {
			f.At = pointer(x.At)
		}
		got, limit := figures(x.Got, x.Limit)
		f.Message += fmt.Sprintf(": %s %s against %s %s", got, x.Unit, limit, x.Unit)
		if x.Detail != "" {
			f.Message += ", " + x.Detail
		}
		found = append(found, f)
	}
	return found
}
