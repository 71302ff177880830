package job

import (
	"bytes"
	"unicode/utf8"

	"barwright/fit/tube"
)

// largest is the size in bytes of the largest job file that is read: one of a
// thousand bars has some 300 kB.
const largest = 512 << 10

// inMM tells how many mm a unit has.
var inMM = map[Unit]float64{MM: 1, CM: 10, M: 1000, Inch: 25.4}

// Parse reads a job file from its bytes. name is the file's name, for messages
// and Job.File; nothing is opened. All that is wrong comes back as ParseErrors,
// sorted by place; then there is no Job.
func Parse(name string, data []byte) (*Job, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	r := &reader{source: newSource(name, data), unit: MM, mm: 1, frame: CarFrame}
	job := r.job()
	if errs := r.all(); len(errs) > 0 {
		return nil, errs
	}
	return job, nil
}

// job reads the whole file. Errors are noted in r.
func (r *reader) job() *Job {
	if len(r.data) > largest {
		r.errorf(0, "the job file has %d bytes, must have at most %d", len(r.data), largest)
		return nil
	}
	if at := NotText(r.data); at >= 0 {
		r.errorf(at, "not a text file: byte 0x%02x", r.data[at])
		return nil
	}
	root := r.parse()
	if root == nil {
		return nil
	}
	if len(root.order) == 0 && len(r.errs) == 0 {
		r.errorf(0, "the job file is empty")
		return nil
	}
	if e := root.get("units"); e != nil {
		w, ok := r.word("units", e.val, string(MM), string(CM), string(M), string(Inch))
		if ok {
			r.unit, r.mm = Unit(w), inMM[Unit(w)]
		}
		r.unitless = !ok
	}
	d := &draft{Job: &Job{File: r.file, Unit: r.unit}, pairs: map[*tube.Die]bool{}}
	d.SketchFrame, d.Shell.Unit, d.Shell.LandingAngle = CarFrame, Auto, defaultLanding
	defaultShop(d.Job)
	table(r, "", root, jobFields, d)
	return d.Job
}

// NotText returns the offset of the first byte that is no UTF-8 or is zero, or
// -1. TOML's own rules look after the other control characters.
func NotText(data []byte) int {
	for i := 0; i < len(data); {
		c, n := utf8.DecodeRune(data[i:])
		if c == 0 || c == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}
