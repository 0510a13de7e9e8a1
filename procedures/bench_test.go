package procedures

import "testing"

func benchmark(b *testing.B, data []byte, read func(string, []byte) (*Document, error)) {
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := read("causeway-build.yaml", data); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkParse is of a build as its author wrote it.
func BenchmarkParse(b *testing.B) { benchmark(b, embeddedNamed("causeway-build").Source, Parse) }

// BenchmarkRead is of the build as it is kept with a job.
func BenchmarkRead(b *testing.B) { benchmark(b, embeddedNamed("causeway-build").Bytes, Read) }

// BenchmarkYAML is what package yaml takes for that.
func BenchmarkYAML(b *testing.B) {
	benchmark(b, embeddedNamed("causeway-build").Bytes, func(_ string, data []byte) (*Document, error) {
		_, _, err := decode(data)
		return nil, err
	})
}

// BenchmarkApart is what it takes without.
func BenchmarkApart(b *testing.B) {
	benchmark(b, embeddedNamed("causeway-build").Bytes, func(_ string, data []byte) (*Document, error) {
		if root, _ := takenApart(data); root == nil {
			b.Fatal("it is left to package yaml")
		}
		return nil, nil
	})
}
