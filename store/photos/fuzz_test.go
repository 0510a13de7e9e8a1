package photos

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"image"
	"image/color"
	"testing"
)

func packedText(t testing.TB, text string) string {
	t.Helper()
	var b bytes.Buffer
	w := zlib.NewWriter(&b)
	if _, err := w.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// FuzzForBook checks what is promised for any bytes: no panic, and either an error or
// a picture of the right size and nothing else. The limit is lower than that of a
// book only to make the fuzzer quick.
func FuzzForBook(f *testing.F) {
	gps := []uint16{tagLatitude, tagLongitude}
	jpg, pic := asJPEG(f, corners()), asPNG(f, corners())
	f.Add(jpg, 20)
	f.Add(pic, 20)
	f.Add(withExif(jpg, exif(binary.LittleEndian, 6, gps)), 100)
	f.Add(withChunk(pic, "eXIf", string(exif(binary.BigEndian, 7, gps))), 1)
	f.Add(withApp1(jpg, xmpMagic+"GPSLatitude"), 7)
	f.Add(withChunk(pic, "iTXt", xmpKeyword+"\x01\x00\x00\x00"+packedText(f, "GPSLatitude")), 30)
	f.Add(asPNG(f, image.NewPaletted(image.Rect(0, 0, 9, 5), color.Palette{red, color.Transparent})), 3)
	f.Add(asPNG(f, image.NewNRGBA64(image.Rect(0, 0, 5, 9))), 3)
	f.Add(promising(pic, 1, 60_000), 2)
	f.Fuzz(func(t *testing.T, data []byte, longest int) {
		Position(data)
		out, mime, err := forBook(t.Context(), data, longest, 2_000_000)
		if err != nil {
			if out != nil || mime != "" {
				t.Fatal("there is an output and an error")
			}
			return
		}
		config, format, err := image.DecodeConfig(bytes.NewReader(out))
		if err != nil || "image/"+format != mime {
			t.Fatalf("%s is %s: %v", mime, format, err)
		}
		if max(config.Width, config.Height) > longest {
			t.Fatalf("%d × %d is larger than %d", config.Width, config.Height, longest)
		}
		for range notes(out) {
			t.Fatal("there is something besides the picture")
		}
	})
}
