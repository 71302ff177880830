// Package finish works out what follows once all bars stand: joints and end
// cuts, the blanks to saw and how they are bent, what errors of bending do, and
// the findings about all of it.
//
// It only calls, in their order, the packages that do the work: fit/cope,
// fit/bender, fit/budget and fit/check. Lengths are mm, angles s1.Angle.
package finish

import (
	"context"

	"barwright/fit"
	"barwright/fit/bender"
	"barwright/fit/budget"
	"barwright/fit/check"
	"barwright/fit/cope"
	"barwright/fit/job"
	"barwright/mesh"
)

// Cage completes a fitted cage in place: its joints, plates, each bar's end cuts,
// blank and error budget, and the findings. sh may be nil: what needs the scan is then
// left out. The only errors are those of the context and of tolerances out of
// range.
func Cage(ctx context.Context, c *fit.Cage, j *job.Job, sh *mesh.Shell, opt check.Options) error {
	opt.Joints = cope.Work(c, j, sh, opt.Workers)
	plates, found := cope.Plates(c, j, sh)
	c.Plates = plates
	cope.Seat(c)
	opt.Joints = append(opt.Joints, found...)
	for i, b := range c.Bars {
		b.Blank = bender.Plan(b.Tube, b.Path, reach(c, i))
	}
	tol := budget.Tolerances{Angle: j.Tolerance.Angle, Length: j.Tolerance.Length, Landing: j.Shell.LandingAngle}
	if err := budget.Work(ctx, c, sh, tol, opt.Workers); err != nil {
		return err
	}
	c.Findings = check.Cage(c, j, sh, opt)
	return ctx.Err()
}

// reach returns how far a bar's finished ends reach past its nodes. A pair is
// sawn and bent alike, and so are the two halves of a self-mirrored bar: the
// longer end counts for both.
func reach(c *fit.Cage, i int) [2]float64 {
	b := c.Bars[i]
	out := [2]float64{b.Cuts[0].Beyond(), b.Cuts[1].Beyond()}
	for k := max(0, i-1); k <= min(i+1, len(c.Bars)-1); k++ { // a pair's mirror follows its twin
		if twin := c.Bars[k]; twin.MirrorOf == b.Name && twin.Mirrored || b.Mirrored && b.MirrorOf == twin.Name {
			out[0], out[1] = max(out[0], twin.Cuts[0].Beyond()), max(out[1], twin.Cuts[1].Beyond())
		}
	}
	if b.Job != nil && b.Job.Mirror == job.Self {
		out[0] = max(out[0], out[1])
		out[1] = out[0]
	}
	return out
}
