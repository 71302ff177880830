package main

import (
	"fmt"
	"slices"

	"barwright/fit"
	"barwright/fit/job"
)

// fold stands for findings about bars that could not come out right because a
// bar on which they land did not.
type fold struct {
	root     string // the bar that failed
	bars     int
	findings []fit.Finding
}

func (f fold) String() string {
	what := "bars that land"
	if f.bars == 1 {
		what = "bar that lands"
	}
	return fmt.Sprintf("and %s about %d %s on %q, directly or by way of others: mend that first (--all lists them, cage.json has them)",
		countFindings(f.findings, f.severities()), f.bars, what, f.root)
}

// severities that occur in the fold.
func (f fold) severities() []fit.Severity {
	return slices.DeleteFunc(slices.Clone(severities), func(s fit.Severity) bool {
		return !slices.ContainsFunc(f.findings, func(x fit.Finding) bool { return x.Severity == s })
	})
}

// misplacing holds the rules whose errors say that a bar is not where it should
// be, so that what lands on it can't be either.
var misplacing = []string{"clearance", "keepout", "grip", "tail", "angle", "radius", "stick", "landing", "outside"}

// fewest is how many findings are worth a fold.
const fewest = 4

// foldFindings takes out findings that follow from the failure of another bar.
func foldFindings(c *fit.Cage, findings []fit.Finding) (kept []fit.Finding, folds []fold) {
	bars := map[string]*fit.Bar{}
	for _, b := range c.Bars {
		bars[b.Name] = b
	}
	failed := map[string]bool{}
	for i := range findings {
		f := &findings[i]
		if f.Severity == fit.Error && slices.Contains(misplacing, f.Rule) {
			failed[f.Bar] = true
		}
	}
	// root returns the failed bar at the bottom of what a bar lands on, or "". A
	// fitted cage has no loops, so that this ends; depth is for one that was
	// made in another way.
	var root func(name string, depth int) string
	root = func(name string, depth int) string {
		b := bars[name]
		if b == nil || depth > len(c.Bars) {
			return ""
		}
		for _, end := range b.Ends {
			if end.Kind != job.Landed {
				continue
			}
			if r := root(end.Onto, depth+1); r != "" {
				return r
			}
			if failed[end.Onto] {
				return end.Onto
			}
		}
		return ""
	}
	index := map[string]int{}
	about := map[string]bool{}
	for _, f := range findings {
		name := f.Bar
		r := root(name, 0)
		if r == "" && f.Rule == "clash" {
			name = f.Other
			r = root(name, 0)
		}
		if r == "" {
			kept = append(kept, f)
			continue
		}
		if _, ok := index[r]; !ok {
			index[r] = len(folds)
			folds = append(folds, fold{root: r})
		}
		to := &folds[index[r]]
		to.findings = append(to.findings, f)
		if !about[name] {
			about[name] = true
			to.bars++
		}
	}
	total := 0
	for _, f := range folds {
		total += len(f.findings)
	}
	if total < fewest {
		return findings, nil
	}
	return kept, folds
}
