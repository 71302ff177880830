package table

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/golang/geo/r3"
	"github.com/golang/geo/s1"

	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

const (
	format  = "barwright.cage"
	version = 1

	// maxBytes bounds what ReadCage takes in: a thousand bars need about 5 MB.
	maxBytes = 256 << 20
)

// number is a JSON number rounded to 1e-9, or null if it is not finite.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	v := float64(n)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, settle(v), 'f', -1, 64), nil
}

// settle rounds to 1e-9. Above 2^53 * 1e-9, nine million, a float64 has no such
// digits and the value stays as it is.
func settle(v float64) float64 {
	const steps = 1e9
	if math.Abs(v) < 9e6 {
		v = math.Round(v*steps) / steps
	}
	return v + 0 // -0 becomes 0
}

func (n *number) UnmarshalJSON(data []byte) error {
	if string(data) == "null" {
		*n = number(math.NaN())
		return nil
	}
	return json.Unmarshal(data, (*float64)(n))
}

type vector [3]number

func vec(v r3.Vector) vector { return vector{number(v.X), number(v.Y), number(v.Z)} }

func (v vector) r3() r3.Vector {
	return r3.Vector{X: float64(v[0]), Y: float64(v[1]), Z: float64(v[2])}
}

func vecs(vs []r3.Vector) []vector {
	out := make([]vector, len(vs)) // never nil: an empty list is [], not null
	for i, v := range vs {
		out[i] = vec(v)
	}
	return out
}

func r3s(vs []vector) []r3.Vector {
	if len(vs) == 0 {
		return nil
	}
	out := make([]r3.Vector, len(vs))
	for i, v := range vs {
		out[i] = v.r3()
	}
	return out
}

func degrees(a s1.Angle) number { return number(tube.Degrees(a)) }

func angle(deg number) s1.Angle { return s1.Angle(deg) * s1.Degree }

// The JSON side. Field names are the contract's; what it does not name is an
// addition of ours, marked +.
type (
	cageJSON struct {
		Format   string        `json:"format"`
		Version  int           `json:"version"`
		Title    string        `json:"title"`
		Status   string        `json:"status"` // +
		Shell    shellJSON     `json:"shell"`
		Bars     []barJSON     `json:"bars"`
		Joints   []jointJSON   `json:"joints"`
		Plates   []plateJSON   `json:"plates"` // + under the feet
		Findings []findingJSON `json:"findings"`
	}
	shellJSON struct {
		File      string `json:"file"`
		Triangles int    `json:"triangles"`
		Unit      string `json:"unit"`
		Clearance number `json:"clearance_mm"`
		Noise     number `json:"noise_mm"` // +
		Suspects  int    `json:"suspects"` // +
	}
	barJSON struct {
		Name      string        `json:"name"`
		Tube      string        `json:"tube"`
		OD        number        `json:"od_mm"`
		Wall      number        `json:"wall_mm"`
		CLR       *number       `json:"clr_mm"`   // null: no die, only used straight
		Die       string        `json:"die"`      // +
		Material  materialJSON  `json:"material"` // +
		Stick     number        `json:"stick_mm"` // + 0: not limited
		MirrorOf  *string       `json:"mirror_of"`
		Ends      [2]string     `json:"ends"`
		Nodes     []vector      `json:"nodes_mm"`
		Path      []segmentJSON `json:"path"`
		Bends     []bendJSON    `json:"bends"`
		Tail      number        `json:"tail_mm"`
		Developed number        `json:"developed_mm"`
		Cut       number        `json:"cut_mm"`
		Mass      number        `json:"mass_kg"`
		Clearance number        `json:"clearance_mm"`
		Gap       gapJSON       `json:"gap"`
		Feet      []footJSON    `json:"feet"`     // +
		Blocking  []blockJSON   `json:"blocking"` // +
		Solved    bool          `json:"solved"`   // +
		Blank     *blankJSON    `json:"blank"`    // + null: not planned
		Budget    *budgetJSON   `json:"budget"`   // + null: not worked out
		Status    string        `json:"status"`
	}
	materialJSON struct {
		Name    string `json:"name"`
		Yield   number `json:"yield_mpa"`
		E       number `json:"e_mpa"`
		Density number `json:"density_kg_m3"`
		Source  string `json:"source"`
	}
	segmentJSON struct {
		Kind   string  `json:"kind"`
		From   vector  `json:"from_mm"`
		To     vector  `json:"to_mm"`
		Length number  `json:"length_mm"`
		Dir    *vector `json:"dir,omitempty"` // + straights: unit direction
		Centre *vector `json:"centre_mm,omitempty"`
		Axis   *vector `json:"axis,omitempty"`
		Radius *number `json:"radius_mm,omitempty"`
		Angle  *number `json:"angle_deg,omitempty"`
		Node   int     `json:"node,omitempty"` // + arcs: index into nodes_mm
	}
	bendJSON struct {
		Feed      number `json:"feed_mm"`
		Rotation  number `json:"rotation_deg"`
		Angle     number `json:"angle_deg"`
		Set       number `json:"set_deg"`
		Mark      number `json:"mark_mm"`
		Estimated bool   `json:"set_estimated"` // +
		Node      int    `json:"node"`          // + index into nodes_mm
	}
	gapJSON struct {
		Min       number   `json:"min_mm"`
		Mean      number   `json:"mean_mm"`
		Max       number   `json:"max_mm"`
		RMS       number   `json:"rms_over_mm"`
		Certified number   `json:"certified_min_mm"`
		Deficit   number   `json:"deficit_mm"`    // +
		DeficitAt vector   `json:"deficit_at_mm"` // +
		Raw       number   `json:"raw_min_mm"`
		Gain      number   `json:"gain_mm"`
		Residual  number   `json:"residual"` // +
		Contacts  []vector `json:"contacts"`
		CapHeld   bool     `json:"cap_held"`        // +
		WorstAt   vector   `json:"certified_at_mm"` // + where certified_min_mm is
		Outside   bool     `json:"outside"`         // +
		OutsideAt vector   `json:"outside_at_mm"`   // +
	}
	footJSON struct {
		End    string `json:"end"`
		Point  vector `json:"point_mm"`
		Normal vector `json:"normal"`
		Error  number `json:"error_mm"`
		Packer number `json:"packer_mm"`
		Angle  number `json:"angle_deg"`
	}
	blockJSON struct {
		Rule   string `json:"rule"`
		Bend   int    `json:"bend,omitempty"`
		Got    number `json:"got"`
		Limit  number `json:"limit"`
		Unit   string `json:"unit"`
		At     vector `json:"at"`
		Detail string `json:"detail"`
	}
	findingJSON struct {
		Severity string  `json:"severity"`
		Rule     string  `json:"rule"`
		Bar      string  `json:"bar"`
		Other    string  `json:"other,omitempty"`
		Bend     int     `json:"bend,omitempty"`
		Joint    string  `json:"joint,omitempty"`
		Got      number  `json:"got"`
		Limit    number  `json:"limit"`
		Unit     string  `json:"unit"`
		At       *vector `json:"at"` // null: the finding has no place
		Message  string  `json:"message"`
	}
)

// WriteCage writes c as indented JSON in the schema "barwright.cage" version 1.
// Lengths are in mm, angles in degrees, numbers rounded to 1e-9.
func WriteCage(w io.Writer, c *fit.Cage) error {
	out := cageJSON{
		Format: format, Version: version, Title: c.Title, Status: CageStatus(c),
		Shell: shellJSON{
			File: c.Shell.File, Triangles: c.Shell.Triangles, Unit: string(c.Shell.Unit),
			Clearance: number(c.Shell.Clearance), Noise: number(c.Shell.Noise), Suspects: c.Shell.Suspects,
		},
		Bars:     make([]barJSON, 0, len(c.Bars)),
		Joints:   make([]jointJSON, 0, len(c.Joints)),
		Plates:   platesOut(c.Plates),
		Findings: make([]findingJSON, 0, len(c.Findings)),
	}
	for _, b := range c.Bars {
		out.Bars = append(out.Bars, barOut(c, b))
	}
	for i := range c.Joints {
		out.Joints = append(out.Joints, jointOut(&c.Joints[i]))
	}
	for _, f := range c.Findings {
		row := findingJSON{
			Severity: string(f.Severity), Rule: f.Rule, Bar: f.Bar, Other: f.Other, Bend: f.Bend, Joint: f.Joint,
			Got: number(f.Got), Limit: number(f.Limit), Unit: f.Unit, Message: f.Message,
		}
		if f.At != nil {
			at := vec(*f.At)
			row.At = &at
		}
		out.Findings = append(out.Findings, row)
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	return enc.Encode(&out)
}

func barOut(c *fit.Cage, b *fit.Bar) barJSON {
	out := barJSON{
		Name: b.Name, Tube: b.Tube.Name, OD: number(b.Tube.OD), Wall: number(b.Tube.Wall),
		Material: materialJSON{
			Name: b.Tube.Material.Name, Yield: number(b.Tube.Material.Yield), E: number(b.Tube.Material.E),
			Density: number(b.Tube.Material.Density), Source: b.Tube.Material.Source,
		},
		Stick: number(b.Tube.Stick),
		Ends:  [2]string{endName(b.Ends[0]), endName(b.Ends[1])},
		Nodes: vecs(b.Path.Nodes),
		Path:  make([]segmentJSON, 0, len(b.Path.Segments)),
		Bends: make([]bendJSON, 0, len(b.Table.Bends)),
		Tail:  number(b.Table.Tail), Developed: number(b.Table.Developed), Cut: number(b.SawLength()),
		Mass: number(b.Tube.Mass(b.Path.Length)), Clearance: number(b.Clearance),
		Gap: gapJSON{
			Min: number(b.Gap.Min), Mean: number(b.Gap.Mean), Max: number(b.Gap.Max),
			RMS: number(b.Gap.RMSOver), Certified: number(b.Gap.CertifiedMin),
			Deficit: number(b.Gap.Deficit), DeficitAt: vec(b.Gap.DeficitAt), Raw: number(b.Gap.RawMin),
			Gain: number(b.Gap.Gain), Residual: number(b.Gap.Residual),
			Contacts: vecs(b.Gap.Contacts), CapHeld: b.Gap.CapHeld,
			WorstAt: vec(b.Gap.WorstAt), Outside: b.Gap.Outside, OutsideAt: vec(b.Gap.OutsideAt),
		},
		Feet:     make([]footJSON, 0, len(b.Feet)),
		Blocking: make([]blockJSON, 0, len(b.Blocking)),
		Solved:   b.Solved,
		Blank:    blankOut(b.Blank),
		Budget:   budgetOut(b.Budget),
		Status:   Status(c, b.Name),
	}
	if die := b.Tube.Die; die != nil {
		clr := number(die.CLR)
		out.CLR, out.Die = &clr, die.Name
	}
	if b.Mirrored {
		out.MirrorOf = &b.MirrorOf
	}
	for i := range b.Path.Segments {
		out.Path = append(out.Path, segmentOut(&b.Path.Segments[i]))
	}
	for _, t := range b.Table.Bends {
		out.Bends = append(out.Bends, bendJSON{
			Feed: number(t.Feed), Rotation: degrees(t.Rotation), Angle: degrees(t.Angle), Set: degrees(t.Set),
			Mark: number(t.Mark), Estimated: t.Estimated, Node: t.Node,
		})
	}
	for _, f := range b.Feet {
		out.Feet = append(out.Feet, footJSON{
			End: "AB"[f.End : f.End+1], Point: vec(f.Point), Normal: vec(f.Normal),
			Error: number(f.Error), Packer: number(f.Packer), Angle: number(f.Angle),
		})
	}
	for _, k := range b.Blocking {
		out.Blocking = append(out.Blocking, blockJSON{
			Rule: k.Rule, Bend: k.Bend, Got: number(k.Got), Limit: number(k.Limit), Unit: k.Unit,
			At: vec(k.At), Detail: k.Detail,
		})
	}
	return out
}

func segmentOut(s *tube.Segment) segmentJSON {
	out := segmentJSON{Kind: "straight", From: vec(s.From), To: vec(s.To), Length: number(s.Length)}
	if s.Kind == tube.Straight {
		dir := vec(s.Dir)
		out.Dir = &dir
		return out
	}
	centre, axis, radius, turn := vec(s.Centre), vec(s.Axis), number(s.Radius), degrees(s.Angle)
	out.Kind, out.Node = "arc", s.Node
	out.Centre, out.Axis, out.Radius, out.Angle = &centre, &axis, &radius, &turn
	return out
}

// endName gives an end as the job file writes it. A bar can't be called "shell"
// or "free": the job refuses those names.
func endName(e job.End) string {
	switch e.Kind {
	case job.Foot:
		return "shell"
	case job.Free:
		return "free"
	}
	return e.Onto
}

func endOf(name string) job.End {
	switch name {
	case "shell":
		return job.End{Kind: job.Foot}
	case "free":
		return job.End{Kind: job.Free}
	}
	return job.End{Kind: job.Landed, Onto: name}
}

// ReadCage reads what [WriteCage] wrote. What the file does not hold stays
// empty: the job's bars (Job is nil) and of a die all but its name, tube size
// and radius. Input that is not a cage of version 1, that lacks a path or holds
// a null where a coordinate belongs is an error.
func ReadCage(r io.Reader) (*fit.Cage, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return nil, err
	}
	if len(data) > maxBytes {
		return nil, fmt.Errorf("cage file is over %d MB", maxBytes>>20)
	}
	var in cageJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return nil, fmt.Errorf("cage file: %w", err)
	}
	if in.Format != format {
		return nil, fmt.Errorf("cage file: format is %q, not %q", in.Format, format)
	}
	if in.Version != version {
		return nil, fmt.Errorf("cage file: version %d is not known, only %d", in.Version, version)
	}
	c := &fit.Cage{
		Title: in.Title,
		Shell: fit.ShellInfo{
			File: in.Shell.File, Triangles: in.Shell.Triangles, Unit: job.Unit(in.Shell.Unit),
			Clearance: float64(in.Shell.Clearance), Noise: float64(in.Shell.Noise), Suspects: in.Shell.Suspects,
		},
	}
	for i := range in.Bars {
		b, err := barIn(&in.Bars[i])
		if err != nil {
			return nil, fmt.Errorf("cage file: bar %q: %w", in.Bars[i].Name, err)
		}
		c.Bars = append(c.Bars, b)
	}
	for i := range in.Joints {
		c.Joints = append(c.Joints, jointIn(&in.Joints[i]))
	}
	c.Plates = platesIn(in.Plates)
	for _, f := range in.Findings {
		row := fit.Finding{
			Severity: fit.Severity(f.Severity), Rule: f.Rule, Bar: f.Bar, Other: f.Other, Bend: f.Bend,
			Joint: f.Joint, Got: float64(f.Got), Limit: float64(f.Limit), Unit: f.Unit, Message: f.Message,
		}
		if f.At != nil {
			at := f.At.r3()
			row.At = &at
		}
		c.Findings = append(c.Findings, row)
	}
	return c, nil
}

func barIn(in *barJSON) (*fit.Bar, error) {
	spec := &tube.Spec{
		Name: in.Tube, OD: float64(in.OD), Wall: float64(in.Wall), Stick: float64(in.Stick),
		Material: tube.Material{
			Name: in.Material.Name, Yield: float64(in.Material.Yield), E: float64(in.Material.E),
			Density: float64(in.Material.Density), Source: in.Material.Source,
		},
	}
	if in.CLR != nil {
		spec.Die = &tube.Die{Name: in.Die, OD: spec.OD, CLR: float64(*in.CLR)}
	}
	b := &fit.Bar{
		Name: in.Name, Tube: spec, Ends: [2]job.End{endOf(in.Ends[0]), endOf(in.Ends[1])},
		Clearance: float64(in.Clearance), Solved: in.Solved, Blank: blankIn(in.Blank), Budget: budgetIn(in.Budget),
		Table: tube.Table{Tail: float64(in.Tail), Developed: float64(in.Developed), Cut: float64(in.Cut)},
		Gap: fit.Gap{
			Min: float64(in.Gap.Min), Mean: float64(in.Gap.Mean), Max: float64(in.Gap.Max),
			RMSOver: float64(in.Gap.RMS), CertifiedMin: float64(in.Gap.Certified),
			Deficit: float64(in.Gap.Deficit), DeficitAt: in.Gap.DeficitAt.r3(), RawMin: float64(in.Gap.Raw),
			Gain: float64(in.Gap.Gain), Residual: float64(in.Gap.Residual),
			Contacts: r3s(in.Gap.Contacts), CapHeld: in.Gap.CapHeld,
			WorstAt: in.Gap.WorstAt.r3(), Outside: in.Gap.Outside, OutsideAt: in.Gap.OutsideAt.r3(),
		},
	}
	if b.Blank != nil { // cut_mm is the blank's length; the table's goes from node to node
		b.Table.Cut -= b.Blank.Beyond[0] + b.Blank.Beyond[1]
	}
	if in.MirrorOf != nil {
		b.Mirrored, b.MirrorOf = true, *in.MirrorOf
	}
	for _, t := range in.Bends {
		b.Table.Bends = append(b.Table.Bends, tube.Bend{
			Feed: float64(t.Feed), Rotation: angle(t.Rotation), Angle: angle(t.Angle), Set: angle(t.Set),
			Mark: float64(t.Mark), Estimated: t.Estimated, Node: t.Node,
		})
	}
	for _, f := range in.Feet {
		end := 0
		if f.End == "B" {
			end = 1
		}
		b.Feet = append(b.Feet, fit.Foot{
			End: end, Point: f.Point.r3(), Normal: f.Normal.r3(),
			Error: float64(f.Error), Packer: float64(f.Packer), Angle: float64(f.Angle),
		})
	}
	for _, k := range in.Blocking {
		b.Blocking = append(b.Blocking, fit.Blocker{
			Rule: k.Rule, Bend: k.Bend, Got: float64(k.Got), Limit: float64(k.Limit), Unit: k.Unit,
			At: k.At.r3(), Detail: k.Detail,
		})
	}
	path, err := pathIn(in)
	if err != nil {
		return nil, err
	}
	b.Path = path
	return b, nil
}

func pathIn(in *barJSON) (*tube.Path, error) {
	if len(in.Nodes) < 2 || len(in.Path) == 0 {
		return nil, errors.New("no path")
	}
	p := &tube.Path{Nodes: r3s(in.Nodes)}
	if in.CLR != nil {
		p.Radius = float64(*in.CLR)
	}
	for _, n := range p.Nodes {
		if !finite(n) {
			return nil, errors.New("a node has no coordinates")
		}
	}
	for i := range in.Path {
		s, err := segmentIn(&in.Path[i], len(in.Nodes))
		if err != nil {
			return nil, fmt.Errorf("path[%d]: %w", i, err)
		}
		s.Start = p.Length
		p.Length += s.Length
		p.Segments = append(p.Segments, s)
	}
	return p, nil
}

func segmentIn(in *segmentJSON, nodes int) (tube.Segment, error) {
	s := tube.Segment{From: in.From.r3(), To: in.To.r3(), Length: float64(in.Length)}
	switch {
	case in.Kind == "straight" && in.Dir != nil:
		s.Kind, s.Dir = tube.Straight, in.Dir.r3()
	case in.Kind == "arc" && in.Centre != nil && in.Axis != nil && in.Radius != nil && in.Angle != nil:
		s.Kind, s.Centre, s.Axis = tube.Arc, in.Centre.r3(), in.Axis.r3()
		s.Radius, s.Angle, s.Node = float64(*in.Radius), angle(*in.Angle), in.Node
		s.Dir = s.Axis.Cross(s.From.Sub(s.Centre)).Normalize()
	default:
		return s, fmt.Errorf("kind %q is not known or lacks a field", in.Kind)
	}
	if s.Node < 0 || s.Node >= nodes {
		return s, fmt.Errorf("node %d is not one of %d", s.Node, nodes)
	}
	numbers := r3.Vector{X: s.Length, Y: s.Radius, Z: float64(s.Angle)}
	for _, v := range []r3.Vector{s.From, s.To, s.Dir, s.Centre, s.Axis, numbers} {
		if !finite(v) {
			return s, errors.New("a number is missing")
		}
	}
	return s, nil
}

func finite(v r3.Vector) bool {
	sum := v.X + v.Y + v.Z
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}
