package bender_test

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// TestMain fixes the seed of the property tests, so that a run can be repeated,
// and keeps failure files out of the tree; BARWRIGHT_FULL=1 runs many more.
func TestMain(m *testing.M) {
	settings := map[string]string{"rapid.seed": "1", "rapid.nofailfile": "true", "rapid.checks": "100"}
	if os.Getenv("BARWRIGHT_FULL") == "1" {
		settings["rapid.checks"] = "3000"
	}
	for name, value := range settings {
		if err := flag.Set(name, value); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}
