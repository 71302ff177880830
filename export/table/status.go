package table

import "barwright/fit"

// The states of a bar or of a whole cage.
const (
	OK      = "ok"      // no finding above a note
	Warning = "warning" // at least one warning, no error
	Error   = "error"   // at least one error
)

// Status sums up the findings about one bar, its own and those in which it is
// the second bar of a clash: [OK], [Warning] or [Error]. That another bar misses
// it, or that it has the name of a keep-out, is not held against it.
func Status(c *fit.Cage, bar string) string {
	return worst(c.Findings, func(f *fit.Finding) bool { return f.Bar == bar || f.Rule == "clash" && f.Other == bar })
}

// CageStatus sums up all findings of a cage: [OK], [Warning] or [Error].
func CageStatus(c *fit.Cage) string {
	return worst(c.Findings, func(*fit.Finding) bool { return true })
}

func worst(findings []fit.Finding, about func(*fit.Finding) bool) string {
	state := OK
	for i := range findings {
		f := &findings[i]
		if !about(f) {
			continue
		}
		switch f.Severity {
		case fit.Error:
			return Error
		case fit.Warning:
			state = Warning
		}
	}
	return state
}
