package main

import (
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/golang/geo/s1"

	"barwright/export/table"
	"barwright/fit"
	"barwright/fit/job"
	"barwright/fit/tube"
)

// printCage prints the bars and the findings of a cage; all also those findings
// that follow from another bar's failure.
func printCage(w io.Writer, c *fit.Cage, j *job.Job, notes []string, bends, all bool) error {
	l := lengthsOf(j)
	p := &printer{w: w}
	if c.Title != "" {
		p.printf("%s\n", oneLine(c.Title))
	}
	p.printf("%s fitted to %s (%d triangles, %s)\n", counted(len(c.Bars), "bar"), oneLine(c.Shell.File), c.Shell.Triangles, c.Shell.Unit)
	for _, note := range notes {
		p.printf("scan: %s\n", oneLine(l.text(note)))
	}
	p.printf("\n")
	p.printf("%s\n", align(barRows(c, l), "lllrrrrrrl"))
	if bends {
		p.printf("%s\n", align(bendRows(c, l), "llrrrrrr"))
	}
	length, mass := 0.0, 0.0
	for _, b := range c.Bars {
		length += b.Table.Developed
		mass += b.Tube.Mass(b.Path.Length)
	}
	p.printf("total: %s %s of tube, %s kg\n\n", l.format(length), l.unit(), table.Fixed(mass, 1))
	printFindings(p, c, l, all)
	return p.err
}

func barRows(c *fit.Cage, l lengths) [][]string {
	rows := [][]string{{"bar", "tube", "ends", "bends", "length " + l.unit(), "clearance", "gap min", "mean", "max", "status"}}
	for _, b := range c.Bars {
		rows = append(rows, []string{
			oneLine(b.Name), oneLine(b.Tube.Name), endWord(b.Ends[0]) + "-" + endWord(b.Ends[1]), strconv.Itoa(len(b.Table.Bends)),
			l.format(b.Table.Developed), l.format(b.Clearance),
			l.format(b.Gap.Min), l.format(b.Gap.Mean), l.format(b.Gap.Max), table.Status(c, b.Name),
		})
	}
	return rows
}

func endWord(e job.End) string {
	switch e.Kind {
	case job.Foot:
		return "shell"
	case job.Free:
		return "free"
	}
	return "bar"
}

// bendRows gives for each bar the blank to saw off and then its bends in the
// order in which they are made, with marks from the sawn ends.
func bendRows(c *fit.Cage, l lengths) [][]string {
	deg := func(a s1.Angle) string { return table.Fixed(tube.Degrees(a), 1) }
	rows := [][]string{{"bar", "step", "bend", "mark from A " + l.unit(), "from B", "turn deg", "set deg", "angle deg"}}
	for _, b := range c.Bars {
		if b.Blank == nil {
			continue
		}
		rows = append(rows, []string{oneLine(b.Name), "saw", "", l.format(b.Blank.Length)})
		for i, s := range b.Blank.Steps {
			set := table.Fixed(tube.Degrees(s.Set), 2)
			if s.Estimated {
				set = "~" + set
			}
			rows = append(rows, []string{
				"  end " + "AB"[b.Blank.First:b.Blank.First+1] + " first", strconv.Itoa(i + 1), strconv.Itoa(s.Bend),
				l.format(s.Mark[0]), l.format(s.Mark[1]), deg(s.Rotation), set, deg(s.Angle),
			})
		}
	}
	return rows
}

// severities in the order in which they are printed.
var severities = []fit.Severity{fit.Error, fit.Warning, fit.Note}

func printFindings(p *printer, c *fit.Cage, l lengths, all bool) {
	if len(c.Findings) == 0 {
		p.printf("no findings\n")
		return
	}
	sorted := slices.Clone(c.Findings)
	slices.SortStableFunc(sorted, func(a, b fit.Finding) int {
		return slices.Index(severities, a.Severity) - slices.Index(severities, b.Severity)
	})
	p.printf("findings: %s\n", countFindings(sorted, severities))
	var folds []fold
	if !all {
		sorted, folds = foldFindings(c, sorted)
	}
	rows := [][]string{}
	for _, f := range sorted {
		text := l.text(f.Message, f.Got, f.Limit)
		if f.At != nil {
			text += " at " + l.point(f.At.X, f.At.Y, f.At.Z)
		}
		about := f.Bar
		if f.Bend > 0 {
			about += " bend " + strconv.Itoa(f.Bend)
		}
		rows = append(rows, []string{string(f.Severity), f.Rule, oneLine(about), oneLine(text)})
	}
	p.printf("%s", align(rows, "llll"))
	for _, f := range folds {
		p.printf("%s\n", oneLine(f.String()))
	}
}

// countFindings gives "2 errors, 0 warnings, 1 note" for the given severities.
func countFindings(findings []fit.Finding, of []fit.Severity) string {
	var counts []string
	for _, s := range of {
		n := 0
		for i := range findings {
			if findings[i].Severity == s {
				n++
			}
		}
		counts = append(counts, counted(n, string(s)))
	}
	return strings.Join(counts, ", ")
}

// align lays rows out in columns, each aligned left ("l") or right ("r"). Rows
// may be short.
func align(rows [][]string, columns string) string {
	width := make([]int, len(columns))
	for _, row := range rows {
		for i, cell := range row {
			width[i] = max(width[i], utf8.RuneCountInString(cell))
		}
	}
	var out strings.Builder
	for _, row := range rows {
		var line strings.Builder
		for i, cell := range row {
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(cell))
			if i > 0 {
				line.WriteString("  ")
			}
			if columns[i] == 'r' {
				line.WriteString(pad + cell)
			} else {
				line.WriteString(cell + pad)
			}
		}
		out.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	return out.String()
}
