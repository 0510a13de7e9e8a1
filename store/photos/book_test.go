package photos

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
)

func decoded(t *testing.T, data []byte, mime string) image.Image {
	t.Helper()
	m, format, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if "image/"+format != mime {
		t.Fatalf("it is called %s and is %s", mime, format)
	}
	return m
}

// TestOrientations follows the EXIF table, which says on which side of the upright
// picture the first row and the first column are.
func TestOrientations(t *testing.T) {
	table := []string{1: "top left", 2: "top right", 3: "bottom right", 4: "bottom left",
		5: "left top", 6: "right top", 7: "right bottom", 8: "left bottom"}
	for n := 1; n <= 8; n++ {
		row, column, _ := strings.Cut(table[n], " ")
		opposite := map[string]string{"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
		want := map[string]color.Color{}
		at := func(a, b string) string { // the corner of two sides
			if a == "top" || a == "bottom" {
				return a + " " + b
			}
			return b + " " + a
		}
		want[at(row, column)] = red
		want[at(row, opposite[column])] = green
		want[at(opposite[row], column)] = blue
		want[at(opposite[row], opposite[column])] = white

		for _, order := range []appender{binary.LittleEndian, binary.BigEndian} {
			block := exif(order, uint16(n), nil)
			for name, data := range map[string][]byte{
				"jpeg":   withExif(asJPEG(t, corners()), block),
				"png":    withChunk(asPNG(t, corners()), "eXIf", string(block)),
				"second": withApp1(withExif(asJPEG(t, corners()), block), xmpMagic+"<x/>"),
			} {
				for _, longest := range []int{24, 1000} {
					t.Run(fmt.Sprint(n, " ", order, " ", name, " ", longest), func(t *testing.T) {
						out, mime, err := ForBook(t.Context(), data, longest)
						if err != nil {
							t.Fatal(err)
						}
						m := decoded(t, out, mime)
						w, h := min(48, longest), min(32, longest*2/3)
						if n >= 5 {
							w, h = h, w
						}
						if m.Bounds() != image.Rect(0, 0, w, h) {
							t.Fatalf("it is %v, not %d × %d", m.Bounds(), w, h)
						}
						for corner, c := range want {
							x, y := w/8, h/8
							if strings.Contains(corner, "right") {
								x = w - 1 - x
							}
							if strings.Contains(corner, "bottom") {
								y = h - 1 - y
							}
							if !near(m.At(x, y), c) {
								t.Errorf("%s is %v, not %v", corner, m.At(x, y), c)
							}
						}
					})
				}
			}
		}
	}
}

func TestOrientationThatMakesNoSense(t *testing.T) {
	picture := asJPEG(t, corners())
	plain := exif(binary.BigEndian, 6, nil)
	for name, block := range map[string][]byte{
		"0": exif(binary.BigEndian, 0, nil), "9": exif(binary.BigEndian, 9, nil), "none": nil,
		"cut off": plain[:14], "far": append([]byte("MM\x00*\xff\xff\xff\xff"), plain[8:]...),
	} {
		if got := orientation(withExif(picture, block)); got != 1 {
			t.Errorf("%s: %d", name, got)
		}
	}
	if got := orientation(withExif(picture, plain)); got != 6 {
		t.Errorf("the good one: %d", got)
	}
}

func TestPositionIsTakenAway(t *testing.T) {
	full := []uint16{0, 1, tagLatitude, 3, tagLongitude}
	jpg, pic := asJPEG(t, corners()), asPNG(t, corners())
	packed := "\x01\x00\x00\x00" + packedText(t, `<rdf exif:GPSLatitude="48,8.2N"/>`)
	for _, test := range []struct {
		name string
		data []byte
		want bool
	}{
		{"jpeg", withExif(jpg, exif(binary.LittleEndian, 6, full)), true},
		{"jpeg, the other order", withExif(jpg, exif(binary.BigEndian, 0, full)), true},
		{"png", withChunk(pic, "eXIf", string(exif(binary.BigEndian, 3, full))), true},
		{"xmp", withApp1(jpg, xmpMagic+`<rdf exif:GPSLatitude="48,8.2N"/>`), true},
		{"xmp in a png", withChunk(pic, "iTXt", xmpKeyword+"\x00\x00\x00\x00"+`<exif:GPSLongitude>`), true},
		{"packed xmp in a png", withChunk(pic, "iTXt", xmpKeyword+packed), true},
		{"only the version of GPS", withExif(jpg, exif(binary.LittleEndian, 6, []uint16{0})), false},
		{"no GPS", withExif(jpg, exif(binary.LittleEndian, 6, nil)), false},
		{"other xmp", withApp1(jpg, xmpMagic+"<x/>"), false},
		{"nothing", jpg, false},
		{"nothing, png", pic, false},
		{"no photo", []byte("GPSLatitude"), false},
	} {
		t.Run(test.name, func(t *testing.T) {
			if got := Position(test.data); got != test.want {
				t.Errorf("a position: %v", got)
			}
			if test.name == "no photo" {
				return
			}
			out, mime, err := ForBook(t.Context(), test.data, 40)
			if err != nil {
				t.Fatal(err)
			}
			decoded(t, out, mime)
			if Position(out) {
				t.Error("the book says where it was taken")
			}
			onlyPicture(t, out)
		})
	}
}

// onlyPicture looks for anything in an output that is not part of the picture.
func onlyPicture(t *testing.T, out []byte) {
	t.Helper()
	for _, trace := range []string{"Exif", "eXIf", "iTXt", "tEXt", "zTXt", "GPS", "SERIAL", "http", "II*\x00", "MM\x00*"} {
		if bytes.Contains(out, []byte(trace)) {
			t.Errorf("the output holds %q", trace)
		}
	}
	if !bytes.HasPrefix(out, []byte("\xff\xd8")) {
		return
	}
	for at := 2; out[at+1] != 0xda; at += 2 + int(binary.BigEndian.Uint16(out[at+2:])) {
		if marker := out[at+1]; marker >= 0xe0 && marker <= 0xef || marker == 0xfe {
			t.Errorf("the output holds a segment %x", marker)
		}
	}
}

func TestKindsOfPicture(t *testing.T) {
	noise := image.NewNRGBA(image.Rect(0, 0, 600, 400))
	random := rand.NewChaCha8([32]byte{})
	_, _ = random.Read(noise.Pix)
	palette := image.NewPaletted(image.Rect(0, 0, 300, 20), color.Palette{red, color.Transparent})
	for _, test := range []struct {
		name string
		data []byte
		mime string
		w, h int
	}{
		{"grey", asJPEG(t, image.NewGray(image.Rect(0, 0, 90, 60))), mimeJPEG, 60, 40},
		{"one pixel", asJPEG(t, image.NewGray(image.Rect(0, 0, 1, 1))), mimeJPEG, 1, 1},
		{"a line", asPNG(t, image.NewGray16(image.Rect(0, 0, 6000, 1))), mimePNG, 60, 1},
		{"a deep one", asPNG(t, image.NewNRGBA64(image.Rect(0, 0, 70, 700))), mimePNG, 6, 60},
		{"a palette", asPNG(t, palette), mimePNG, 60, 4},
	} {
		out, mime, err := ForBook(t.Context(), test.data, 60)
		if err != nil || mime != test.mime {
			t.Errorf("%s: %s, %v", test.name, mime, err)
			continue
		}
		if b := decoded(t, out, mime).Bounds(); b.Dx() != test.w || b.Dy() != test.h {
			t.Errorf("%s: it is %v", test.name, b)
		}
	}
	out, mime, err := ForBook(t.Context(), asPNG(t, noise), 600)
	if err != nil || mime != mimeJPEG || len(out) > bookPNG {
		t.Errorf("a long PNG: %s of %d bytes, %v", mime, len(out), err)
	}
}

// TestScaling checks that even colours stay even and edges stay where they were.
func TestScaling(t *testing.T) {
	m := image.NewRGBA(image.Rect(0, 0, 1000, 700))
	for y := range 700 {
		for x := range 1000 {
			c := color.RGBA{200, 100, 50, 255}
			if x >= 500 {
				c = color.RGBA{10, 20, 30, 40}
			}
			m.SetRGBA(x, y, c)
		}
	}
	for _, width := range []int{999, 501, 100, 2} {
		s := scaled(m, width, max(1, width*7/10))
		for y := range s.Rect.Dy() {
			if got := s.RGBAAt(0, y); width > 2 && got != m.RGBAAt(0, 0) {
				t.Fatalf("%d: the left is %v", width, got)
			}
			if got := s.RGBAAt(width-1, y); width > 2 && got != m.RGBAAt(999, 0) {
				t.Fatalf("%d: the right is %v", width, got)
			}
		}
		if l, r := s.RGBAAt(width/2-1, 0), s.RGBAAt(width/2+width%2, 0); l.R < 150 || r.R > 40 {
			t.Errorf("%d: the edge is %v, %v", width, l, r)
		}
	}
}

// What a picture is taken to need is no less than the decoder takes for it.
func TestPerPixel(t *testing.T) {
	size := image.Rect(0, 0, 1024, 1024)
	colour := asJPEG(t, image.NewNRGBA(size))
	progressive := bytes.Clone(colour)
	progressive[bytes.Index(colour, []byte{0xff, 0xc0})+1] = 0xc2
	scan := bytes.Index(progressive, []byte{0xff, 0xda})
	progressive[scan+12] = 0 // one coefficient of each block
	adobe := append([]byte("\xff\xd8\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00\x00"), colour[2:]...)
	interlaced := asPNG(t, image.NewNRGBA(size))
	interlaced[pngInterlace] = 1
	binary.BigEndian.PutUint32(interlaced[29:], crc32.ChecksumIEEE(interlaced[12:29]))
	half := image.NewNRGBA(size)
	half.Pix[3] = 128 // else it is written without transparency
	for name, test := range map[string]struct {
		data []byte
		want float64
	}{
		"grey":              {asJPEG(t, image.NewGray(size)), 1},
		"colour":            {colour, 1.5},
		"progressive":       {progressive, 7.5},
		"colours of Adobe":  {adobe, 5.5},
		"no frame":          {[]byte("\xff\xd8\xff\xd9"), 24},
		"a PNG":             {asPNG(t, half), 4},
		"a grey PNG":        {asPNG(t, image.NewGray(size)), 4},
		"a deep PNG":        {asPNG(t, image.NewNRGBA64(size)), 8},
		"a deep grey PNG":   {asPNG(t, image.NewGray16(size)), 8},
		"a palette":         {asPNG(t, image.NewPaletted(size, color.Palette{red, blue})), 1},
		"an interlaced PNG": {interlaced, 8},
	} {
		mime, decode := mimeJPEG, jpeg.Decode
		var model color.Model
		if config, err := png.DecodeConfig(bytes.NewReader(test.data)); err == nil {
			mime, decode, model = mimePNG, png.Decode, config.ColorModel
		}
		got := perPixel(mime, model, test.data)
		if got != test.want {
			t.Errorf("%s: %v bytes a pixel, want %v", name, got, test.want)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _ = decode(bytes.NewReader(test.data)) // some of these end before all is drawn
		runtime.ReadMemStats(&after)
		if took := float64(after.TotalAlloc - before.TotalAlloc); took > got*1024*1024+300_000 {
			t.Errorf("%s: the decoder took %.1f bytes a pixel, more than %v", name, took/1024/1024, got)
		} else {
			t.Logf("%s: %.2f of %v", name, took/1024/1024, got)
		}
	}
}

func TestHostile(t *testing.T) {
	jpg, pic := asJPEG(t, corners()), asPNG(t, corners())
	const scan = "\xff\xda\x00\x08\x01\x01\x00\x00\x00\x00"
	large := promisingJPEG(jpg, 9_999, 9_999)
	for name, test := range map[string]struct {
		data []byte
		want error
	}{
		"a bomb":               {promising(pic, 50_000, 50_000), ErrTooLarge},
		"a bomb below the cap": {promising(pic, 6_299, 6_299), ErrNotPhoto},
		"a bomb above it":      {promising(pic, 6_400, 6_400), ErrTooLarge},
		"a long bomb":          {promising(pic, 1, 90_000_000), ErrTooLarge},
		"the largest":          {promising(pic, 1<<31-1, 1<<31-1), ErrNotPhoto}, // the decoder's own limit
		"no size":              {promising(pic, 0, 9), ErrNotPhoto},
		"a thin strip":         {promising(pic, 1, maxSide+1), ErrTooLarge},
		"a JPEG bomb":          {promisingJPEG(jpg, 65535, 65535), ErrTooLarge},
		"a lesser JPEG bomb":   {promisingJPEG(jpg, 9_999, 9_999), ErrNotPhoto},
		"a JPEG with no size":  {promisingJPEG(jpg, 0, 0), ErrNotPhoto},
		"nothing":              {nil, ErrNotPhoto},
		"text":                 {[]byte("a photo"), ErrNotPhoto},
		"a GIF":                {[]byte("GIF89a\x01\x00\x01\x00\x00\x00\x00;"), ErrNotPhoto},
		"a cut JPEG":           {jpg[:len(jpg)/2], ErrNotPhoto},
		"a cut PNG":            {pic[:len(pic)/2], ErrNotPhoto},
		"many scans":           {slices.Concat(jpg[:len(jpg)-2], bytes.Repeat([]byte(scan), 101), jpg[len(jpg)-2:]), ErrTooManyParts},
		"scans of many pixels": {slices.Concat(large[:len(large)-2], bytes.Repeat([]byte(scan), 50), large[len(large)-2:], make([]byte, 200_000)), ErrTooManyParts},
		"many chunks":          {slices.Concat(pic[:33], bytes.Repeat([]byte("\x00\x00\x00\x00tEXt\xe2\x9a\x4b\x1a"), 20_001), pic[33:]), ErrTooManyParts},
		"a head alone":         {[]byte("\xff\xd8\xff"), ErrNotPhoto},
	} {
		if out, mime, err := ForBook(t.Context(), test.data, 100); !errors.Is(err, test.want) || out != nil || mime != "" {
			t.Errorf("%s: %d bytes, %q, %v", name, len(out), mime, err)
		}
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if _, _, err := ForBook(stopped, jpg, 100); !errors.Is(err, context.Canceled) {
		t.Errorf("drawn after a Ctrl-C: %v", err)
	}
	film := append(slices.Clone(jpg), bytes.Repeat([]byte("\xff\xda"), 200)...) // a phone puts one behind a photo
	if _, _, err := ForBook(t.Context(), film, 100); err != nil {
		t.Error(err)
	}
	for _, longest := range []int{0, -1} {
		if _, _, err := ForBook(t.Context(), jpg, longest); err == nil {
			t.Errorf("a longest side of %d", longest)
		}
	}
}
