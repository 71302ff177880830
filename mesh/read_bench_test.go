package mesh

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"runtime"
	"runtime/metrics"
	"strconv"
	"testing"
	"time"

	"github.com/golang/geo/r3"
	"github.com/hschendel/stl"
)

// scanOf returns an invented shell of about n triangles in mm: a bulged tunnel
// 2.4 m long, 1.5 m wide and 1.2 m high, open at both ends, its rows in the
// order of a scanner that goes along it.
func scanOf(n int) *Mesh {
	across := max(2, int(math.Sqrt(float64(n)/4)))
	along := max(2, n/(2*across))
	m := &Mesh{}
	for i := range along + 1 {
		for j := range across + 1 {
			s, a := float64(i)/float64(along), math.Pi*float64(j)/float64(across)
			bulge := 1 + 0.1*math.Sin(math.Pi*s)
			m.Vertices = append(m.Vertices, r3.Vector{
				X: 2400 * s,
				Y: 680 * bulge * math.Cos(a),
				Z: 1090*bulge*math.Sin(a) + 3*math.Sin(40*s+9*a),
			})
		}
	}
	at := func(i, j int) int32 { return int32(i*(across+1) + j) }
	for i := range along {
		for j := range across {
			m.Triangles = append(m.Triangles,
				[3]int32{at(i, j), at(i+1, j), at(i+1, j+1)},
				[3]int32{at(i, j), at(i+1, j+1), at(i, j+1)})
		}
	}
	return m
}

// binarySTLOf returns m as a binary STL file.
func binarySTLOf(m *Mesh) []byte {
	var b bytes.Buffer
	b.Grow(stlHeader + stlFacet*len(m.Triangles))
	if err := WriteSTL(&b, "shell", m); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// writeASCII writes m as an ASCII STL file in the wordy manner of most
// exporters, about 250 bytes a triangle.
func writeASCII(w io.Writer, m *Mesh) error {
	line := append(make([]byte, 0, 512), "solid shell\n"...)
	vector := func(v r3.Vector) {
		for _, x := range []float64{v.X, v.Y, v.Z} {
			line = append(line, ' ')
			line = strconv.AppendFloat(line, float64(float32(x)), 'e', 6, 32)
		}
		line = append(line, '\n')
	}
	for t := range m.Triangles {
		a, b, c := m.Corners(t)
		line = append(line, "  facet normal"...)
		vector(b.Sub(a).Cross(c.Sub(a)).Normalize())
		line = append(line, "    outer loop\n"...)
		for _, v := range []r3.Vector{a, b, c} {
			line = append(line, "      vertex"...)
			vector(v)
		}
		line = append(line, "    endloop\n  endfacet\n"...)
		if _, err := w.Write(line); err != nil {
			return err
		}
		line = line[:0]
	}
	_, err := w.Write(append(line, "endsolid shell\n"...))
	return err
}

// peakOf runs f and returns the most heap it held over what was held before,
// in bytes, garbage not yet collected included.
func peakOf(f func()) uint64 {
	sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	read := func() uint64 { metrics.Read(sample); return sample[0].Value.Uint64() }
	runtime.GC()
	before, peak := read(), uint64(0)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for tick := time.NewTicker(2 * time.Millisecond); ; {
			peak = max(peak, read())
			select {
			case <-tick.C:
			case <-stop:
				tick.Stop()
				return
			}
		}
	}()
	f()
	close(stop)
	<-stopped
	return max(peak, read()) - before
}

var readSizes = []int{50, 200, 1000, 5000} // thousand triangles

// BenchmarkReadSTL reads, welds and cleans files of thousands of triangles.
// ns/triangle is the time; peak-MB the most heap used beside the file, garbage
// included; mesh-MB what the mesh takes. The ASCII file of 5 M triangles
// (1.2 GB, on disk) needs BARWRIGHT_FULL=1.
func BenchmarkReadSTL(b *testing.B) {
	for _, format := range []string{"binary", "ascii"} {
		for _, k := range readSizes {
			b.Run(fmt.Sprintf("%s/%dk", format, k), func(b *testing.B) {
				if format == "ascii" && k > 1000 && os.Getenv("BARWRIGHT_FULL") == "" {
					b.Skip("BARWRIGHT_FULL=1 runs it")
				}
				f, err := os.Create(b.TempDir() + "/shell.stl")
				if err != nil {
					b.Fatal(err)
				}
				defer f.Close()
				if format == "binary" {
					err = WriteSTL(f, "shell", scanOf(1000*k))
				} else {
					err = writeASCII(f, scanOf(1000*k))
				}
				if err != nil {
					b.Fatal(err)
				}
				var m *Mesh
				read := func() {
					if m, _, err = Read(f, ReadOptions{}); err != nil {
						b.Fatal(err)
					}
				}
				peak := peakOf(read)
				b.ResetTimer()
				for b.Loop() {
					read()
				}
				triangles := len(m.Triangles)
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*triangles), "ns/triangle")
				b.ReportMetric(float64(peak)/1e6, "peak-MB")
				b.ReportMetric((24*float64(cap(m.Vertices))+12*float64(cap(m.Triangles)))/1e6, "mesh-MB")
			})
		}
	}
}

// BenchmarkLibraryReadSTL is the yardstick for BenchmarkReadSTL/binary in the
// same run: hschendel/stl's own reader, which neither checks nor welds.
func BenchmarkLibraryReadSTL(b *testing.B) {
	for _, k := range readSizes {
		b.Run(fmt.Sprintf("binary/%dk", k), func(b *testing.B) {
			f, err := os.Create(b.TempDir() + "/shell.stl")
			if err != nil {
				b.Fatal(err)
			}
			defer f.Close()
			m := scanOf(1000 * k)
			if err := WriteSTL(f, "shell", m); err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := f.Seek(0, io.SeekStart); err != nil {
					b.Fatal(err)
				}
				if _, err := stl.ReadAll(f); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Triangles)), "ns/triangle")
		})
	}
}

// BenchmarkWeldNear shows what the second welding step costs.
func BenchmarkWeldNear(b *testing.B) {
	for _, k := range readSizes {
		b.Run(fmt.Sprintf("%dk", k), func(b *testing.B) {
			m := scanOf(1000 * k)
			for b.Loop() {
				weldNear(m, 0.002)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Triangles)), "ns/triangle")
		})
	}
}

func BenchmarkComponents(b *testing.B) {
	for _, k := range readSizes {
		b.Run(fmt.Sprintf("%dk", k), func(b *testing.B) {
			m := scanOf(1000 * k)
			for b.Loop() {
				Components(m)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Triangles)), "ns/triangle")
		})
	}
}

func BenchmarkOpenEdges(b *testing.B) {
	for _, k := range readSizes {
		b.Run(fmt.Sprintf("%dk", k), func(b *testing.B) {
			m := scanOf(1000 * k)
			for b.Loop() {
				OpenEdges(m)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Triangles)), "ns/triangle")
		})
	}
}
