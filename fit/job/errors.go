package job

import (
	"fmt"
	"slices"
	"strings"
)

// ParseError is one thing that is wrong with a job file or a sketch file. It prints as
// file:line:col: text.
type ParseError struct {
	File string
	Pos  Position
	Text string
}

// Error returns the one line that says where and what.
func (e ParseError) Error() string {
	if e.Pos == (Position{}) {
		return fmt.Sprintf("%s: %s", e.File, e.Text)
	}
	return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Pos.Line, e.Pos.Column, e.Text)
}

// ParseErrors is everything that is wrong with a job, sorted by file and place.
type ParseErrors []ParseError

// Error returns the errors, one a line.
func (e ParseErrors) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns the single errors, for errors.Is and errors.As.
func (e ParseErrors) Unwrap() []error {
	all := make([]error, len(e))
	for i, one := range e {
		all[i] = one
	}
	return all
}

// sorted returns the errors by file, place, then text, each once.
func (e ParseErrors) sorted() ParseErrors {
	slices.SortStableFunc(e, func(a, b ParseError) int {
		if a.File != b.File {
			return strings.Compare(a.File, b.File)
		}
		if a.Pos.Line != b.Pos.Line {
			return a.Pos.Line - b.Pos.Line
		}
		if a.Pos.Column != b.Pos.Column {
			return a.Pos.Column - b.Pos.Column
		}
		return strings.Compare(a.Text, b.Text)
	})
	return slices.Compact(e)
}

// nearest returns the candidate that word was probably meant to be, or "": at
// most a third of its letters wrong, missing or too many, or one of two.
func nearest(word string, candidates []string) string {
	letters := len([]rune(word))
	best, most := "", min(letters, max(2, letters/3+1))
	for _, c := range candidates {
		if d := editDistance(strings.ToLower(word), strings.ToLower(c), most); d < most {
			best, most = c, d
		}
	}
	return best
}

// editDistance counts insertions, removals, replacements and swaps of
// neighbours that turn a into b. It gives up, returning limit, where the
// lengths alone make it that many.
func editDistance(a, b string, limit int) int {
	s, t := []rune(a), []rune(b)
	if d := len(s) - len(t); d >= limit || -d >= limit {
		return limit
	}
	before, last, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range last {
		last[j] = j
	}
	for i := range s {
		row[0] = i + 1
		for j := range t {
			cost := 1
			if s[i] == t[j] {
				cost = 0
			}
			row[j+1] = min(last[j]+cost, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && s[i] == t[j-1] && s[i-1] == t[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(t)]
}
