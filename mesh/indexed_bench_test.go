package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"strconv"
	"testing"
)

// plyOf returns m as a PLY file in the manner of most exporters: coordinates as
// float, faces as lists of int. Format is that of the header.
func plyOf(m *Mesh, format string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "ply\nformat %s 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\n"+
		"element face %d\nproperty list uchar int vertex_indices\nend_header\n", format, len(m.Vertices), len(m.Triangles))
	var order binary.AppendByteOrder
	switch format {
	case "binary_little_endian":
		order = binary.LittleEndian
	case "binary_big_endian":
		order = binary.BigEndian
	}
	var line []byte
	for _, v := range m.Vertices {
		line = line[:0]
		p := toFloat32(v)
		if order == nil {
			line = fmt.Appendf(line, "%v %v %v\n", p[0], p[1], p[2])
		} else {
			line, _ = binary.Append(line, order.(binary.ByteOrder), p)
		}
		b.Write(line)
	}
	for _, tri := range m.Triangles {
		line = line[:0]
		if order == nil {
			line = fmt.Appendf(line, "3 %d %d %d\n", tri[0], tri[1], tri[2])
		} else {
			line = append(line, 3)
			for _, i := range tri {
				line = order.AppendUint32(line, uint32(i))
			}
		}
		b.Write(line)
	}
	return b.Bytes()
}

// objOf returns m as an OBJ file, with as many normals as vertices, as most
// exporters write them.
func objOf(m *Mesh) []byte {
	line := []byte("# shell\no shell\n")
	for _, keyword := range []string{"v", "vn"} {
		for _, v := range m.Vertices {
			line = append(line, keyword...)
			for _, x := range toFloat32(v) {
				line = append(line, ' ')
				line = strconv.AppendFloat(line, float64(x), 'g', -1, 32)
			}
			line = append(line, '\n')
		}
	}
	for _, tri := range m.Triangles {
		line = append(line, 'f')
		for _, i := range tri {
			line = append(line, ' ')
			line = strconv.AppendInt(line, int64(i+1), 10)
			line = append(line, "//"...)
			line = strconv.AppendInt(line, int64(i+1), 10)
		}
		line = append(line, '\n')
	}
	return line
}

// BenchmarkReadIndexed reads PLY and OBJ files of thousands of triangles, and
// the same shell as binary STL as a yardstick in the same run. The metrics
// are those of BenchmarkReadSTL; file-MB is the size of the file.
func BenchmarkReadIndexed(b *testing.B) {
	for _, f := range []struct {
		name string
		of   func(*Mesh) []byte
	}{
		{"stl", binarySTLOf},
		{"ply-little", func(m *Mesh) []byte { return plyOf(m, "binary_little_endian") }},
		{"ply-big", func(m *Mesh) []byte { return plyOf(m, "binary_big_endian") }},
		{"ply-ascii", func(m *Mesh) []byte { return plyOf(m, "ascii") }},
		{"obj", objOf},
	} {
		for _, k := range readSizes {
			b.Run(fmt.Sprintf("%s/%dk", f.name, k), func(b *testing.B) {
				if k > 1000 && os.Getenv("BARWRIGHT_FULL") == "" {
					b.Skip("BARWRIGHT_FULL=1 runs it")
				}
				file, err := os.Create(b.TempDir() + "/shell")
				if err != nil {
					b.Fatal(err)
				}
				defer file.Close()
				if _, err := file.Write(f.of(scanOf(1000 * k))); err != nil {
					b.Fatal(err)
				}
				size, err := file.Seek(0, io.SeekEnd)
				if err != nil {
					b.Fatal(err)
				}
				var m *Mesh
				read := func() {
					if m, _, err = Read(file, ReadOptions{}); err != nil {
						b.Fatal(err)
					}
				}
				peak := peakOf(read)
				b.ResetTimer()
				for b.Loop() {
					read()
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(m.Triangles)), "ns/triangle")
				b.ReportMetric(float64(peak)/1e6, "peak-MB")
				b.ReportMetric(float64(size)/1e6, "file-MB")
			})
		}
	}
}
