package job_test

import (
	"fmt"
	"strings"
)

var badJobs = []badJob{
	// Not a job file at all.
	{"empty", "", " \n\t\n", []string{
		`1:1: the job file is empty`,
	}},
	{"nothing", "", "", []string{
		`1:1: the job file is empty`,
	}},
	{"comments only", "", "# to do\n", []string{
		`1:1: the job file is empty`,
	}},
	{"binary", "", "solid\x00\x01\x02", []string{
		`1:6: not a text file: byte 0x00`,
	}},
	{"utf-16", "", "\xff\xfet\x00i\x00", []string{
		`1:1: not a text file: byte 0xff`,
	}},
	{"latin-1", `title = "t"`, "title = \"caf\xe9\"", []string{
		`1:13: not a text file: byte 0xe9`,
	}},
	{"web page", "", "<!DOCTYPE html>\n<html>", []string{
		`1:1: not valid TOML: invalid character at start of key: U+003C '<'`,
	}},
	{"JSON", "", "{\"title\": \"t\"}", []string{
		`1:1: not valid TOML: invalid character at start of key: U+007B '{'`,
	}},
	{"too large", "", "#" + strings.Repeat("x", 600_000), []string{
		`1:1: the job file has 600001 bytes, must have at most 524288`,
	}},
	{"a string broken off", `file = "s.stl"`, `file = "s.stl`, []string{
		`4:14: not valid TOML: basic strings cannot have new lines`,
	}},
	{"a list broken off", `ends = ["shell", "shell"]`, `ends = ["shell", "shell"`, []string{
		`22:1: not valid TOML: expected ',' or ']' after array value`,
	}},
	{"no value", `wall = 2` + "\n", "wall =\n", []string{
		`12:7: not valid TOML: unexpected character U+000A at start of value`,
	}},
	{"two keys in a line", `od = 38.1`, `od = 38.1 wall = 1`, []string{
		`15:11: not valid TOML: expected newline but got U+0077 'w'`,
	}},
	{"a decimal comma", `od = 38.1`, `od = 38,1`, []string{
		`15:8: not valid TOML: expected newline but got U+002C ','`,
	}},
	{"a fraction", `od = 38.1`, `od = 1 1/2`, []string{
		`15:8: not valid TOML: expected newline but got U+0031 '1'`,
	}},
	{"a unit behind a number", `wall = 2.4`, `wall = 2.4mm`, []string{
		`16:11: not valid TOML: strings must be quoted`,
	}},
	{"a leading zero", `clearance = 10`, `clearance = 010`, []string{
		`5:13: not valid TOML: integers cannot have leading zeroes`,
	}},
	{"underscores", `clearance = 10`, `clearance = 1__0`, []string{
		`5:14: not valid TOML: number must have at least one digit between underscores`,
	}},
	{"a bracket missing", `[die.d]`, `[die.d`, []string{
		`6:7: not valid TOML: expected ']' to close table name`,
	}},
	{"control character", `title = "t"`, "title = \"t\x07\"", []string{
		`1:11: not valid TOML: basic strings cannot have control characters`,
	}},

	// Keys.
	{"unknown key", `units = "mm"`, `unit = "mm"`, []string{
		`2:1: unknown key "unit" (nearest: "units")`,
	}},
	{"unknown table", `[shell]`, `[sheel]`, []string{
		`1:1: shell is missing`,
		`3:2: unknown key "sheel" (nearest: "shell")`,
	}},
	{"unknown key far from all", `title = "t"`, "title = \"t\"\npaint = \"red\"", []string{
		`2:1: unknown key "paint" (known: title, units, shell, sketch_frame, tolerance, plate, joints, saw, sheets, die, tube, bar, keepout)`,
	}},
	{"typo in a bar", `mirror = "self"`, `miror = "self"`, []string{
		`22:1: bar "hoop": unknown key "miror" (nearest: "mirror")`,
		`27:9: bar "leg": end A lands on "hoop", which has no mirror image for the mirrored end to land on`,
	}},
	{"typo in a keepout's shape", `{ centre =`, `{ center =`, []string{
		`31:10: keepout "helmet": sphere: centre is missing`,
		`31:12: keepout "helmet": sphere: unknown key "center" (nearest: "centre")`,
	}},
	{"duplicate key", `clearance = 10`, "clearance = 10\nclearance = 12", []string{
		`6:1: clearance is already given in line 5`,
	}},
	{"duplicate key in braces", `radius = 200`, "radius = 200, radius = 300", []string{
		`31:46: radius is already given in line 31`,
	}},
	{"duplicate table", `[tube.s]`, "[die.d]", []string{
		`14:6: die.d is already given in line 6`,
		`25:8: bar "leg": no tube "s" (known: t)`,
	}},
	{"dotted key twice", `title = "t"`, "shell.file = \"x\"", []string{
		`1:1: shell: clearance is missing`,
		`3:2: shell is already given in line 1`,
	}},
	{"missing keys", "od = 38.1\nwall = 2.4\n", "", []string{
		`14:7: tube "s": od is missing`,
		`14:7: tube "s": wall is missing`,
	}},
	{"missing shell", "[shell]\nfile = \"s.stl\"\nclearance = 10\n", "", []string{
		`1:1: shell is missing`,
	}},
	{"no bars", "", "[shell]\nfile=\"a\"\nclearance=1\n[tube.t]\nod=40\nwall=2\n", []string{
		`1:1: bar is missing`,
	}},
	{"bars as one table", "", "[shell]\nfile=\"a\"\nclearance=1\n[tube.t]\nod=40\nwall=2\n[bar]\nname=\"x\"\n", []string{
		`7:2: bar must be given as [[bar]], got a table`,
	}},
	{"bars as an empty list", "", "bar=[]\n[shell]\nfile=\"a\"\nclearance=1\n[tube.t]\nod=40\nwall=2\n", []string{
		`1:5: bar must be given 1 to 1000 times, got 0`,
	}},
	{"bars as numbers", "", "bar=[1]\n[shell]\nfile=\"a\"\nclearance=1\n[tube.t]\nod=40\nwall=2\n", []string{
		`1:6: bar 1 must be a table, got a number`,
	}},
	{"shell in double brackets", `[shell]`, `[[shell]]`, []string{
		`3:3: shell must be a table, got a list`,
	}},
	{"shell a text", "[shell]\nfile = \"s.stl\"\nclearance = 10\n", "shell = \"s.stl\"\n", []string{
		`3:9: shell must be a table, got a text`,
	}},
	{"tube without a name", `[tube.s]`, `[tube.""]`, []string{
		`14:7: tube must have a name, [tube.NAME]`,
		`25:8: bar "leg": no tube "s" (known: t)`,
	}},
	{"die not a table", "[die.d]\nod = 40\nclr = 120\nspringback = [[30, 31], [90, 92]]\n", "[die]\nd = 120\n", []string{
		`7:1: die must be given as [die.NAME], got d = a number`,
		`11:7: tube "t": no die "d" (there are none)`,
	}},

	// Types.
	{"number as text", `clearance = 10`, `clearance = "10"`, []string{
		`5:13: shell: clearance must be a number, got a text`,
	}},
	{"text as number", `file = "s.stl"`, `file = 7`, []string{
		`4:8: shell: file must be a text, got a number`,
	}},
	{"truth as text", `mirror = "self"`, `flat = "yes"`, []string{
		`22:8: bar "hoop": flat must be true or false, got a text`,
		`27:9: bar "leg": end A lands on "hoop", which has no mirror image for the mirrored end to land on`,
	}},
	{"a date", `title = "t"`, `title = 2024-05-01`, []string{
		`1:9: title must be a text, got a date`,
	}},
	{"ends as one text", `ends = ["hoop", "shell"]`, `ends = "hoop"`, []string{
		`27:8: bar "leg": ends must be a list of two of "shell", "free" or a bar's name, got a text`,
	}},
	{"ends with a number", `ends = ["hoop", "shell"]`, `ends = ["hoop", 1]`, []string{
		`27:17: bar "leg": ends: end B must be a text, got a number`,
	}},
	{"one end", `ends = ["hoop", "shell"]`, `ends = ["hoop"]`, []string{
		`27:8: bar "leg": ends must be two of "shell", "free" or a bar's name, got 1 value`,
	}},
	{"three ends", `ends = ["hoop", "shell"]`, `ends = ["hoop", "shell", "free"]`, []string{
		`27:8: bar "leg": ends must be two of "shell", "free" or a bar's name, got 3 values`,
	}},
	{"empty end", `ends = ["hoop", "shell"]`, `ends = ["hoop", ""]`, []string{
		`27:17: bar "leg": ends: end B must not be empty`,
	}},
	{"sketch as a number", `sketch = [[0,600,900], [-900,600,0]]`, `sketch = 5`, []string{
		`26:10: bar "leg": sketch must be a list of points [x, y, z], got a number`,
	}},
	{"sketch point too short", `[-900,600,0]]`, `[-900,600]]`, []string{
		`26:24: bar "leg": sketch point 2 must be a point [x, y, z], got 2 values`,
	}},
	{"sketch point a number", `[-900,600,0]]`, `-900]`, []string{
		`26:24: bar "leg": sketch point 2 must be a point [x, y, z], got a number`,
	}},
	{"sketch with a text", `[-900,600,0]]`, `[-900,"600",0]]`, []string{
		`26:30: bar "leg": sketch point 2: y must be a number, got a text`,
	}},
	{"empty file name", `file = "s.stl"`, `file = ""`, []string{
		`4:8: shell: file must not be empty`,
	}},

	// Numbers.
	{"units unknown", `units = "mm"`, `units = "ft"`, []string{
		`2:9: units must be one of mm, cm, m, in, got "ft"`,
	}},
	{"units a number", `units = "mm"`, `units = 25.4`, []string{
		`2:9: units must be one of mm, cm, m, in, got a number`,
	}},
	{"shell units", `file = "s.stl"`, "file = \"s.stl\"\nunits = \"inch\"", []string{
		`5:9: shell: units must be one of auto, mm, cm, m, in, got "inch"`,
	}},
	{"negative clearance", `clearance = 10`, `clearance = -1`, []string{
		`5:13: shell: clearance must be 0 to 1000 mm, got -1 mm`,
	}},
	{"clearance in inches", "units = \"mm\"\n[shell]\nfile = \"s.stl\"\nclearance = 10\n", "units = \"in\"\n[shell]\nfile = \"s.stl\"\nclearance = 50\n", []string{
		`5:13: shell: clearance must be 0 to 1000 mm, got 50 in (1270 mm)`,
		`7:6: die "d": od must be more than 0 and at most 500 mm, got 40 in (1016 mm)`,
		`11:6: tube "t": od must be more than 0 and at most 500 mm, got 40 in (1016 mm)`,
		`15:6: tube "s": od must be more than 0 and at most 500 mm, got 38.1 in (967.74 mm)`,
	}},
	{"not a number", `clearance = 10`, `clearance = nan`, []string{
		`5:13: shell: clearance must be 0 to 1000 mm, got nan mm`,
	}},
	{"infinite", `clearance = 10`, `clearance = inf`, []string{
		`5:13: shell: clearance must be 0 to 1000 mm, got inf mm`,
	}},
	{"too large for a float", `clearance = 10`, `clearance = 1e999`, []string{
		`5:13: shell: clearance must be 0 to 1000 mm, got 1e999 mm`,
	}},
	{"too large for an integer", `clearance = 10`, `clearance = 99999999999999999999`, []string{
		`5:13: shell: clearance must be 0 to 1000 mm, got 99999999999999999999 mm`,
	}},
	{"accuracy", `clearance = 10`, "clearance = 10\naccuracy = -0.5", []string{
		`6:12: shell: accuracy must be 0 to 100 mm, got -0.5 mm`,
	}},
	{"landing angle zero", `clearance = 10`, "clearance = 10\nlanding_angle = 0", []string{
		`6:17: shell: landing_angle must be more than 0 and at most 90 degrees, got 0`,
	}},
	{"landing angle over 90", `clearance = 10`, "clearance = 10\nlanding_angle = 120", []string{
		`6:17: shell: landing_angle must be more than 0 and at most 90 degrees, got 120`,
	}},
	{"inside of two numbers", `clearance = 10`, "clearance = 10\ninside = [0, 0]", []string{
		`6:10: shell: inside must be a point [x, y, z], got 2 values`,
	}},
	{"od zero", `od = 38.1`, `od = 0`, []string{
		`15:6: tube "s": od must be more than 0 and at most 500 mm, got 0 mm`,
	}},
	{"wall too thick", `wall = 2.4`, `wall = 19.05`, []string{
		`16:8: tube "s": wall must be less than half of od (19.05 mm), got 19.05 mm`,
	}},
	{"wall negative", `wall = 2.4`, `wall = -2`, []string{
		`16:8: tube "s": wall must be more than 0 and at most 500 mm, got -2 mm`,
	}},
	{"clr under half the od", `clr = 120`, `clr = 20`, []string{
		`8:7: die "d": clr must be more than half of od (20 mm), got 20 mm`,
	}},
	{"max angle", `clr = 120`, "clr = 120\nmax_angle = 181", []string{
		`9:13: die "d": max_angle must be more than 0 and at most 180 degrees, got 181`,
	}},
	{"grip negative", `clr = 120`, "clr = 120\ngrip = -1\ntail = -2", []string{
		`9:8: die "d": grip must be 0 to 10000 mm, got -1 mm`,
		`10:8: die "d": tail must be 0 to 10000 mm, got -2 mm`,
	}},
	{"stick zero", `wall = 2.4`, "wall = 2.4\nstick = 0", []string{
		`17:9: tube "s": stick must be more than 0 and at most 100000 mm, got 0 mm`,
	}},
	{"stretch of metres", `clr = 120`, "clr = 120\nstretch = 3\novality = 1.1\nstep = -1\noffset = 2000", []string{
		`9:11: die "d": stretch must be -1 to 1 mm, got 3 mm`,
		`10:11: die "d": ovality must be 0.3 to 1 (smallest / largest diameter), got 1.1`,
		`11:8: die "d": step must be 0 to 15 degrees, got -1`,
		`12:10: die "d": offset must be -1000 to 1000 mm, got 2000 mm`,
	}},
	{"machine", `clr = 120`, "clr = 120\nmachine = { bends = \"away\", height = 0, frame = [3, {min = [0, 0, 0], max = [1, 0, 1]}] }", []string{
		`9:21: die "d": machine: bends must be one of left, right, up, down, got "away"`,
		`9:38: die "d": machine: height must be more than 0 and at most 5000 mm, got 0 mm`,
		`9:50: die "d": machine: frame must be a table, got a number`,
		`9:53: die "d": machine: frame: min must be less than max in x, y and z`,
	}},
	{"machine without a side", `clr = 120`, "clr = 120\nmachine = { frame = 3 }", []string{
		`9:11: die "d": machine: bends is missing`,
		`9:21: die "d": machine: frame must be a list of boxes { min = [x, y, z], max = [x, y, z] }, got a number`,
	}},
	{"sticks empty", `wall = 2.4`, "wall = 2.4\nsticks = []\ntrim = -1", []string{
		`17:10: tube "s": sticks must be a list of sticks { length = 6000, price = 50 }, got a list`,
		`18:8: tube "s": trim must be 0 to 2000 mm, got -1 mm`,
	}},
	{"sticks", `wall = 2.4`, "wall = 2.4\nsticks = [{ price = 3 }, { length = 6000, price = -1, stock = 1.5 }]", []string{
		`17:11: tube "s": sticks 1: length is missing`,
		`17:51: tube "s": sticks 2: price must be 0 to 999999, got -1`,
		`17:63: tube "s": sticks 2: stock must be a whole number, 0 to 1000, got 1.5`,
	}},
	{"stick and sticks", `wall = 2.4`, "wall = 2.4\nstick = 5000\nsticks = [{ length = 6000 }]", []string{
		`18:10: tube "s": sticks: stick is given too, must be one of the two`,
	}},
	{"the shop's tables", `title = "t"`, "title = \"t\"\nplate = { size = [1], thickness = 0 }\ntolerance = { angle = 30, lenght = 2 }\njoints = { vent = 30 }\nsaw = { kerf = -1, test_pieces = 2 }\nsheets = { paper = \"A5\" }", []string{
		`2:18: plate: size must be two lengths, got 1 value`,
		`2:35: plate: thickness must be more than 0 and at most 50 mm, got 0 mm`,
		`3:23: tolerance: angle must be 0 to 20 degrees, got 30`,
		`3:27: tolerance: unknown key "lenght" (nearest: "length")`,
		`4:19: joints: vent must be 0 to 20 mm, got 30 mm`,
		`5:16: saw: kerf must be 0 to 20 mm, got -1 mm`,
		`5:34: saw: test_pieces must be true or false, got a number`,
		`6:20: sheets: paper must be one of A4, A3, Letter, whole, got "A5"`,
	}},
	{"springback flat list", `[[30, 31], [90, 92]]`, `[30, 31]`, []string{
		`9:15: die "d": springback pair 1 must be a list of two angles [wanted, set], got a number`,
	}},
	{"springback of three", `[[30, 31], [90, 92]]`, `[[30, 31, 32]]`, []string{
		`9:15: die "d": springback pair 1 must be two angles [wanted, set], got 3 values`,
	}},
	{"springback set too small", `[[30, 31], [90, 92]]`, `[[30, 29]]`, []string{
		`9:20: die "d": springback pair 1: set must not be less than wanted, got 29 for 30`,
	}},
	{"springback not increasing", `[[30, 31], [90, 92]]`, `[[90, 92], [30, 31]]`, []string{
		`9:26: die "d": springback pair 2: wanted must be more than that of the pair before, got 30`,
	}},
	{"springback set not increasing", `[[30, 31], [90, 92]]`, `[[30, 92], [90, 91]]`, []string{
		`9:30: die "d": springback pair 2: set must be more than that of the pair before, got 91`,
	}},
	{"springback twice", `[[30, 31], [90, 92]]`, `[[90, 92], [90, 93]]`, []string{
		`9:26: die "d": springback pair 2: wanted must be more than that of the pair before, got 90`,
	}},
	{"springback of no angle", `[[30, 31], [90, 92]]`, `[[0, 1]]`, []string{
		`9:16: die "d": springback pair 1: wanted must be more than 0 and at most 180 degrees, got 0`,
	}},
	{"springback set not increasing enough", `[[30, 31], [90, 92]]`, `[[30, 91], [90, 91]]`, []string{
		`9:30: die "d": springback pair 2: set must be more than that of the pair before, got 91`,
	}},
	{"a point out of the world", `[-900,600,0]]`, `[-900,600,1e6]]`, []string{
		`26:34: bar "leg": sketch point 2: z must be -100000 to 100000 mm, got 1e6 mm`,
	}},
	{"reach zero", `mirror = "pair"`, "mirror = \"pair\"\nreach = 0", []string{
		`29:9: bar "leg": reach must be more than 0 and at most 10000 mm, got 0 mm`,
	}},
	{"lean over 90", `mirror = "self"`, "mirror = \"self\"\nflat = true\nlean = 91", []string{
		`24:8: bar "hoop": lean must be -90 to 90 degrees, got 91`,
	}},
	{"keepout without radius", `, radius = 200 }`, ` }`, []string{
		`31:10: keepout "helmet": sphere: radius is missing`,
	}},
	{"keepout of no size", `radius = 200`, `radius = 0`, []string{
		`31:41: keepout "helmet": sphere: radius must be more than 0 and at most 100000 mm, got 0 mm`,
	}},
	{"keepout box inside out", `sphere = { centre = [0,0,900], radius = 200 }`, `box = { min = [0,0,0], max = [100,-100,100] }`, []string{
		`31:7: keepout "helmet": box: min must be less than max in x, y and z`,
	}},
	{"keepout without a shape", `sphere = { centre = [0,0,900], radius = 200 }`, ``, []string{
		`29:3: keepout "helmet": needs a shape: sphere, capsule, box or mesh`,
	}},
	{"keepout of two shapes", `sphere = {`, "mesh = \"h.stl\"\nsphere = {", []string{
		`32:1: keepout "helmet": has both mesh and sphere, must have one shape`,
	}},
	{"keepout sphere as a number", `sphere = { centre = [0,0,900], radius = 200 }`, `sphere = 200`, []string{
		`31:10: keepout "helmet": sphere must be a table, got a number`,
	}},
	{"keepout twice", "[[keepout]]\n", "[[keepout]]\nname = \"helmet\"\nmesh = \"h.stl\"\n[[keepout]]\n", []string{
		`33:8: keepout "helmet": name is already that of the keepout in line 29`,
	}},
	{"keepout without a name", "name = \"helmet\"\n", "", []string{
		`29:3: keepout 1: name is missing`,
	}},

	// References.
	{"die unknown", `die = "d"`, `die = "dd"`, []string{
		`13:7: tube "t": no die "dd" (nearest: "d")`,
	}},
	{"die of another size", `die = "d"`, "die = \"d\"\n[tube.x]\nod = 45\nwall = 2\ndie = \"d\"", []string{
		`17:7: tube "x": die "d" takes tube of 40 mm, this one has 45 mm`,
	}},
	{"tube unknown", `tube = "s"`, `tube = "main"`, []string{
		`25:8: bar "leg": no tube "main" (known: t, s)`,
	}},
	{"material unknown", `wall = 2.4`, "wall = 2.4\nmaterial = \"1020 DON\"", []string{
		`17:12: tube "s": no built-in material "1020 DON", and no yield and E given (nearest: "1020 DOM")`,
	}},
	{"material of another kind", `wall = 2.4`, "wall = 2.4\nmaterial = \"aluminium\"", []string{
		`17:12: tube "s": no built-in material "aluminium", and no yield and E given (known: E235+N, E235+SR, E255+N, E255+SR, E355+N, E355+SR, S355, 1020 ERW, 1026 ERW, 1020 N, 1020 DOM, 1026 DOM, 1020 DOM SR, 1026 DOM SR, 4130 DOM, 4130 N, 25CrMo4)`,
	}},
	{"E in GPa", `wall = 2.4`, "wall = 2.4\nmaterial = \"own\"\nyield = 350\nE = 210", []string{
		`19:5: tube "s": E must be 10000 to 500000 N/mm2, got 210`,
	}},
	{"yield alone", `wall = 2.4`, "wall = 2.4\nyield = 350", []string{
		`14:7: tube "s": yield and E must be given together, or a material`,
	}},
	{"nothing to estimate from", "springback = [[30, 31], [90, 92]]\n", "", []string{
		`9:7: tube "t": material is missing, and die "d" has no springback pairs to do without`,
	}},
	{"an estimate beyond reason", "clr = 120\nspringback = [[30, 31], [90, 92]]\n[tube.t]\n", "clr = 9000\n[tube.t]\nmaterial = \"4130 N\"\n", []string{
		`13:7: tube "t": the estimate of springback on die "d" comes out at 142 %, beyond what it is made for; the die needs springback pairs`,
	}},
	{"bends without a die", `tube = "t"`, `tube = "s"`, []string{
		`20:10: bar "hoop": sketch has 2 bends, but tube "s" has no die and is only used straight`,
	}},
	{"bar's name twice", `name = "leg"`, `name = "hoop"`, []string{
		`24:8: bar "hoop": name is already that of the bar in line 17`,
	}},
	{"bar without a name", `name = "leg"` + "\n", "", []string{
		`23:3: bar 2: name is missing`,
	}},
	{"bar named shell", `name = "leg"`, `name = "Shell"`, []string{
		`24:8: bar "Shell": name must not be "Shell", which ends use for something else`,
	}},
	{"bar named as a mirror image", `name = "leg"`, `name = "leg (mirror)"`, []string{
		`24:8: bar "leg (mirror)": name must not end in " (mirror)", which names the mirror image of a pair`,
	}},
	{"bar's name with a line end", `name = "leg"`, `name = "leg\nleg"`, []string{
		`24:8: bar "leg\nleg": name must not hold control characters`,
	}},
	{"bar's name with blanks", `name = "leg"`, `name = " leg"`, []string{
		`24:8: bar " leg": name must not begin or end with a blank`,
	}},
	{"bar's name too long", `name = "leg"`, `name = "` + strings.Repeat("leg ", 21) + `."`, []string{
		`24:8: bar "leg leg leg leg leg leg leg leg leg leg leg leg leg leg leg ...": name must have at most 80 characters, got 85`,
	}},
	{"end unknown", `ends = ["hoop", "shell"]`, `ends = ["hop", "shell"]`, []string{
		`27:9: bar "leg": end A lands on "hop", which is no bar (nearest: "hoop")`,
	}},
	{"end nearly a word", `ends = ["hoop", "shell"]`, `ends = ["hoop", "Shell"]`, []string{
		`27:17: bar "leg": end B lands on "Shell", which is no bar (nearest: "shell")`,
	}},
	{"lands on itself", `ends = ["hoop", "shell"]`, `ends = ["leg", "shell"]`, []string{
		`27:9: bar "leg": end A lands on the bar itself`,
	}},
	{"lands on its own mirror image", `ends = ["hoop", "shell"]`, `ends = ["hoop", "leg (mirror)"]`, []string{
		`27:17: bar "leg": end B lands on the bar's own mirror image`,
	}},
	{"mirror image of what is no pair", `ends = ["hoop", "shell"]`, `ends = ["hoop (mirror)", "shell"]`, []string{
		`27:9: bar "leg": end A lands on "hoop (mirror)", but bar "hoop" is not mirrored as a pair`,
	}},
	{"mirror of what stands alone", "mirror = \"self\"\n", "", []string{
		`26:9: bar "leg": end A lands on "hoop", which has no mirror image for the mirrored end to land on`,
	}},
	{"mirror unknown", `mirror = "pair"`, `mirror = "both"`, []string{
		`28:10: bar "leg": mirror must be one of self, pair, none, got "both"`,
	}},
	{"self ends differ", `ends = ["shell", "shell"]`, `ends = ["shell", "free"]`, []string{
		`21:8: bar "hoop": mirror = "self" needs ends that mirror each other, got "shell" and "free"`,
	}},
	{"self ends on one side", "[[keepout]]\n", "[[bar]]\nname = \"tie\"\ntube = \"s\"\nmirror = \"self\"\nsketch = [[-450,600,450], [-450,-600,450]]\nends = [\"leg\", \"leg\"]\n[[keepout]]\n", []string{
		`34:8: bar "tie": mirror = "self" needs ends that mirror each other, got "leg" and "leg"`,
	}},
	{"self sketch off", `[0,600,0]]`, `[0,600,150]]`, []string{
		`20:10: bar "hoop": mirror = "self", but point 4 and the mirror image of point 1 are 150 mm apart, must be at most 100 mm`,
	}},
	{"self with a point off the middle", `[0,-600,900], [0,600,900]`, `[0,-600,900], [0,80,1000], [0,600,900]`, []string{
		`20:10: bar "hoop": mirror = "self", but point 3 and the mirror image of point 3 are 160 mm apart, must be at most 100 mm`,
	}},
	{"pair on the mirror plane", `sketch = [[0,600,900], [-900,600,0]]`, `sketch = [[0,0,900], [-900,0.5,0]]`, []string{
		`26:10: bar "leg": mirror = "pair", but the sketch lies on the mirror plane y = 0`,
	}},
	{"sketch of one point", `sketch = [[0,600,900], [-900,600,0]]`, `sketch = [[0,600,900]]`, []string{
		`26:10: bar "leg": sketch must have 2 to 60 points, got 1`,
	}},
	{"sketch of too many points", `sketch = [[0,600,900], [-900,600,0]]`, `sketch = [` + strings.Repeat("[0,0,0],", 61) + `]`, []string{
		`26:10: bar "leg": sketch must have 2 to 60 points, got 61`,
	}},
	{"sketch with one point twice", `sketch = [[0,600,900], [-900,600,0]]`, `sketch = [[0,600,900], [0,600,900.5]]`, []string{
		`26:24: bar "leg": sketch points 1 and 2 are 0.5 mm apart, must be at least 1 mm`,
	}},
	{"sketch straight back", `[0,-600,900], [0,600,900]`, `[0,-600,900], [0,-600,100], [0,600,100]`, []string{
		`20:23: bar "hoop": sketch turns straight back at point 2`,
	}},
	{"fixed but not to be bent", "sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]\n", "fixed = true\nsketch = [[0,-600,0], [0,-600,100], [0,600,100], [0,600,0]]\n", []string{
		`21:10: bar "hoop": fixed sketch cannot be bent on die "d": bends overlap between nodes 0 and 1: 20.000 mm too short (nodes counted from 0)`,
	}},
	{"fixed and to hug", `mirror = "pair"`, "mirror = \"pair\"\nfixed = true\nhug = true", []string{
		`30:7: bar "leg": hug = true and fixed = true contradict each other`,
	}},
	{"lean without flat", `mirror = "self"`, "mirror = \"self\"\nlean = 5", []string{
		`23:8: bar "hoop": lean needs flat = true`,
	}},
	{"lean of a straight bar", `mirror = "pair"`, "mirror = \"pair\"\nflat = true\nlean = 5", []string{
		`30:8: bar "leg": lean needs a bar with bends`,
	}},
	{"a loop of two", `ends = ["shell", "shell"]`, `ends = ["leg", "leg (mirror)"]`, []string{
		`21:8: bar "hoop": landings go round in a loop: "hoop" on "leg" on "hoop"`,
	}},
	{"a loop of three", "[[keepout]]\n", "[[bar]]\nname = \"a\"\ntube = \"s\"\nsketch = [[0,0,0], [0,0,500]]\nends = [\"b\", \"hoop\"]\n[[bar]]\nname = \"b\"\ntube = \"s\"\nsketch = [[0,0,0], [0,0,500]]\nends = [\"free\", \"c\"]\n[[bar]]\nname = \"c\"\ntube = \"s\"\nsketch = [[0,0,0], [0,0,500]]\nends = [\"a\", \"free\"]\n[[keepout]]\n", []string{
		`33:8: bar "a": landings go round in a loop: "a" on "b" on "c" on "a"`,
	}},

	// Scans that stand askew, and what is cut from them.
	{"sketch_frame unknown", `units = "mm"`, "units = \"mm\"\nsketch_frame = \"world\"", []string{
		`3:16: sketch_frame must be one of car, scan, got "world"`,
	}},
	{"sketch_frame in the shell", `clearance = 10`, "clearance = 10\nsketch_frame = \"scan\"", []string{
		`6:1: shell: unknown key "sketch_frame" (known: file, units, clearance, accuracy, inside, landing_angle, keep_suspects, keep_islands, drop, reduce, align, cut)`,
	}},
	{"keep_islands a text", `clearance = 10`, "clearance = 10\nkeep_islands = \"yes\"", []string{
		`6:16: shell: keep_islands must be true or false, got a text`,
	}},
	{"drop unknown", `clearance = 10`, "clearance = 10\ndrop = \"harder\"", []string{
		`6:8: shell: drop must be one of normal, hard, got "harder"`,
	}},
	{"drop hard and keep", `clearance = 10`, "clearance = 10\ndrop = \"hard\"\nkeep_suspects = true", []string{
		`6:8: shell: drop = "hard" and keep_suspects = true contradict each other`,
	}},
	{"reduce negative", `clearance = 10`, "clearance = 10\nreduce = -0.5", []string{
		`6:10: shell: reduce must be 0 to 20 mm, got -0.5 mm`,
	}},
	{"reduce by triangles", `clearance = 10`, "clearance = 10\nreduce = 200000", []string{
		`6:10: shell: reduce must be 0 to 20 mm, got 200000 mm`,
	}},
	{"align a word", `clearance = 10`, "clearance = 10\nalign = \"auto\"", []string{
		`6:9: shell: align must be a table, got a text`,
	}},
	{"align without a mode", `clearance = 10`, "clearance = 10\n[shell.align]\nup = \"+y\"", []string{
		`6:8: shell: align: mode is missing`,
	}},
	{"align mode unknown", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"automatic\"", []string{
		`7:8: shell: align: mode must be one of axes, datum, auto, got "automatic"`,
	}},
	{"align by no axis", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"axes\"\nup = \"y\"\nfront = \"+Z\"", []string{
		`8:6: shell: align: up must be one of +x, -x, +y, -y, +z, -z, got "y"`,
		`9:9: shell: align: front must be one of +x, -x, +y, -y, +z, -z, got "+Z"`,
	}},
	{"align axes without front", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"axes\"\nup = \"+y\"", []string{
		`6:8: shell: align: mode = "axes" needs front`,
	}},
	{"align front along up", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"auto\"\nup = \"+y\"\nfront = \"-y\"", []string{
		`9:9: shell: align: up and front must be different axes, got +y and -y`,
	}},
	{"align datum without points", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"", []string{
		`6:8: shell: align: mode = "datum" needs ahead`,
		`6:8: shell: align: mode = "datum" needs floor`,
		`6:8: shell: align: mode = "datum" needs left`,
		`6:8: shell: align: mode = "datum" needs right`,
	}},
	{"align datum with axes", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nup = \"+z\"\nfloor = [[0,0,0],[900,0,0],[0,900,0]]\nleft = [0,500,0]\nright = [0,-500,0]\nahead = [900,0,0]", []string{
		`8:1: shell: align: up does not go with mode = "datum"`,
	}},
	{"align auto with a floor", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"auto\"\nfloor = [[0,0,0],[900,0,0],[0,900,0]]", []string{
		`8:1: shell: align: floor does not go with mode = "auto"`,
	}},
	{"floor of two points", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nfloor = [[0,0,0],[900,0,0]]\nleft = [0,500,0]\nright = [0,-500,0]\nahead = [900,0,0]", []string{
		`8:9: shell: align: floor must be three points [x, y, z], got 2 values`,
	}},
	{"floor on a line", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nfloor = [[0,0,0],[900,0,0],[1800,20,0]]\nleft = [0,500,0]\nright = [0,-500,0]\nahead = [900,0,0]", []string{
		`8:9: shell: align: floor: the points lie nearly on one line, must be off it by at least 50 mm`,
	}},
	{"floor of one point thrice", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nfloor = [[1,1,1],[1,1,1],[1,1,1]]\nleft = [0,500,0]\nright = [0,-500,0]\nahead = [900,0,0]", []string{
		`8:9: shell: align: floor: the points lie nearly on one line, must be off it by at least 50 mm`,
	}},
	{"floor a height", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nfloor = 0\nleft = [0,500,0]\nright = [0,-500,0]\nahead = [900,0,0]", []string{
		`8:9: shell: align: floor must be a list of three points [x, y, z], got a number`,
	}},
	{"floor with half a point", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nfloor = [[0,0],[900,0,0],[0,900,0]]\nleft = [0,500,0]\nright = [0,-500,0]\nahead = [900,0,0]", []string{
		`8:10: shell: align: floor point 1 must be a point [x, y, z], got 2 values`,
	}},
	{"left and right the same", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nfloor = [[0,0,0],[900,0,0],[0,900,0]]\nleft = [0,500,0]\nright = [0,500,50]\nahead = [900,0,0]", []string{
		`10:9: shell: align: left and right are 50 mm apart, must be at least 100 mm`,
	}},
	{"ahead a direction", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"datum\"\nfloor = [[0,0,0],[900,0,0],[0,900,0]]\nleft = [0,500,0]\nright = [0,-500,0]\nahead = \"+x\"", []string{
		`11:9: shell: align: ahead must be a point [x, y, z], got a text`,
	}},
	{"origin of two numbers", `clearance = 10`, "clearance = 10\n[shell.align]\nmode = \"auto\"\norigin = [0, 0]", []string{
		`8:10: shell: align: origin must be a point [x, y, z], got 2 values`,
	}},
	{"cut as one table", `clearance = 10`, "clearance = 10\n[shell.cut]\nname = \"seat\"", []string{
		`6:8: shell.cut must be given as [[shell.cut]], got a table`,
	}},
	{"cut without a shape", `clearance = 10`, "clearance = 10\n[[shell.cut]]\nname = \"seat\"", []string{
		`6:9: shell.cut "seat": needs a shape: sphere or box`,
	}},
	{"cut of two shapes", `clearance = 10`, "clearance = 10\n[[shell.cut]]\nname = \"seat\"\nsphere = { centre = [0,0,0], radius = 9 }\nbox = { min = [0,0,0], max = [1,1,1] }", []string{
		`9:1: shell.cut "seat": has both sphere and box, must have one shape`,
	}},
	{"cut by a capsule", `clearance = 10`, "clearance = 10\n[[shell.cut]]\nname = \"seat\"\ncapsule = { from = [0,0,0], to = [0,0,9], radius = 9 }", []string{
		`6:9: shell.cut "seat": needs a shape: sphere or box`,
		`8:1: shell.cut "seat": unknown key "capsule" (known: name, sphere, box)`,
	}},
	{"cut inside out", `clearance = 10`, "clearance = 10\n[[shell.cut]]\nname = \"seat\"\nbox = { min = [0,0,0], max = [1,-1,1] }", []string{
		`8:7: shell.cut "seat": box: min must be less than max in x, y and z`,
	}},
	{"cut twice", `clearance = 10`, "clearance = 10\n[[shell.cut]]\nname = \"seat\"\nsphere = { centre = [0,0,0], radius = 9 }\n[[shell.cut]]\nname = \"seat\"\nsphere = { centre = [0,0,0], radius = 9 }", []string{
		`10:8: shell.cut "seat": name is already that of the cut in line 6`,
	}},
	{"cut without a name", `clearance = 10`, "clearance = 10\n[[shell.cut]]\nsphere = { centre = [0,0,0], radius = 0 }", []string{
		`6:9: shell.cut 1: name is missing`,
		`7:39: shell.cut 1: sphere: radius must be more than 0 and at most 100000 mm, got 0 mm`,
	}},
	{"keepout box in a scan askew", "", "sketch_frame = \"scan\"\n" + strings.Replace(strings.Replace(base, "[die.d]", "align = { mode = \"auto\" }\n[die.d]", 1), `sphere = { centre = [0,0,900], radius = 200 }`, "box = { min = [0,0,0], max = [1,1,1] }", 1), []string{
		`33:7: keepout "helmet": box stands along the car's axes, which sketch_frame = "scan" cannot say`,
	}},

	// Sketches from elsewhere.
	{"no sketch of any kind", "sketch = [[0,600,900], [-900,600,0]]\n", "", []string{
		`23:3: bar "leg": needs a sketch, a station or two points to follow`,
	}},
	{"sketch and station", `sketch = [[0,600,900], [-900,600,0]]`, "station = 0\nsketch = [[0,600,900], [-900,600,0]]", []string{
		`26:1: bar "leg": has both sketch and station, must have one of them`,
	}},
	{"station and follow", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,600,900], [-900,600,0]]\nstation = 0\nbends = 2", []string{
		`26:1: bar "leg": has both station and follow, must have one of them`,
	}},
	{"a sketch file of another kind", `[[0,600,900], [-900,600,0]]`, `"sketch.dwg"`, []string{
		`26:10: bar "leg": sketch must be a list of points [x, y, z] or the name of a .dxf or .obj file, got "sketch.dwg"`,
	}},
	{"a sketch file without a name", `[[0,600,900], [-900,600,0]]`, `""`, []string{
		`26:10: bar "leg": sketch must not be empty`,
	}},
	{"ends missing", "ends = [\"hoop\", \"shell\"]\n", "", []string{
		`23:3: bar "leg": ends is missing`,
	}},
	{"bends with a sketch", `mirror = "pair"`, "mirror = \"pair\"\nbends = 2", []string{
		`29:1: bar "leg": bends does not go with sketch, which has its own`,
	}},
	{"station a text", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, `station = "rear"`, []string{
		`20:11: bar "hoop": station must be a number, got a text`,
	}},
	{"station out of the world", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, `station = 250000`, []string{
		`20:11: bar "hoop": station must be -100000 to 100000 mm, got 250000 mm`,
	}},
	{"station of one bend", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "station = 0\nbends = 1", []string{
		`21:9: bar "hoop": station needs 2 to 12 bends, got 1`,
	}},
	{"bends broken", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "station = 0\nbends = 2.5", []string{
		`21:9: bar "hoop": bends must be a whole number, 0 to 12, got 2.5`,
	}},
	{"bends too many", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "station = 0\nbends = 13", []string{
		`21:9: bar "hoop": bends must be a whole number, 0 to 12, got 13`,
	}},
	{"bends a list", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "station = 0\nbends = [30, 60]", []string{
		`21:9: bar "hoop": bends must be a whole number, 0 to 12, got a list`,
	}},
	{"station not flat", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "station = 0\nflat = false", []string{
		`21:8: bar "hoop": station makes a flat hoop, which flat = false contradicts`,
	}},
	{"station with a free end", "sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]\nends = [\"shell\", \"shell\"]", "station = 0\nends = [\"shell\", \"free\"]", []string{
		`21:8: bar "hoop": mirror = "self" needs ends that mirror each other, got "shell" and "free"`,
		`21:8: bar "hoop": station makes a hoop with both ends on the shell, got "shell" and "free"`,
	}},
	{"station of a pair", "tube = \"s\"\nsketch = [[0,600,900], [-900,600,0]]\nends = [\"hoop\", \"shell\"]", "tube = \"t\"\nstation = 0", []string{
		`27:10: bar "leg": station makes a hoop across the whole car, which is no pair`,
	}},
	{"station as built", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "station = 0\nfixed = true", []string{
		`21:9: bar "hoop": fixed needs the sketch of the bar as built, not station`,
	}},
	{"station of a tube without a die", "tube = \"t\"\nsketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]", "tube = \"s\"\nstation = 0", []string{
		`17:3: bar "hoop": has 4 bends, but tube "s" has no die and is only used straight`,
	}},
	{"station that stands alone, landed on by a pair", "sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]\nends = [\"shell\", \"shell\"]\nmirror = \"self\"", `station = 0`, []string{
		`25:9: bar "leg": end A lands on "hoop", which has no mirror image for the mirrored end to land on`,
	}},
	{"follow of one point", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,600,900]]\nbends = 0", []string{
		`26:10: bar "leg": follow must be two points [x, y, z], got 1 value`,
	}},
	{"follow a bar", `sketch = [[0,600,900], [-900,600,0]]`, "follow = \"hoop\"\nbends = 0", []string{
		`26:10: bar "leg": follow must be a list of two points [x, y, z], got a text`,
	}},
	{"follow with half a point", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,600,900], [0,1]]\nbends = 0", []string{
		`26:24: bar "leg": follow point 2 must be a point [x, y, z], got 2 values`,
	}},
	{"follow from a point to itself", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,600,900], [0,600,910]]\nbends = 0", []string{
		`26:10: bar "leg": follow: the points are 10 mm apart, must be at least 20 mm`,
	}},
	{"follow without bends", `sketch = [[0,600,900], [-900,600,0]]`, `follow = [[0,600,900], [-900,600,0]]`, []string{
		`23:3: bar "leg": follow needs bends`,
	}},
	{"follow bent without a die", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,600,900], [-900,600,0]]\nbends = 1", []string{
		`27:9: bar "leg": has 1 bend, but tube "s" has no die and is only used straight`,
	}},
	{"follow leaning without bends", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,600,900], [-900,600,0]]\nbends = 0\nflat = true\nlean = 5", []string{
		`29:8: bar "leg": lean needs a bar with bends`,
	}},
	{"follow along the mirror plane as a pair", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,0,900], [-900,0,0]]\nbends = 0", []string{
		`26:10: bar "leg": mirror = "pair", but the bar lies on the mirror plane y = 0`,
	}},
	{"follow that does not mirror itself", `sketch = [[0,-600,0], [0,-600,900], [0,600,900], [0,600,0]]`, "follow = [[0,-600,0], [0,450,0]]\nbends = 3", []string{
		`20:10: bar "hoop": mirror = "self", but point 2 and the mirror image of point 1 are 150 mm apart, must be at most 100 mm`,
	}},
	{"follow as built", `sketch = [[0,600,900], [-900,600,0]]`, "follow = [[0,600,900], [-900,600,0]]\nbends = 0\nfixed = true", []string{
		`28:9: bar "leg": fixed needs the sketch of the bar as built, not follow`,
	}},

	// Everything at once, sorted; and places inside lists, braces and behind
	// letters of more than one byte.
	{"several", "", "title = 5\n[shell]\nclearance = -1\nfile = \"a\"\n[tube.t]\nod = 40\nwall = 30\ncolour = 1\n[[bar]]\nname = \"x\"\ntube = \"y\"\nsketch = [[0,0,0],[0,0,100]]\nends = [\"shell\", \"z\"]\n", []string{
		`1:9: title must be a text, got a number`,
		`3:13: shell: clearance must be 0 to 1000 mm, got -1 mm`,
		`7:8: tube "t": wall must be less than half of od (20 mm), got 30 mm`,
		`8:1: tube "t": unknown key "colour" (known: od, wall, die, stick, sticks, trim, material, yield, E, density)`,
		`11:8: bar "x": no tube "y" (known: t)`,
		`13:18: bar "x": end B lands on "z", which is no bar (known: shell, free, x)`,
	}},
	{"a column behind wide letters", `name = "leg"`, `name = "Überrollbügel ", tubes = 3`, []string{
		`24:24: not valid TOML: expected newline but got U+002C ','`,
	}},
	{"a column in braces behind wide letters", "[[keepout]]\nname = \"helmet\"\nsphere =", "[[keepout]]\nname = \"Hüfte\"\n\"späre\" = { \"ä\" = 1 }\nsphere =", []string{
		`31:1: keepout "Hüfte": unknown key "späre" (known: name, sphere, capsule, box, mesh)`,
	}},
	{"springback empty and no material", `[[30, 31], [90, 92]]`, `[]`, []string{
		`10:7: tube "t": material is missing, and die "d" has no springback pairs to do without`,
	}},
	{"a dotted key into a list", `title = "t"`, "bar.name = \"x\"", []string{
		`1:1: bar must be given as [[bar]], got a table`,
		`17:3: bar is already given in line 1`,
		`23:3: bar is already given in line 1`,
	}},
	{"a dotted key into braces", `radius = 200 }`, "radius = 200 }\nsphere.radius = 3", []string{
		`32:1: sphere is already given in line 31`,
	}},
	{"a header on a value", `[tube.s]`, "[shell.file]", []string{
		`14:8: shell.file is already given in line 4`,
		`25:8: bar "leg": no tube "s" (known: t)`,
	}},
	{"inline bars", "", "bar = [{name = \"ä\", tube = \"t\", sketch = [[0,0,0], [1,2]], ends = [\"shell\", \"shell\"]}]\nshell = {file = \"a\", clearance = 1}\ntube = {t = {od = 40, wall = 2, wal = 1}}\n", []string{
		`1:52: bar "ä": sketch point 2 must be a point [x, y, z], got 2 values`,
		`3:33: tube "t": unknown key "wal" (nearest: "wall")`,
	}},
	{"a list over lines", `sketch = [[0,600,900], [-900,600,0]]`, "sketch = [ # [no, list]\n  [0,600,900], # first\n\n  [-900,600, # , \"x\"\n   true]\n]", []string{
		`30:4: bar "leg": sketch point 2: z must be a number, got true or false`,
	}},
	{"carriage returns", "", "title = \"t\"\r\n[shell]\r\nfile = \"a\"\r\nclearance = -1\r\n[tube.t]\r\nod = 40\r\nwall = 2\r\n[[bar]]\r\nname = \"x\"\r\ntube = \"t\"\r\nsketch = [[0,0,0],[0,0,100]]\r\nends = [\"shell\", \"free\"]\r\n", []string{
		`4:13: shell: clearance must be 0 to 1000 mm, got -1 mm`,
	}},
	{"a byte order mark", "", "\ufefftitle = 3\n[shell]\nfile = \"a\"\nclearance = 1\n[tube.t]\nod = 40\nwall = 2\n[[bar]]\nname = \"x\"\ntube = \"t\"\nsketch = [[0,0,0],[0,0,100]]\nends = [\"shell\", \"free\"]\n", []string{
		`1:9: title must be a text, got a number`,
	}},

	// More of everything than a job can need.
	{"too many keys", "", manyLines("k%d = 1\n", 2001), []string{
		`2001:1: more than 2000 keys in one table`,
	}},
	{"too many keys in braces", "", "a = {" + manyLines("k%d = 1,\n", 2001) + "}", []string{
		`2001:1: more than 2000 keys in one table`,
	}},
	{"too many bars", `title = "t"`, "bar = [" + strings.Repeat("{}, ", 1001) + "]", []string{
		`1:7: bar must be given 1 to 1000 times, got 1001`,
		`17:3: bar is already given in line 1`,
		`23:3: bar is already given in line 1`,
	}},
	{"nested too deep", "", "a = " + strings.Repeat("[", 10001), []string{
		`1:10005: not valid TOML: arrays and inline tables are nested more than the maximum of 10000 levels deep`,
	}},
	{"a long name in many messages", `name = "leg"`, "name = \"" + strings.Repeat("x", 1000) + "\"\nfoo = 1", []string{
		`24:8: bar "` + strings.Repeat("x", 60) + `...": name must have at most 80 characters, got 1000`,
		`25:1: bar "` + strings.Repeat("x", 60) + `...": unknown key "foo" (known: name, tube, sketch, station, follow, bends, ends, mirror, flat, lean, hug, clearance, reach, fixed, plate)`,
	}},

	// The rest of what TOML itself forbids.
	{"die a number", "", "die = 5\n" + strings.Replace(base, "[die.d]\nod = 40\nclr = 120\nspringback = [[30, 31], [90, 92]]\n", "", 1), []string{
		`1:7: die must be given as [die.NAME], got a number`,
		`10:7: tube "t": no die "d" (there are none)`,
	}},
	{"keepout name a number", `name = "helmet"`, `name = 5`, []string{
		`30:8: keepout 1: name must be a text, got a number`,
	}},
	{"lean a text", `mirror = "self"`, "mirror = \"self\"\nflat = true\nlean = \"5\"", []string{
		`24:8: bar "hoop": lean must be a number, got a text`,
	}},
	{"springback a number", `[[30, 31], [90, 92]]`, `2`, []string{
		`9:14: die "d": springback must be a list of pairs [wanted, set], got a number`,
	}},
	{"springback pair of texts", `[[30, 31], [90, 92]]`, `[["30", "31"]]`, []string{
		`9:16: die "d": springback pair 1: wanted must be a number, got a text`,
		`9:22: die "d": springback pair 1: set must be a number, got a text`,
	}},
	{"a date that is none", `title = "t"`, `title = 2024-13-40`, []string{
		`1:9: title must be a text, got a date`,
	}},
	{"a large hexadecimal", `clearance = 10`, `clearance = 0xFFFFFFFFFFFFFFFFFF`, []string{
		`5:13: shell: clearance must be 0 to 1000 mm, got 0xFFFFFFFFFFFFFFFFFF mm`,
	}},
	{"a dotted key in braces closed again", `sphere = { centre = [0,0,900], radius = 200 }`, "sphere = { a.b = 1, a.c = 2 }\nsphere.a.d = 3", []string{
		`31:10: keepout "helmet": sphere: centre is missing`,
		`31:10: keepout "helmet": sphere: radius is missing`,
		`31:12: keepout "helmet": sphere: unknown key "a" (known: centre, radius)`,
		`32:1: sphere is already given in line 31`,
	}},
	{"a dotted key through a value", `title = "t"`, "title = \"t\"\ntitle.x = 1", []string{
		`2:1: title is already given in line 1`,
	}},
	{"a key twice that the reader would take", `clearance = 10`, "clearance = 10\n\"clearance\" = 10", []string{
		`6:1: clearance is already given in line 5`,
	}},
	{"a sub-table of a bar", "[[keepout]]\n", "[bar.sketch]\nx = 1\n[[keepout]]\n", []string{
		`29:6: bar.sketch is already given in line 26`,
	}},
	{"a comment at the end without a line end", `radius = 200 }`, `radius = 200, x = [1, # ] }`, []string{
		`31:59: not valid TOML: array is incomplete`,
	}},
}

// manyLines repeats a format with a counter.
func manyLines(format string, n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, format, i)
	}
	return b.String()
}
