package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/golang/geo/s1"
	"github.com/urfave/cli/v2"

	"barwright/export/table"
	"barwright/fit/bender"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// maxPieces bounds the size of a file of test pieces, in bytes.
const maxPieces = 1 << 20

// defaultDie is the name in the printed block where none is given.
const defaultDie = "measured"

func testbendCommand() *cli.Command {
	number := func(name, usage string) cli.Flag { return &cli.Float64Flag{Name: name, Usage: usage} }
	text := func(name, usage string) cli.Flag { return &cli.StringFlag{Name: name, Usage: usage} }
	return &cli.Command{
		Name:      "testbend",
		Usage:     "work out a die's data from measured test bends",
		ArgsUsage: "[PIECES.toml | PIECES.csv]",
		Description: strings.TrimSpace(`
Examples:

   barwright testbend --od 44.45 --wall 2.41 --clr 152.4 --material "1020 DOM"
   barwright testbend --od 44.45 --clr 152.4 --length 510 --mark 140 --set 92.5 --angle 90.3 --leg-a 321 --leg-b 302 --to outside
   barwright testbend pieces.toml

Without a test piece: an estimate, and which piece to make. With one or several:
the die's radius, springback, stretch, offset and ovality, how sure each is, and
the lines for the job file. Saw a blank, mark it, bend it to a set angle, let go,
and measure:

              leg A, outside
   |<------------------------------>|
    ________________________________.     <- where the outer edges meet
   |____________:_____________       \
    ^         mark            \       |   inside: where the inner edges
    end A                  .   \      |   meet
   |<--------------------->|    |     |
         leg A, inside          |     |   leg B: the same from end B
                                |_____|
                                   end B

A leg goes from its sawn end, along the tube, to where its outer edge meets the
outer edge of the other leg (--to outside), both made longer with a straightedge;
or to where the inner edges meet (--to inside). At 90 degrees: from the sawn end to
a square held against the back of the other leg, or into the corner. From the end
to the node of the centrelines it is half a diameter times tan(angle/2) less, or
more. The mark is measured from end A; the offset is how far beyond it, towards end
B, the bend begins. The stretch is how much longer the bent tube is along its
centreline than the blank was.

A file holds several pieces, and the date of each as you like to write it:

   units = "mm"          # or "in"; angles are in degrees
   die = "d44"
   od = 44.45
   clr = 152.4           # as stamped on the die
   [[piece]]
   name = "A"
   date = "2 May"
   length = 510          # of the blank
   mark = 140
   set = 92.5
   angle = 90.3          # left after release
   leg_a = 321
   leg_b = 302
   to = "outside"
   chord = 150           # straightedge across the bend, and the arc's
   height = 16.6         # height over its middle
   chord_on = "outside"  # or inside, centre
   smallest = 43.1       # diameters in the middle of the bend
   largest = 45.2

or the same names as columns of a CSV file. Only set and angle are needed, for
springback alone; legs need length and mark, or both of them and the length.

Errors of measurements are one standard deviation, +- is a 95 % interval. Blank,
mark and (unless --set-error says so) the set angle count as exact.`),
		Flags: []cli.Flag{
			number("od", "the tube's outside diameter is `L`"),
			number("wall", "its wall is `L`, for the estimate"),
			number("clr", "the die is stamped with the centreline radius `L`"),
			text("material", "the tube is of the built-in steel `NAME`, for the estimate"),
			text("name", "the die is called `NAME`"),
			&cli.StringFlag{Name: "units", Usage: "unit of the lengths in options: mm or in", Value: string(job.MM)},
			number("length", "the piece's blank was `L` long"),
			number("mark", "its mark was `L` from end A"),
			number("set", "it was bent to `DEGREES`"),
			number("angle", "it has `DEGREES` after release"),
			number("leg-a", "leg A measures `L`"),
			number("leg-b", "leg B measures `L`"),
			text("to", "the legs are measured to `EDGE` of the other leg: outside or inside"),
			number("chord", "a chord across the bend measures `L`"),
			number("height", "the arc's height over the chord's middle is `L`"),
			text("chord-on", "the chord is on `EDGE` of the bend: outside, inside or centre"),
			number("smallest", "smallest diameter in the bend is `L`"),
			number("largest", "largest diameter in the bend is `L`"),
			number("length-error", "lengths are measured to `L`; 0: 0.5 mm"),
			number("angle-error", "angles are measured to `DEGREES`; 0: 0.25"),
			number("set-error", "the bender comes to a set angle within `DEGREES`"),
			number("diameter-error", "diameters are measured to `L`; 0: 0.1 mm"),
		},
		Action: runTestbend,
	}
}

// pieceFlags are the options that describe a piece.
var pieceFlags = []string{"length", "mark", "set", "angle", "leg-a", "leg-b", "to", "chord", "height", "chord-on", "smallest", "largest"}

func runTestbend(c *cli.Context) error {
	if c.NArg() > 1 {
		return tooMany(c, 1)
	}
	var f *bender.File
	var err error
	if c.NArg() == 1 {
		f, err = piecesFromFile(c, c.Args().First())
	} else {
		f, err = piecesFromFlags(c)
	}
	if err != nil {
		return err
	}
	var spec *tube.Spec
	if f.Material != "" {
		m, ok := tube.LookupMaterial(f.Material)
		if !ok {
			return materialError(f)
		}
		if f.Wall > 0 && f.Setting.CLR > 0 {
			spec = &tube.Spec{OD: f.Setting.OD, Wall: f.Wall, Material: m, Die: &tube.Die{OD: f.Setting.OD, CLR: f.Setting.CLR}}
		}
	}
	if f.Setting.Name == "" {
		f.Setting.Name = defaultDie
	}
	l := lengths{inches: f.Unit == job.Inch}
	out := &printer{w: c.App.Writer}
	if len(f.Pieces) == 0 {
		printEstimate(out, f, spec, l)
		return out.err
	}
	cal, err := bender.Solve(f.Pieces, f.Setting)
	if err != nil {
		return contradictory(err, f, l)
	}
	printCalibration(out, f, cal, spec, l)
	return out.err
}

// piecesFromFile reads a file of test pieces; options fill in what it does not say
// about the die.
func piecesFromFile(c *cli.Context, name string) (*bender.File, error) {
	for _, flag := range append(slices.Clone(pieceFlags), "units") {
		if c.IsSet(flag) {
			return nil, usageError("testbend: --%s goes without a file; in a file it is a key of a piece", flag)
		}
	}
	data, err := readSmall(fmt.Sprintf("test pieces %q", name), name, "", maxPieces)
	if err != nil {
		return nil, err
	}
	f, err := bender.ReadPieces(name, data)
	if err != nil {
		return nil, err
	}
	return f, dieFlags(c, f)
}

// piecesFromFlags makes a file of one piece, or of none, from the options.
func piecesFromFlags(c *cli.Context) (*bender.File, error) {
	f := &bender.File{Unit: job.Unit(c.String("units"))}
	if f.Unit != job.MM && f.Unit != job.Inch {
		return nil, usageError("testbend: --units %q is neither mm nor in", f.Unit)
	}
	if err := dieFlags(c, f); err != nil {
		return nil, err
	}
	if f.Setting.OD == 0 {
		return nil, usageError("testbend: --od is missing, or a file of test pieces")
	}
	if !slices.ContainsFunc(pieceFlags, c.IsSet) {
		for _, need := range []string{"wall", "clr", "material"} {
			if !c.IsSet(need) {
				return nil, usageError("testbend: --%s is missing: without a test piece the estimate needs it", need)
			}
		}
		return f, nil
	}
	p := bender.Piece{Name: "1", Legs: bender.Edge(c.String("to")), ChordOn: bender.Edge(c.String("chord-on"))}
	for _, v := range []struct {
		flag string
		mm   *float64
	}{{"length", &p.Length}, {"mark", &p.Mark}, {"leg-a", &p.LegA}, {"leg-b", &p.LegB}, {"chord", &p.Chord}, {"height", &p.Height}, {"smallest", &p.Smallest}, {"largest", &p.Largest}} {
		if err := lengthFlag(c, f, v.flag, 0.1, 10e3, v.mm); err != nil {
			return nil, err
		}
	}
	for _, v := range []struct {
		flag  string
		angle *s1.Angle
	}{{"set", &p.Set}, {"angle", &p.Angle}} {
		if !c.IsSet(v.flag) {
			return nil, usageError("testbend: --%s is missing: a test piece needs --set and --angle", v.flag)
		}
		if err := angleFlag(c, v.flag, 0.1, 270, v.angle); err != nil {
			return nil, err
		}
	}
	edges := []bender.Edge{"", bender.EdgeOutside, bender.EdgeInside, bender.EdgeCentre}
	switch {
	case !slices.Contains(edges[:3], p.Legs):
		return nil, usageError("testbend: --to %q is neither outside nor inside", p.Legs)
	case !slices.Contains(edges, p.ChordOn):
		return nil, usageError("testbend: --chord-on %q is none of outside, inside, centre", p.ChordOn)
	}
	f.Pieces = []bender.Piece{p}
	return f, nil
}

// dieFlags takes the options about die, tube and errors over into f, which must not
// have them yet.
func dieFlags(c *cli.Context, f *bender.File) error {
	n := &f.Setting.Noise
	for _, v := range []struct {
		flag      string
		low, high float64
		mm        *float64
	}{
		{"od", 5, 500, &f.Setting.OD}, {"wall", 0.1, 100, &f.Wall}, {"clr", 5, 10e3, &f.Setting.CLR},
		{"length-error", 0, 20, &n.Length}, {"diameter-error", 0, 20, &n.Diameter},
	} {
		if c.IsSet(v.flag) && *v.mm != 0 {
			return twiceGiven(v.flag)
		}
		if err := lengthFlag(c, f, v.flag, v.low, v.high, v.mm); err != nil {
			return err
		}
	}
	for _, v := range []struct {
		flag  string
		angle *s1.Angle
	}{{"angle-error", &n.Angle}, {"set-error", &n.Set}} {
		if c.IsSet(v.flag) && *v.angle != 0 {
			return twiceGiven(v.flag)
		}
		if err := angleFlag(c, v.flag, 0, 10, v.angle); err != nil {
			return err
		}
	}
	for _, v := range []struct {
		flag string
		text *string
	}{{"name", &f.Setting.Name}, {"material", &f.Material}} {
		switch {
		case !c.IsSet(v.flag):
		case *v.text != "":
			return twiceGiven(v.flag)
		case strings.TrimSpace(c.String(v.flag)) == "" || oneLine(c.String(v.flag)) != c.String(v.flag):
			return usageError("testbend: --%s must be a name without control characters", v.flag)
		default:
			*v.text = c.String(v.flag)
		}
	}
	switch {
	case f.Wall > 0 && f.Setting.OD > 0 && 2*f.Wall >= f.Setting.OD:
		return usageError("testbend: --wall must be less than half of the diameter")
	case f.Setting.CLR > 0 && f.Setting.OD > 0 && f.Setting.CLR <= f.Setting.OD/2:
		return usageError("testbend: --clr must be more than half of the diameter")
	}
	return nil
}

func twiceGiven(flag string) error {
	return usageError("testbend: --%s: the file says it already", flag)
}

func lengthFlag(c *cli.Context, f *bender.File, flag string, low, high float64, mm *float64) error {
	if !c.IsSet(flag) {
		return nil
	}
	x := c.Float64(flag)
	*mm = x
	if f.Unit == job.Inch {
		*mm *= mmPerInch
	}
	if *mm >= low && *mm <= high {
		return nil
	}
	unit := ""
	if f.Unit == job.MM && x > 0 && x < low {
		unit = "; for inches say --units in"
	}
	return usageError("testbend: --%s %v is not from %v to %v mm%s", flag, x, low, high, unit)
}

func angleFlag(c *cli.Context, flag string, low, high float64, angle *s1.Angle) error {
	if !c.IsSet(flag) {
		return nil
	}
	x := c.Float64(flag)
	if !(x >= low && x <= high) {
		return usageError("testbend: --%s %v is not from %v to %v degrees", flag, x, low, high)
	}
	*angle = s1.Angle(x) * s1.Degree
	return nil
}

func materialError(f *bender.File) error {
	var names []string
	for _, m := range tube.Materials() {
		names = append(names, m.Name)
	}
	text := fmt.Sprintf("no built-in material %q (known: %s)", f.Material, strings.Join(names, ", "))
	if f.Name == "" {
		return usageError("testbend: --material: %s", text)
	}
	return job.ParseErrors{{File: f.Name, Pos: f.Place(-1, "material"), Text: text}}
}

// contradictory gives faults of test pieces their places in the file, if they are
// from one.
func contradictory(err error, f *bender.File, l lengths) error {
	var c *bender.Contradiction
	if !errors.As(err, &c) {
		return err
	}
	var parse job.ParseErrors
	var lines []string
	for _, fault := range c.Faults {
		text := l.text(fault.String())
		parse = append(parse, job.ParseError{File: f.Name, Pos: f.Place(fault.Piece, fault.Key), Text: text})
		lines = append(lines, l.text(fault.Text))
	}
	if f.Name == "" {
		return &pieceError{text: strings.Join(lines, "; "), err: c}
	}
	return &pieceError{parse: parse, err: c}
}

// pieceError: measurements of test pieces that can't be right, with their places.
type pieceError struct {
	text  string
	parse job.ParseErrors // instead of text
	err   error
}

func (e *pieceError) Error() string {
	if e.parse != nil {
		return e.parse.Error()
	}
	return "testbend: " + e.text
}

func (e *pieceError) Unwrap() []error {
	if e.parse != nil {
		return []error{e.parse, e.err}
	}
	return []error{e.err}
}

// estimateAngles are those for which set angles are shown, in degrees.
var estimateAngles = []float64{30, 45, 60, 90, 120}

func degrees(a s1.Angle, decimals int) string { return table.Fixed(tube.Degrees(a), decimals) }

// printEstimate prints what can be said without a test piece.
func printEstimate(out *printer, f *bender.File, spec *tube.Spec, l lengths) {
	out.printf("ESTIMATE, no test piece yet: %s, yield %v N/mm2, elastic unloading without hardening\n\n", spec.Material.Name, spec.Material.Yield)
	rows := [][]string{{"wanted deg", "set deg (estimate)"}}
	for _, deg := range estimateAngles {
		set, _ := spec.SetAngle(s1.Angle(deg) * s1.Degree)
		rows = append(rows, []string{table.Fixed(deg, 0), "~" + degrees(set, 1)})
	}
	out.printf("%s\n", align(rows, "rr"))
	out.printf("estimates of this kind were 14 to 39 %% off when checked against measured bends (doi 10.1177/0036850420984303);\n")
	out.printf("steel that hardens springs back more. Bend a test piece before a bar:\n\n")
	printProposals(out, spec, []s1.Angle{90 * s1.Degree, 30 * s1.Degree}, l)
	out.printf("\nthe first alone gives a start; both tell radius, stretch, offset and springback apart.\n")
	out.printf("barwright testbend --help shows what to measure. Until then, in the job file:\n\n")
	opened := *spec.Die
	opened.CLR = spec.Die.CLR / (1 - min(spec.SpringbackFactor(), 0.5))
	out.printf("%s", estimateBlock(f, opened, l))
}

// estimateBlock has no springback: a job without it takes the same estimate.
func estimateBlock(f *bender.File, die tube.Die, l lengths) string {
	c := bender.Calibration{
		Name: f.Setting.Name, OD: die.OD, CLR: bender.Value{Value: die.CLR, Basis: bender.Assumed},
		Stretch: bender.Value{Basis: bender.Unknown}, Offset: bender.Value{Basis: bender.Unknown}, Roundness: bender.Value{Basis: bender.Unknown},
		A: bender.Value{Basis: bender.Unknown}, B: bender.Value{Basis: bender.Unknown},
	}
	return c.Block(f.Unit) + "# springback: left out, so that it is estimated from the tube's material\n"
}

// printProposals prints test pieces to make.
func printProposals(out *printer, spec *tube.Spec, angles []s1.Angle, l lengths) {
	step := 10.0
	if l.inches {
		step = mmPerInch / 2
	}
	rows := [][]string{{"bend to deg", "set deg", "blank " + l.unit(), "mark from end A", "leg A, outside, about", "leg B, outside, about"}}
	for _, angle := range angles {
		p := bender.Propose(spec, angle, step)
		set := degrees(p.Set, 1)
		if p.Estimated {
			set = "~" + set
		}
		rows = append(rows, []string{degrees(angle, 0), set, l.format(p.Length), l.format(p.Mark), l.format(p.LegA), l.format(p.LegB)})
	}
	out.printf("%s", align(rows, "rrrrrr"))
	out.printf("longer where your bender needs more tube to hold; write down what was really sawn, marked and set\n")
}

// plain shows a length without sixteenths: for what is smaller than those.
func (l lengths) plain(mm float64, decimals int) string {
	if math.IsNaN(mm) {
		return "-"
	}
	if l.inches {
		return table.Fixed(mm/mmPerInch, decimals+2)
	}
	return table.Fixed(mm, decimals)
}

func signed(text string) string {
	if text == "-" || strings.HasPrefix(text, "-") {
		return text
	}
	return "+" + text
}

func printCalibration(out *printer, f *bender.File, c *bender.Calibration, spec *tube.Spec, l lengths) {
	out.printf("%s of tube %s %s, die %s\n\n", counted(len(f.Pieces), "test piece"), l.plain(c.OD, 2), l.unit(), oneLine(c.Name))
	printPieces(out, f, c, l)
	printValues(out, c, l)
	printRemarks(out, f, c, spec, l)
	printSure(out, f, c, l)
	out.printf("\nfor the job file:\n\n%s", c.Block(f.Unit))
}

// printPieces prints what was measured, and by how much it is off from what the
// values found give.
func printPieces(out *printer, f *bender.File, c *bender.Calibration, l lengths) {
	rows := [][]string{{"piece", "date", "set deg", "angle deg", "off", "leg A " + l.unit(), "off", "leg B " + l.unit(), "off", "height " + l.unit(), "off"}}
	used := make([]bool, len(rows[0]))
	length := func(mm float64) string {
		if mm > 0 {
			return l.plain(mm, 1)
		}
		return ""
	}
	off := func(mm float64) string {
		if math.IsNaN(mm) {
			return ""
		}
		return signed(l.plain(mm, 2))
	}
	for i, p := range f.Pieces {
		fit := c.Fits[i]
		offA, offB := off(fit.LegA), off(fit.LegB)
		if !math.IsNaN(fit.Legs) {
			offA, offB = "", "sum "+off(fit.Legs)
		}
		row := []string{
			oneLine(p.Name), oneLine(p.Date), degrees(p.Set, 2), degrees(p.Angle, 2), signed(degrees(fit.AngleOff, 2)),
			length(p.LegA), offA, length(p.LegB), offB, length(p.Height), off(fit.Height),
		}
		for k, text := range row {
			used[k] = used[k] || text != ""
		}
		rows = append(rows, row)
	}
	columns := ""
	for i := range rows {
		var kept []string
		for k, text := range rows[i] {
			if used[k] {
				kept = append(kept, text)
			}
		}
		rows[i] = kept
	}
	for k, keep := range used {
		if keep {
			columns += string("llrrrrrrrrr"[k])
		}
	}
	out.printf("%s", align(rows, columns))
	out.printf("off: measured less what the values below give\n\n")
}

// how words where a value comes from.
var how = map[bender.Basis]string{
	bender.Measured: "measured",
	bender.Leaning:  "measured, but leans on what is assumed",
	bender.Assumed:  "ASSUMED",
	bender.Unknown:  "not measured",
}

func printValues(out *printer, c *bender.Calibration, l lengths) {
	rows := [][]string{{"", "", "+-", ""}}
	add := func(what string, v bender.Value, show func(float64) string) {
		if v.Basis == bender.Unknown {
			rows = append(rows, []string{what, "-", "", how[v.Basis]})
			return
		}
		rows = append(rows, []string{what, show(v.Value), show(v.Half), how[v.Basis]})
	}
	mm := func(x float64) string { return l.plain(x, 1) }
	perDegree := func(x float64) string { return l.plain(x*float64(s1.Degree), 3) }
	deg := func(x float64) string { return degrees(s1.Angle(x), 2) }
	ratio := func(x float64) string { return table.Fixed(x, 4) }
	add("centreline radius "+l.unit(), c.CLR, mm)
	add("the same in the bender, before it opens", c.Loaded, mm)
	add("stretch "+l.unit()+" per degree", c.Stretch, perDegree)
	add("offset "+l.unit()+", mark to start of bend", c.Offset, mm)
	add("springback: degrees, at any angle", c.A, deg)
	add("springback: and per degree of bend", c.B, ratio)
	for _, at := range []float64{30, 90} {
		angle := s1.Angle(at) * s1.Degree
		set, half := c.SetAngle(angle)
		basis := c.A.Basis
		if basis != bender.Measured {
			basis = bender.Leaning
		}
		add(fmt.Sprintf("set for %v degrees", at), bender.Value{Value: float64(set), Half: float64(half), Basis: basis}, deg)
	}
	add("ovality: smallest / largest diameter", c.Roundness, func(x float64) string { return table.Fixed(x, 3) })
	add("ovality: (largest - smallest) / od", c.Ovality, func(x float64) string { return table.Fixed(x, 3) })
	out.printf("%s", align(rows[1:], "lrrl"))
	out.printf("+-: 95 %%, with errors of %s %s in lengths, %s degrees in angles, %s %s in diameters (one standard deviation)\n",
		l.plain(c.Noise.Length, 2), l.unit(), degrees(c.Noise.Angle, 2), l.plain(c.Noise.Diameter, 2), l.unit())
}

// printRemarks says what was assumed, and what does not look as expected.
func printRemarks(out *printer, f *bender.File, c *bender.Calibration, spec *tube.Spec, l lengths) {
	say := func(format string, args ...any) { out.printf("note: "+format+"\n", args...) }
	out.printf("\n")
	stamp := f.Setting.CLR
	switch {
	case c.CLR.Basis != bender.Assumed:
	case c.Stretch.Basis == bender.Unknown:
		say("without legs or a chord the radius is that stamped on the die, %s %s, opened by springback, taken as right to 2 %%", l.plain(stamp, 1), l.unit())
	default:
		say("the pieces don't tell radius and stretch apart: the radius is that stamped on the die, %s %s, opened by springback, taken as right to 2 %%", l.plain(stamp, 1), l.unit())
	}
	if c.Stretch.Basis == bender.Assumed {
		say("the pieces don't tell radius and stretch apart: stretch is taken as 0; with --clr, or a chord and its height, it need not be")
	}
	if c.A.Basis == bender.Assumed {
		say("one angle does not tell how springback grows: it is taken as proportional to the angle")
	}
	if c.Loaded.Basis == bender.Measured && stamp > 0 && math.Abs(c.Loaded.Value-stamp) > c.Loaded.Half {
		say("the pieces give %s %s in the bender where the die is stamped %s: go by the pieces", l.plain(c.Loaded.Value, 1), l.unit(), l.plain(stamp, 1))
	}
	if c.Scatter > 1 {
		say("the measurements scatter %s times as much as their errors allow; +- takes that in", table.Fixed(c.Scatter, 1))
	}
	if c.Uneven {
		say("the pieces are not equally round: ovality is that of the least round one")
	}
	if c.A.Basis == bender.Measured && c.A.Value < -c.A.Half {
		say("at small angles the line through the pieces lies under the angle itself, which can't be: bend a piece to a small angle")
	}
	if spec != nil {
		set, _ := spec.SetAngle(c.Most)
		got, _ := c.SetAngle(c.Most)
		say("for %s degrees the estimate from %s would have been %s, the pieces say %s", degrees(c.Most, 1), spec.Material.Name, degrees(set, 1), degrees(got, 1))
	}
}

// printSure says what is sure, and which piece would help with what is not.
func printSure(out *printer, f *bender.File, c *bender.Calibration, l lengths) {
	sure := "nothing yet"
	if len(c.Sure) > 0 {
		sure = strings.Join(c.Sure, ", ")
	}
	out.printf("sure: %s\n", sure)
	for i, w := range c.Weak {
		label := ""
		if i == 0 {
			label = "not sure:"
		}
		out.printf("%-10s%-11s %s\n", label, w.What, l.text(w.Why))
	}
	if c.Roundness.Basis == bender.Unknown {
		out.printf("ovality needs the smallest and the largest diameter in the middle of a bend, by caliper\n")
	}
	if c.Next == 0 {
		return
	}
	serves := "it narrows all of these"
	if len(c.Solid) > 0 {
		serves = "with it " + strings.Join(c.Solid, ", ") + " should be sure"
	}
	out.printf("next piece: bend one to %s degrees, and measure both legs; %s\n\n", degrees(c.Next, 0), serves)
	die := c.Die()
	wall := f.Wall
	if wall == 0 {
		wall = c.OD / 20 // not used: the die has its own springback
	}
	printProposals(out, &tube.Spec{OD: c.OD, Wall: wall, Die: &die}, []s1.Angle{c.Next}, l)
}
