package table

import (
	"cmp"
	"encoding/csv"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"barwright/fit"
	"barwright/fit/tube"
)

// Joints in cage.json. Names up to bead_mm are the contract's, the others are
// additions of ours.
type (
	jointJSON struct {
		Joint    string     `json:"joint"`
		Bar      string     `json:"bar"`
		End      string     `json:"end"`
		Onto     string     `json:"onto"`
		Angle    number     `json:"angle_deg"`
		Offset   number     `json:"offset_mm"`
		Clock    number     `json:"clock_deg"`
		At       number     `json:"at_mm"`
		Long     number     `json:"long_mm"`
		Short    number     `json:"short_mm"`
		Node     vector     `json:"node_mm"`
		Bead     []vector   `json:"bead_mm"`
		Wrap     number     `json:"wrap_mm"`        // +
		Length   number     `json:"bead_length_mm"` // +
		WedgeMin number     `json:"wedge_min_deg"`  // +
		WedgeMax number     `json:"wedge_max_deg"`  // +
		Order    int        `json:"order"`          // +
		Around   []string   `json:"around"`         // +
		Open     number     `json:"open"`           // + share of the girth, 0 to 1
		Saw      sawJSON    `json:"saw"`            // +
		Vent     *ventJSON  `json:"vent"`           // + null: none
		Zones    []zoneJSON `json:"zones"`          // +
	}
	sawJSON struct {
		Size       number `json:"size_mm"`
		Nearest    number `json:"nearest_mm"`
		Angle      number `json:"angle_deg"`
		Offset     number `json:"offset_mm"`
		Clock      number `json:"clock_deg"`
		Depth      number `json:"depth_mm"`
		Deepest    number `json:"deepest_mm"`
		Shallowest number `json:"shallowest_mm"`
		Passes     int    `json:"passes"`
		Exact      bool   `json:"exact"`
	}
	ventJSON struct {
		Bar      string `json:"bar"`
		At       number `json:"at_mm"`
		Clock    number `json:"clock_deg"`
		Wrap     number `json:"wrap_mm"`
		Point    vector `json:"point_mm"`
		Diameter number `json:"diameter_mm"`
		Margin   number `json:"margin_mm"`
	}
	zoneJSON struct {
		Joint string    `json:"joint"` // "": a foot
		Bar   string    `json:"bar"`
		From  number    `json:"from_mm"`
		To    number    `json:"to_mm"`
		Round bool      `json:"round"`
		Clock [2]number `json:"clock_deg"`
	}
)

func jointOut(j *fit.Joint) jointJSON {
	out := jointJSON{
		Joint: j.Name, Bar: j.Bar, End: j.End, Onto: j.Onto,
		Angle: number(j.Angle), Offset: number(j.Offset), Clock: number(j.Clock), At: number(j.At),
		Long: number(j.Long), Short: number(j.Short), Node: vec(j.Node), Bead: vecs(j.Bead),
		Wrap: number(j.Wrap), Length: number(j.Length), WedgeMin: number(j.WedgeMin), WedgeMax: number(j.WedgeMax),
		Order: j.Order, Around: append([]string{}, j.Around...), Open: number(j.Open),
		Saw: sawJSON{
			Size: number(j.Saw.Size), Nearest: number(j.Saw.Nearest), Angle: number(j.Saw.Angle), Offset: number(j.Saw.Offset),
			Clock: number(j.Saw.Clock), Depth: number(j.Saw.Depth), Deepest: number(j.Saw.Deepest), Shallowest: number(j.Saw.Shallowest),
			Passes: j.Saw.Passes, Exact: j.Saw.Exact,
		},
		Zones: make([]zoneJSON, 0, len(j.Zones)),
	}
	if v := j.Vent; v != nil {
		out.Vent = &ventJSON{
			Bar: v.Bar, At: number(v.At), Clock: number(v.Clock), Wrap: number(v.Wrap), Point: vec(v.Point),
			Diameter: number(v.Diameter), Margin: number(v.Margin),
		}
	}
	for _, z := range j.Zones {
		out.Zones = append(out.Zones, zoneJSON{
			z.Joint, z.Bar, number(z.From), number(z.To), z.Round, [2]number{number(z.Clock[0]), number(z.Clock[1])},
		})
	}
	return out
}

func jointIn(in *jointJSON) fit.Joint {
	out := fit.Joint{
		Name: in.Joint, Bar: in.Bar, End: in.End, Onto: in.Onto,
		Angle: float64(in.Angle), Offset: float64(in.Offset), Clock: float64(in.Clock), At: float64(in.At),
		Long: float64(in.Long), Short: float64(in.Short), Node: in.Node.r3(), Bead: r3s(in.Bead),
		Wrap: float64(in.Wrap), Length: float64(in.Length), WedgeMin: float64(in.WedgeMin), WedgeMax: float64(in.WedgeMax),
		Order: in.Order, Open: float64(in.Open),
		Saw: fit.Saw{
			Size: float64(in.Saw.Size), Nearest: float64(in.Saw.Nearest), Angle: float64(in.Saw.Angle), Offset: float64(in.Saw.Offset),
			Clock: float64(in.Saw.Clock), Depth: float64(in.Saw.Depth), Deepest: float64(in.Saw.Deepest), Shallowest: float64(in.Saw.Shallowest),
			Passes: in.Saw.Passes, Exact: in.Saw.Exact,
		},
	}
	if len(in.Around) > 0 {
		out.Around = in.Around
	}
	if v := in.Vent; v != nil {
		out.Vent = &fit.Vent{
			Bar: v.Bar, At: float64(v.At), Clock: float64(v.Clock), Wrap: float64(v.Wrap), Point: v.Point.r3(),
			Diameter: float64(v.Diameter), Margin: float64(v.Margin),
		}
	}
	for _, z := range in.Zones {
		out.Zones = append(out.Zones, fit.Zone{
			Joint: z.Joint, Bar: z.Bar, From: float64(z.From), To: float64(z.To), Round: z.Round,
			Clock: [2]float64{float64(z.Clock[0]), float64(z.Clock[1])},
		})
	}
	return out
}

// WriteJoints writes one CSV row per landed end, in the cage's order, columns
// joint,bar,end,onto,angle_deg,offset_mm,clock_deg,at_mm,long_mm,short_mm as in
// [fit.Joint], and then
//
//	wrap_mm                    clock_deg as a length round the target's outside
//	order,around               which end at its node it is to be cut, from 1; other bars that the notch goes round, with " + " between them
//	open_percent               of the edge that meets no bar
//	bead_mm                    length of the weld
//	wedge_min_deg,wedge_max_deg  between the two surfaces, square to the weld
//	saw_mm,saw_nearest_mm,saw_angle_deg,saw_offset_mm,saw_clock_deg,saw_depth_mm,saw_passes,saw_exact
//	                           notcher settings, as in [fit.Saw]; saw_exact is yes or no
//	vent_on,vent_at_mm,vent_clock_deg,vent_wrap_mm,vent_mm
//	                           the vent hole as in [fit.Vent], its diameter last; empty: none
//
// Rounded to 0.1, diameters to 0.01 mm, clocks into [0, 360).
func WriteJoints(w io.Writer, c *fit.Cage) error {
	rows := [][]string{{
		"joint", "bar", "end", "onto", "angle_deg", "offset_mm", "clock_deg", "at_mm", "long_mm", "short_mm",
		"wrap_mm", "order", "around", "open_percent", "bead_mm", "wedge_min_deg", "wedge_max_deg",
		"saw_mm", "saw_nearest_mm", "saw_angle_deg", "saw_offset_mm", "saw_clock_deg", "saw_depth_mm", "saw_passes", "saw_exact",
		"vent_on", "vent_at_mm", "vent_clock_deg", "vent_wrap_mm", "vent_mm",
	}}
	for i := range c.Joints {
		j := &c.Joints[i]
		s := &j.Saw
		row := []string{
			text(j.Name), text(j.Bar), j.End, text(j.Onto), Fixed(j.Angle, 1), Fixed(j.Offset, 1), clock(j.Clock), Fixed(j.At, 1), Fixed(j.Long, 1), Fixed(j.Short, 1),
			Fixed(j.Wrap, 1), strconv.Itoa(j.Order), text(strings.Join(j.Around, " + ")), Fixed(100*j.Open, 1), Fixed(j.Length, 1), Fixed(j.WedgeMin, 1), Fixed(j.WedgeMax, 1),
			Fixed(s.Size, 2), Fixed(s.Nearest, 2), Fixed(s.Angle, 1), Fixed(s.Offset, 1), clock(s.Clock), Fixed(s.Depth, 1), strconv.Itoa(s.Passes), yes(s.Exact),
		}
		if v := j.Vent; v != nil {
			row = append(row, text(v.Bar), Fixed(v.At, 1), clock(v.Clock), Fixed(v.Wrap, 1), Fixed(v.Diameter, 2))
		} else {
			row = append(row, "", "", "", "", "")
		}
		rows = append(rows, row)
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// WriteLandings writes where other bars land on each bar and where it is drilled,
// so that it can be marked on the bench: one CSV row per mark, bars in the cage's
// order and marks in order along them, columns
// bar,mark,at_mm,part,part_mm,from_a_mm,clock_deg,wrap_mm,joint,branch,branch_end,diameter_mm,bead_from_mm,bead_to_mm.
//
// mark is "bar" or "vent". at_mm is from node A along the bent bar's centreline.
// part is "straight 1", "bend 1", "straight 2" and so on from end A, and part_mm
// how far the mark is along it. from_a_mm is from the sawn end A along the
// straight blank, stretch of the bends before it taken in; empty if no blank is
// planned. The clock is counted from the bar's reference line, clockwise seen from
// end A; wrap_mm is the same round its outside. diameter_mm is that of the branch,
// or of the hole. at_mm of a bar is where its centreline ends on that of the bar
// that is marked; on the outside, an oblique one lies beside that: its weld
// reaches from bead_from_mm to bead_to_mm, as at_mm. Rounded to 0.1, diameters to
// 0.01 mm.
func WriteLandings(w io.Writer, c *fit.Cage) error {
	rows := [][]string{{
		"bar", "mark", "at_mm", "part", "part_mm", "from_a_mm", "clock_deg", "wrap_mm", "joint", "branch", "branch_end", "diameter_mm", "bead_from_mm", "bead_to_mm",
	}}
	od := map[string]float64{}
	for _, b := range c.Bars {
		od[b.Name] = b.Tube.OD
	}
	for _, b := range c.Bars {
		type mark struct {
			kind                      string
			at, clock, wrap, diameter float64
			joint                     *fit.Joint
		}
		var marks []mark
		for i := range c.Joints {
			j := &c.Joints[i]
			if j.Onto == b.Name {
				diameter := math.NaN()
				if d, ok := od[j.Bar]; ok {
					diameter = d
				}
				marks = append(marks, mark{"bar", j.At, j.Clock, j.Wrap, diameter, j})
			}
			if v := j.Vent; v != nil && v.Bar == b.Name {
				marks = append(marks, mark{"vent", v.At, v.Clock, v.Wrap, v.Diameter, j})
			}
		}
		slices.SortStableFunc(marks, func(p, q mark) int { return cmp.Compare(p.at, q.at) })
		for _, m := range marks {
			part, along, turned := partAt(b.Path, m.at)
			blank := math.NaN()
			if b.Blank != nil {
				blank = b.Blank.Beyond[0] + m.at - stretch(b)*turned
			}
			from, to := math.NaN(), math.NaN()
			if m.kind == "bar" {
				from, to = beadOn(b, m.joint)
			}
			rows = append(rows, []string{
				text(b.Name), m.kind, Fixed(m.at, 1), part, Fixed(along, 1), Fixed(blank, 1), clock(m.clock), Fixed(m.wrap, 1),
				text(m.joint.Name), text(m.joint.Bar), m.joint.End, Fixed(m.diameter, 2), Fixed(from, 1), Fixed(to, 1),
			})
		}
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// onSurface is how far (mm) a point of a bead may be off a bar's outside and still
// counts as lying on it. Beads are worked out to far less; the next bar of a node
// is farther off but for where two welds meet.
const onSurface = 0.01

// beadOn returns from where to where along a bar, mm from node A, a joint's bead
// lies on it; NaN: nowhere.
func beadOn(b *fit.Bar, j *fit.Joint) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, p := range j.Bead {
		if s, d := b.Path.Closest(p); math.Abs(d-b.Radius()) <= onSurface {
			from, to = min(from, s), max(to, s)
		}
	}
	if from > to {
		return math.NaN(), math.NaN()
	}
	return from, to
}

// partAt returns in which straight or bend of a path the distance s (mm) from
// node A is, how far along that part, and how much the path has turned by then,
// radians.
func partAt(p *tube.Path, s float64) (part string, along, turned float64) {
	straights, bends := 0, 0
	for i := range p.Segments {
		g := &p.Segments[i]
		if g.Kind == tube.Straight {
			straights++
			part = "straight " + strconv.Itoa(straights)
		} else {
			bends++
			part = "bend " + strconv.Itoa(bends)
		}
		along = s - g.Start
		last := i == len(p.Segments)-1
		if g.Kind == tube.Arc && along < g.Length {
			return part, along, turned + along/g.Radius
		}
		if along < g.Length || last {
			return part, along, turned
		}
		turned += float64(g.Angle)
	}
	return part, along, turned
}

// stretch returns how much the tube of a bar with a planned blank grows in its
// bends, mm per radian: what the blank is shorter by. A cage that was read from a
// file has no more of its dies.
func stretch(b *fit.Bar) float64 {
	turned := 0.0
	for i := range b.Path.Segments {
		turned += float64(b.Path.Segments[i].Angle)
	}
	if turned == 0 {
		return 0
	}
	return (b.Path.Length + b.Blank.Beyond[0] + b.Blank.Beyond[1] - b.Blank.Length) / turned
}

// WriteZones writes what is to be kept bare of paint, or sanded bright, for the
// welds, see cope.Zones: one CSV row per zone, bars in the cage's order and zones
// in order along them, columns bar,from_mm,to_mm,round,clock_from_deg,clock_to_deg,joint.
// Distances are from node A along the centreline and may be a little negative at
// an end that reaches past its node. round is "yes" all round the bar, else "no",
// and the zone goes from the one clock position clockwise to the other. A zone
// without a joint is a foot's. Rounded to 0.1. Zones of bars that the cage has
// not come last.
func WriteZones(w io.Writer, c *fit.Cage, zones []fit.Zone) error {
	rows := [][]string{{"bar", "from_mm", "to_mm", "round", "clock_from_deg", "clock_to_deg", "joint"}}
	place := map[string]int{}
	for i, b := range c.Bars {
		place[b.Name] = i - len(c.Bars)
	}
	zones = slices.Clone(zones)
	slices.SortStableFunc(zones, func(p, q fit.Zone) int {
		return cmp.Or(cmp.Compare(place[p.Bar], place[q.Bar]), cmp.Compare(p.From, q.From))
	})
	for _, z := range zones {
		from, to := "", ""
		if !z.Round {
			from, to = clock(z.Clock[0]), clock(z.Clock[1])
		}
		rows = append(rows, []string{text(z.Bar), Fixed(z.From, 1), Fixed(z.To, 1), yes(z.Round), from, to, text(z.Joint)})
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// clock formats a clock position in degrees to one decimal in [0, 360).
func clock(deg float64) string {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	s := Fixed(deg, 1)
	if s == "360.0" {
		return "0.0"
	}
	return s
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
