package export

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func writes(s string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, s)
		return err
	}
}

// put writes one set of two files.
func put(t *testing.T, dir, content string) error {
	t.Helper()
	s, err := Open(dir)
	if err != nil {
		return err
	}
	require.NoError(t, s.Write("cage.json", writes(content)))
	require.NoError(t, s.Write("models/a.stl", writes("model of "+content)))
	return s.Commit()
}

// tree lists every file below dir with its content.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		rel, _ := filepath.Rel(dir, name)
		out[filepath.ToSlash(rel)] = string(data)
		return err
	}))
	return out
}

func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

func TestSetReplacesSet(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "deep", "out")
	require.NoError(t, put(t, dir, "one"))
	first := tree(t, dir)
	assert.Equal(t, "one", first["cage.json"])
	assert.Equal(t, "model of one", first["models/a.stl"])
	assert.Len(t, first, 3)

	s, err := Open(dir)
	require.NoError(t, err)
	require.NoError(t, s.Write("only.txt", writes("two")))
	assert.Equal(t, first, tree(t, dir), "the old set stands until Commit")
	require.NoError(t, s.Commit())
	require.NoError(t, s.Discard(), "after Commit it does nothing")
	second := tree(t, dir)
	assert.Len(t, second, 2, "files of the old set are gone")
	assert.Equal(t, "two", second["only.txt"])
	assert.Equal(t, []string{"out"}, names(t, filepath.Dir(dir)), "nothing is left beside it")
}

func TestDigest(t *testing.T) {
	name := filepath.Join(t.TempDir(), "f")
	require.NoError(t, os.WriteFile(name, []byte("123456789"), 0o666))
	size, sum, err := digest(name)
	require.NoError(t, err)
	assert.Equal(t, int64(9), size)
	assert.Equal(t, uint32(0xe3069283), sum) // the usual check value of CRC-32C, from memory
}

func TestSameFilesSameBytes(t *testing.T) {
	a, b := filepath.Join(t.TempDir(), "a"), filepath.Join(t.TempDir(), "b")
	require.NoError(t, put(t, a, "x"))
	s, err := Open(b)
	require.NoError(t, err)
	require.NoError(t, s.Write("models/a.stl", writes("model of x"))) // in another order
	require.NoError(t, s.Write("cage.json", writes("x")))
	require.NoError(t, s.Commit())
	assert.Equal(t, tree(t, a), tree(t, b))
}

func TestRefusesWhatIsNotOurs(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T, dir string)
		path string
	}{
		{"a user's file in a folder without marker", func(t *testing.T, dir string) {
			write(t, dir, "notes.txt", "mine")
		}, "notes.txt"},
		{"a user's file in a set", func(t *testing.T, dir string) {
			require.NoError(t, put(t, dir, "x"))
			write(t, dir, "models/notes.txt", "mine")
		}, "models/notes.txt"},
		{"a user's folder in a set", func(t *testing.T, dir string) {
			require.NoError(t, put(t, dir, "x"))
			require.NoError(t, os.Mkdir(filepath.Join(dir, "photos"), 0o777))
		}, "photos"},
		{"an edited file", func(t *testing.T, dir string) {
			require.NoError(t, put(t, dir, "x"))
			write(t, dir, "cage.json", "y")
		}, "cage.json"},
		{"a marker that is not ours", func(t *testing.T, dir string) {
			write(t, dir, MarkerName, "shopping list\n")
		}, MarkerName},
		{"a marker with a broken line", func(t *testing.T, dir string) {
			require.NoError(t, put(t, dir, "x"))
			write(t, dir, MarkerName, markerHead+"\nmany 00000000 cage.json\n")
		}, MarkerName},
		{"a link in place of a file", func(t *testing.T, dir string) {
			require.NoError(t, put(t, dir, "x"))
			file := filepath.Join(dir, "cage.json")
			require.NoError(t, os.Rename(file, filepath.Join(filepath.Dir(dir), "elsewhere")))
			require.NoError(t, os.Symlink("../elsewhere", file))
		}, "cage.json"},
		{"a file in place of the folder", func(t *testing.T, dir string) {
			write(t, filepath.Dir(dir), filepath.Base(dir), "mine")
		}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "out")
			c.make(t, dir)
			before := tree(t, filepath.Dir(dir))
			for _, err := range []error{Check(dir), put(t, dir, "new")} {
				var foreign *ForeignError
				require.ErrorAs(t, err, &foreign)
				assert.Equal(t, c.path, foreign.Path)
			}
			assert.Equal(t, before, tree(t, filepath.Dir(dir)), "nothing was touched")
		})
	}
}

func write(t *testing.T, dir, name, content string) {
	t.Helper()
	file := filepath.Join(dir, filepath.FromSlash(name))
	require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o777))
	require.NoError(t, os.WriteFile(file, []byte(content), 0o666))
}

func TestCommitLooksAgain(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	require.NoError(t, put(t, dir, "one"))
	s, err := Open(dir)
	require.NoError(t, err)
	require.NoError(t, s.Write("cage.json", writes("two")))
	write(t, dir, "notes.txt", "written while the fit ran")
	before := tree(t, dir)
	var foreign *ForeignError
	require.ErrorAs(t, s.Commit(), &foreign)
	assert.Equal(t, before, tree(t, dir))
	assert.Equal(t, []string{"out"}, names(t, filepath.Dir(dir)))
}

func TestFailureLeavesOldSet(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	require.NoError(t, put(t, dir, "one"))
	before := tree(t, dir)
	s, err := Open(dir)
	require.NoError(t, err)
	broken := errors.New("disk full")
	require.ErrorIs(t, s.Write("cage.json", func(w io.Writer) error {
		_, _ = io.WriteString(w, "half")
		return broken
	}), broken)
	require.ErrorIs(t, s.Write("other", writes("x")), broken, "the first error stays")
	require.ErrorIs(t, s.Commit(), broken)
	assert.Equal(t, before, tree(t, dir))
	assert.Equal(t, []string{"out"}, names(t, filepath.Dir(dir)))
}

func TestFileNames(t *testing.T) {
	for _, name := range []string{"", ".", "..", "../x", "/x", "a/../x", `a\x`, "a\nb", MarkerName, "twice"} {
		s, err := Open(filepath.Join(t.TempDir(), "out"))
		require.NoError(t, err)
		require.NoError(t, s.Write("twice", writes("")))
		assert.Error(t, s.Write(name, writes("")), "%q", name)
		require.NoError(t, s.Discard())
	}
}

// A killed run can stop after any step of Commit. Each case makes the folders
// that it leaves.
func TestCleansUpAfterKilledRun(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T, parent string)
		want string
	}{
		{"while writing", func(t *testing.T, parent string) {
			require.NoError(t, put(t, filepath.Join(parent, "out"), "old"))
			write(t, parent, ".out.barwright-new-0/cage.json", "half")
			write(t, parent, ".out.barwright-new-7/cage.json", "half")
		}, "old"},
		{"old set moved away, new one not in place", func(t *testing.T, parent string) {
			require.NoError(t, put(t, filepath.Join(parent, ".out.barwright-old"), "old"))
			require.NoError(t, put(t, filepath.Join(parent, ".out.barwright-new-0"), "new"))
		}, "old"},
		{"new set in place, old one half deleted", func(t *testing.T, parent string) {
			require.NoError(t, put(t, filepath.Join(parent, "out"), "new"))
			require.NoError(t, put(t, filepath.Join(parent, ".out.barwright-old"), "old"))
			require.NoError(t, os.Remove(filepath.Join(parent, ".out.barwright-old", "cage.json")))
		}, "new"},
	} {
		t.Run(c.name, func(t *testing.T) {
			parent := t.TempDir()
			c.make(t, parent)
			write(t, parent, ".out.barwright-new-x/keep", "not a name of ours")
			write(t, parent, ".outer.barwright-new-0/keep", "of another folder")
			s, err := Open(filepath.Join(parent, "out"))
			require.NoError(t, err)
			require.NoError(t, s.Discard())
			assert.Equal(t, c.want, tree(t, filepath.Join(parent, "out"))["cage.json"])
			assert.Equal(t, []string{".out.barwright-new-x", ".outer.barwright-new-0", "out"}, names(t, parent))
		})
	}
}

func TestRunAtWorkIsNotCleanedUp(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	first, err := Open(dir)
	require.NoError(t, err)
	require.NoError(t, first.Write("cage.json", writes("first")))
	require.NoError(t, put(t, dir, "second"))
	require.NoError(t, first.Commit())
	assert.Equal(t, "first", tree(t, dir)["cage.json"], "the one that ends last stands")
	assert.Equal(t, []string{"out"}, names(t, filepath.Dir(dir)))
}

func TestFolderInUse(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "out", "deeper")
	require.NoError(t, os.MkdirAll(dir, 0o777))
	t.Chdir(dir)
	require.ErrorIs(t, Check("."), ErrInUse)
	require.ErrorIs(t, Check(".."), ErrInUse)
	require.NoError(t, Check("new"))
}

func TestLinkedFolder(t *testing.T) {
	parent := t.TempDir()
	real, link := filepath.Join(parent, "disk", "out"), filepath.Join(parent, "link")
	require.NoError(t, os.MkdirAll(real, 0o777))
	require.NoError(t, os.Symlink(real, link))
	require.NoError(t, put(t, link, "x"))
	info, err := os.Lstat(link)
	require.NoError(t, err)
	assert.NotZero(t, info.Mode()&fs.ModeSymlink, "the link is still one")
	assert.Equal(t, "x", tree(t, real)["cage.json"])
}
