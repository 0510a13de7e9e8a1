package procedures

import "testing"

func benchmark(b *testing.B, read func(string, []byte) (*Document, error)) {
	data, err := embeddedFile("causeway-build")
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := read("causeway-build.yaml", data); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParse(b *testing.B) { benchmark(b, Parse) }
func BenchmarkRead(b *testing.B)  { benchmark(b, Read) }
