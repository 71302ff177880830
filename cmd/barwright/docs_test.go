package main

import (
	"bytes"
	"context"
	"flag"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the README's session anew (needs BARWRIGHT_FULL=1)")

const root = "../.."

// Every path that the documents name in backquotes or links exists.
func TestDocumentsNameRealPaths(t *testing.T) {
	// What looks like a path and is not one of the repository: made by the
	// command, or a pattern.
	elsewhere := regexp.MustCompile(`^(barwright-demo|models|out)/|\*|^https?:|^gonum/|^\./\.\.\.$`)
	// The paths that this test must see; without them the pattern is broken.
	must := map[string]string{"README.md": "DEVELOPERS.md", "DEVELOPERS.md": "export/outdir.go"}
	for _, name := range []string{"README.md", "DEVELOPERS.md"} {
		text, err := os.ReadFile(filepath.Join(root, name))
		require.NoError(t, err)
		found := map[string]bool{}
		for _, m := range regexp.MustCompile("`([^`\\s]+)`|\\]\\(([^)]+)\\)").FindAllStringSubmatch(string(text), -1) {
			path := strings.TrimPrefix(m[1]+m[2], "./")
			isPath := m[2] != "" || strings.Contains(path, "/") || strings.HasSuffix(path, ".go") || strings.HasSuffix(path, ".md")
			if !isPath || elsewhere.MatchString(path) {
				continue
			}
			found[path] = true
			_, err := os.Stat(filepath.Join(root, path))
			assert.NoError(t, err, "%s names %s", name, path)
		}
		assert.True(t, found[must[name]], "%s: paths are not found any more", name)
	}
}

// The README's session is what the demo prints.
func TestReadmeSession(t *testing.T) {
	if os.Getenv("BARWRIGHT_FULL") == "" {
		t.Skip("runs the demo; set BARWRIGHT_FULL=1")
	}
	t.Chdir(t.TempDir())
	var stdout bytes.Buffer
	code := run(context.Background(), []string{"barwright", "demo"}, nil, &stdout, io.Discard)
	require.Contains(t, []int{exitDone, exitFindings}, code)
	session := "```\n$ barwright demo\n" + stdout.String() + "```\n"

	readme := filepath.Join(repository, "README.md")
	text, err := os.ReadFile(readme)
	require.NoError(t, err)
	at := regexp.MustCompile("(?s)```\n\\$ barwright demo\n.*?```\n")
	require.Len(t, at.FindAll(text, -1), 1)
	if *update {
		text = at.ReplaceAllLiteral(text, []byte(session))
		require.NoError(t, os.WriteFile(readme, text, 0o666))
	}
	assert.Equal(t, session, string(at.Find(text)))
}

// repository is the root as an absolute path: a test changes the working folder.
var repository = func() string {
	abs, err := filepath.Abs(root)
	if err != nil {
		panic(err)
	}
	return abs
}()
