package export

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// MarkerName is the file that makes a folder a set: its first line says so, each
// other line is the size, the CRC-32 (Castagnoli) and the slash-separated path
// of one file.
const MarkerName = ".barwright-set"

const (
	markerHead = "barwright output set 1"
	newInfix   = ".barwright-new-" // .NAME.barwright-new-N: a set being written
	oldSuffix  = ".barwright-old"  // .NAME.barwright-old: a set being replaced
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// ForeignError says that a folder holds something that is not an unchanged part
// of an earlier set.
type ForeignError struct {
	Dir  string
	Path string // slash-separated, relative to Dir; "" if Dir itself is no folder
	What string // "is not part of an earlier output" and the like
}

func (e *ForeignError) Error() string {
	if e.Path == "" {
		return fmt.Sprintf("%s %s", e.Dir, e.What)
	}
	return fmt.Sprintf("%s: %s %s", e.Dir, e.Path, e.What)
}

// ErrInUse is returned where the folder can't be replaced because it is the one
// the program runs in, or one above it.
var ErrInUse = errors.New("the folder is the working folder or holds it")

// Check tells whether dir may be replaced by a new set: it does not exist, is
// empty, or holds an unchanged earlier set and nothing else. It changes nothing.
// The error is a *[ForeignError], [ErrInUse] or one of the file system.
func Check(dir string) error {
	full, err := resolve(dir)
	if err != nil {
		return err
	}
	err = check(full)
	if foreign, ok := err.(*ForeignError); ok {
		foreign.Dir = dir // as the caller calls it
	}
	return err
}

func check(dir string) error {
	info, err := os.Lstat(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !info.IsDir() {
		return &ForeignError{Dir: dir, What: "is not a folder"}
	}
	if err := checkInUse(info); err != nil {
		return fmt.Errorf("%s: %w", dir, err)
	}
	marked, err := readMarker(dir)
	if err != nil {
		return err
	}
	return filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, name)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		foreign := func(what string) error { return &ForeignError{Dir: dir, Path: rel, What: what} }
		switch {
		case rel == "." || rel == MarkerName && marked != nil:
			return nil
		case entry.IsDir():
			if !slices.ContainsFunc(marked, func(f markedFile) bool { return strings.HasPrefix(f.path, rel+"/") }) {
				return foreign("is not part of an earlier output")
			}
			return nil
		}
		i := slices.IndexFunc(marked, func(f markedFile) bool { return f.path == rel })
		if i < 0 || !entry.Type().IsRegular() {
			return foreign("is not part of an earlier output")
		}
		size, sum, err := digest(name)
		if err != nil {
			return err
		}
		if size != marked[i].size || sum != marked[i].sum {
			return foreign("was changed after it was written")
		}
		return nil
	})
}

// checkInUse refuses the working folder and those above it: renaming them leaves
// the user's shell in a folder that is about to be deleted.
func checkInUse(info fs.FileInfo) error {
	at, err := os.Getwd()
	if err != nil {
		return nil // no working folder to protect
	}
	for {
		if here, err := os.Stat(at); err == nil && os.SameFile(here, info) {
			return ErrInUse
		}
		up := filepath.Dir(at)
		if up == at {
			return nil
		}
		at = up
	}
}

// resolve makes dir absolute and follows it if it is a symbolic link to a
// folder, so that the folder is replaced and not the link.
func resolve(dir string) (string, error) {
	if dir == "" {
		return "", errors.New("no folder given")
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	real, err := filepath.EvalSymlinks(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return dir, nil
	}
	if err != nil {
		return "", err
	}
	return real, nil
}

// Stage is a set that is being written. Use it from one goroutine.
type Stage struct {
	dir   string // the folder it is for
	temp  string // the folder it is in until Commit
	files []markedFile
	lock  io.Closer
	err   error // first error of a file; Commit then refuses
	ended bool  // by Commit or Discard
}

// Open starts a set for dir, in a new hidden folder beside it (and makes dir's
// parents). It first cleans up what killed runs left there. End it with
// [Stage.Commit] or [Stage.Discard]. Errors are those of [Check] and of the file
// system.
func Open(dir string) (*Stage, error) {
	dir, err := resolve(dir)
	if err != nil {
		return nil, err
	}
	if err := restore(dir); err != nil {
		return nil, err
	}
	if err := check(dir); err != nil {
		return nil, err
	}
	parent, name := filepath.Split(dir)
	if err := os.MkdirAll(parent, 0o777); err != nil {
		return nil, err
	}
	for n := 0; ; n++ {
		temp := filepath.Join(parent, "."+name+newInfix+strconv.Itoa(n))
		err := os.Mkdir(temp, 0o777)
		if errors.Is(err, fs.ErrExist) {
			continue // another run's, at work: restore would have removed it otherwise
		}
		if err != nil {
			return nil, err
		}
		lock, free, err := lockDir(temp)
		if err != nil {
			return nil, errors.Join(err, os.RemoveAll(temp))
		}
		if !free {
			continue // another run took it for a leftover in this very moment
		}
		return &Stage{dir: dir, temp: temp, lock: lock}, nil
	}
}

// Write adds a file to the set, with the content that fill writes, and puts it
// on the disk. The name is slash-separated and relative; its folders are made.
func (s *Stage) Write(name string, fill func(io.Writer) error) error {
	if s.err == nil {
		s.err = s.write(name, fill)
	}
	return s.err
}

func (s *Stage) write(name string, fill func(io.Writer) error) (err error) {
	taken := slices.ContainsFunc(s.files, func(f markedFile) bool { return f.path == name })
	if !fs.ValidPath(name) || strings.ContainsAny(name, "\\\n\r") || name == "." || name == MarkerName || taken {
		return fmt.Errorf("%q can't be the name of a file in a set", name)
	}
	file := filepath.Join(s.temp, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	sum := crc32.New(castagnoli)
	count := &counter{}
	buf := bufio.NewWriterSize(io.MultiWriter(f, sum, count), 1<<16)
	if err := fill(buf); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if err := buf.Flush(); err != nil {
		return err
	}
	s.files = append(s.files, markedFile{name, count.n, sum.Sum32()})
	return f.Sync()
}

type counter struct{ n int64 }

func (c *counter) Write(p []byte) (int, error) {
	c.n += int64(len(p))
	return len(p), nil
}

// Commit puts the set in place of what dir holds, in this order:
//
//  1. write the marker: the new set is now whole, beside dir
//  2. check dir again, which may have changed since [Open]
//  3. rename dir to .NAME.barwright-old
//  4. rename the new set to dir
//  5. delete .NAME.barwright-old
//
// A run that dies before 3 leaves the old set in place; between 3 and 4 the next
// Open moves it back; after 4 the new set is in place and the next Open only
// cleans up. If a step fails, the earlier set is put back and the new one
// deleted.
func (s *Stage) Commit() error {
	if s.err != nil {
		return errors.Join(s.err, s.Discard())
	}
	if err := s.commit(); err != nil {
		return errors.Join(err, s.Discard())
	}
	s.ended = true
	return s.lock.Close()
}

func (s *Stage) commit() error {
	if err := writeMarker(s.temp, s.files); err != nil {
		return err
	}
	if err := check(s.dir); err != nil {
		return err
	}
	old := oldName(s.dir)
	err := os.Rename(s.dir, old)
	had := err == nil
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(s.temp, s.dir); err != nil {
		if had {
			err = errors.Join(err, os.Rename(old, s.dir))
		}
		return err
	}
	if had {
		return removeSet(old)
	}
	return nil
}

// removeSet deletes a set, its marker last: cut short, what is left can still be
// told to be ours.
func removeSet(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		if entry.Name() == MarkerName {
			continue
		}
		if err := os.RemoveAll(filepath.Join(dir, entry.Name())); err != nil {
			return err
		}
	}
	return os.RemoveAll(dir)
}

// Discard deletes what was written so far and leaves dir as it is. After
// [Stage.Commit] or another Discard it does nothing.
func (s *Stage) Discard() error {
	if s.ended {
		return nil
	}
	s.ended = true
	return errors.Join(os.RemoveAll(s.temp), s.lock.Close())
}

func oldName(dir string) string {
	return filepath.Join(filepath.Dir(dir), "."+filepath.Base(dir)+oldSuffix)
}

// restore undoes what a killed run for dir left beside it; see Commit.
func restore(dir string) error {
	old := oldName(dir)
	if _, err := os.Lstat(old); err == nil {
		_, err := os.Lstat(dir)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			if err := os.Rename(old, dir); err != nil {
				return err
			}
		case err == nil:
			// Deleting it may have been under way, so some files can be missing, but
			// what is there must be ours.
			if err := check(old); err != nil {
				return err
			}
			if err := removeSet(old); err != nil {
				return err
			}
		}
	}
	parent, name := filepath.Split(dir)
	entries, err := os.ReadDir(parent)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, entry := range entries {
		number, ours := strings.CutPrefix(entry.Name(), "."+name+newInfix)
		if _, err := strconv.Atoi(number); !ours || err != nil || !entry.IsDir() {
			continue
		}
		temp := filepath.Join(parent, entry.Name())
		lock, free, err := lockDir(temp)
		if err != nil || !free {
			continue // a run at work, or one that has just finished
		}
		if err := errors.Join(os.RemoveAll(temp), lock.Close()); err != nil {
			return err
		}
	}
	return nil
}

type markedFile struct {
	path string
	size int64
	sum  uint32
}

func writeMarker(dir string, files []markedFile) error {
	files = slices.Clone(files)
	slices.SortFunc(files, func(a, b markedFile) int { return strings.Compare(a.path, b.path) })
	var b bytes.Buffer
	fmt.Fprintln(&b, markerHead)
	for _, f := range files {
		fmt.Fprintf(&b, "%d %08x %s\n", f.size, f.sum, f.path)
	}
	file, err := os.OpenFile(filepath.Join(dir, MarkerName), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	_, err = file.Write(b.Bytes())
	return errors.Join(err, file.Sync(), file.Close())
}

// readMarker returns the files that dir's marker lists; nil if it has none or
// one that this version did not write, which makes every file a foreign one.
func readMarker(dir string) ([]markedFile, error) {
	name := filepath.Join(dir, MarkerName)
	if info, err := os.Lstat(name); err != nil || !info.Mode().IsRegular() {
		return nil, nil
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	head, rest, _ := strings.Cut(string(data), "\n")
	if head != markerHead {
		return nil, nil
	}
	files := []markedFile{}
	for line := range strings.Lines(rest) {
		var f markedFile
		size, line, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		sum, name, _ := strings.Cut(line, " ")
		var errs [2]error
		f.size, errs[0] = strconv.ParseInt(size, 10, 64)
		sum64, err := strconv.ParseUint(sum, 16, 32)
		errs[1] = err
		f.sum, f.path = uint32(sum64), path.Clean(name)
		if errs[0] != nil || errs[1] != nil {
			return nil, nil
		}
		files = append(files, f)
	}
	return files, nil
}

func digest(name string) (size int64, sum uint32, err error) {
	f, err := os.Open(name)
	if err != nil {
		return 0, 0, err
	}
	defer f.Close()
	h := crc32.New(castagnoli)
	size, err = io.Copy(h, f)
	return size, h.Sum32(), err
}
