package job

import (
	"strings"

	"github.com/golang/geo/r3"
)

// Instance is one tube that is made: a bar of the job, or the mirror image of
// a paired one.
type Instance struct {
	Index    int    // of the bar in Job.Bars
	Bar      *Bar   // that bar
	Name     string // with MirrorSuffix if mirrored
	Mirrored bool
	Sketch   []r3.Vector // mm; mirrored in y = 0 if Mirrored
	Ends     [2]End      // with landing targets of this instance
}

// Expanded returns every tube that the job makes: the bars in job order, each
// paired one followed by its mirror image. What the mirror image lands on is
// the mirror image of what its twin lands on.
func (j *Job) Expanded() []Instance {
	var all []Instance
	for i := range j.Bars {
		b := &j.Bars[i]
		all = append(all, Instance{Index: i, Bar: b, Name: b.Name, Sketch: append([]r3.Vector(nil), b.Sketch...), Ends: b.Ends})
		if b.Mirror != Pair {
			continue
		}
		twin := Instance{Index: i, Bar: b, Name: b.Name + MirrorSuffix, Mirrored: true, Ends: b.Ends}
		for _, p := range b.Sketch {
			twin.Sketch = append(twin.Sketch, mirrored(p))
		}
		for k, e := range twin.Ends {
			if e.Kind == Landed {
				twin.Ends[k].Onto = j.MirrorName(e.Onto)
			}
		}
		all = append(all, twin)
	}
	return all
}

// MirrorName returns the name of the mirror image of the instance of that name:
// the twin of one of a pair, else itself.
func (j *Job) MirrorName(name string) string {
	i, _ := j.Find(name)
	if i < 0 {
		return name
	}
	return mirrorName(name, j.Bars[i].Mirror)
}

func mirrorName(name string, m Mirror) string {
	if m != Pair {
		return name
	}
	if base, ok := strings.CutSuffix(name, MirrorSuffix); ok {
		return base
	}
	return name + MirrorSuffix
}

// Find returns the index in Bars of the bar that makes the instance of that
// name, and whether it is the mirrored one; -1 if there is none.
func (j *Job) Find(name string) (index int, isMirror bool) {
	base, isMirror := strings.CutSuffix(name, MirrorSuffix)
	for i := range j.Bars {
		if j.Bars[i].Name == base && (!isMirror || j.Bars[i].Mirror == Pair) {
			return i, isMirror
		}
	}
	return -1, false
}

// Order returns the indices of Bars in levels: the bars of a level land only on
// bars of earlier levels, so that they can be fitted at the same time. Within a
// level they are in job order. A pair is one bar here. In a Job that Parse did
// not check, bars that land on each other in a loop come together at the end.
func (j *Job) Order() [][]int {
	placed := make([]bool, len(j.Bars))
	var levels [][]int
	for left := len(j.Bars); left > 0; {
		var level []int
		for i := range j.Bars {
			if !placed[i] && j.ready(i, placed) {
				level = append(level, i)
			}
		}
		if level == nil {
			for i := range j.Bars {
				if !placed[i] {
					level = append(level, i)
				}
			}
		}
		for _, i := range level {
			placed[i] = true
		}
		left -= len(level)
		levels = append(levels, level)
	}
	return levels
}

// ready tells whether all that a bar lands on is placed.
func (j *Job) ready(i int, placed []bool) bool {
	for _, e := range j.Bars[i].Ends {
		if e.Kind != Landed {
			continue
		}
		if k, _ := j.Find(e.Onto); k >= 0 && !placed[k] {
			return false
		}
	}
	return true
}
