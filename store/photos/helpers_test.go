package photos

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"
)

var (
	red   = color.RGBA{R: 255, A: 255}
	green = color.RGBA{G: 255, A: 255}
	blue  = color.RGBA{B: 255, A: 255}
	white = color.RGBA{255, 255, 255, 255}
)

// corners returns a white picture of 48 × 32 with red at the start of its first row,
// green at the end of that row and blue at the start of its last.
func corners() *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, 48, 32))
	for y := range 32 {
		for x := range 48 {
			c := white
			switch {
			case x < 16 && y < 16:
				c = red
			case x >= 32 && y < 16:
				c = green
			case x < 16:
				c = blue
			}
			m.SetRGBA(x, y, c)
		}
	}
	return m
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

type appender interface {
	binary.ByteOrder
	binary.AppendByteOrder
}

// exif builds a block with an orientation, unless that is 0, and a GPS directory with
// the given tags, unless that is nil.
func exif(order appender, orientation uint16, gps []uint16) []byte {
	b := []byte("II*\x00")
	if order == appender(binary.BigEndian) {
		b = []byte("MM\x00*")
	}
	b = order.AppendUint32(b, 8)
	var count uint16
	if orientation != 0 {
		count++
	}
	if gps != nil {
		count++
	}
	b = order.AppendUint16(b, count)
	if orientation != 0 {
		b = order.AppendUint16(b, tagOrientation)
		b = order.AppendUint16(b, 3)
		b = order.AppendUint32(b, 1)
		b = order.AppendUint16(b, orientation)
		b = append(b, 0, 0)
	}
	if gps != nil {
		b = order.AppendUint16(b, tagGPS)
		b = order.AppendUint16(b, 4)
		b = order.AppendUint32(b, 1)
		b = order.AppendUint32(b, uint32(len(b)+8)) // after this value and the next directory's offset
	}
	b = order.AppendUint32(b, 0)
	if gps != nil {
		b = order.AppendUint16(b, uint16(len(gps)))
		for _, tag := range gps {
			b = order.AppendUint16(b, tag)
			b = order.AppendUint16(b, 5)
			b = order.AppendUint32(b, 3)
			b = order.AppendUint32(b, 0)
		}
		b = append(b, "\x00\x00\x00\x00SERIAL-4711"...)
	}
	return b
}

// withApp1 puts a segment after the first marker of a JPEG.
func withApp1(data []byte, segment string) []byte {
	b := []byte{0xff, 0xd8, 0xff, 0xe1}
	b = binary.BigEndian.AppendUint16(b, uint16(len(segment)+2))
	b = append(b, segment...)
	return append(b, data[2:]...)
}

func withExif(data, block []byte) []byte { return withApp1(data, exifMagic+string(block)) }

// withChunk puts a chunk after the head of a PNG.
func withChunk(data []byte, name, chunk string) []byte {
	const head = 8 + 25
	b := bytes.Clone(data[:head])
	b = binary.BigEndian.AppendUint32(b, uint32(len(chunk)))
	b = append(b, name+chunk...)
	b = binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE([]byte(name+chunk)))
	return append(b, data[head:]...)
}

// promising changes the size in a PNG's head.
func promising(data []byte, width, height uint32) []byte {
	b := bytes.Clone(data)
	binary.BigEndian.PutUint32(b[16:], width)
	binary.BigEndian.PutUint32(b[20:], height)
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}

// promisingJPEG changes the size in a JPEG's head.
func promisingJPEG(data []byte, width, height uint16) []byte {
	b := bytes.Clone(data)
	at := bytes.Index(b, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(b[at+5:], height)
	binary.BigEndian.PutUint16(b[at+7:], width)
	return b
}

func write(t testing.TB, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// files returns what is in a folder and below, except folders.
func files(t testing.TB, folder string) []string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(folder, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			path, err = filepath.Rel(folder, path)
			all = append(all, path)
		}
		if os.IsNotExist(err) {
			return nil
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// near reports whether two colours are equal except for what a JPEG loses.
func near(a, b color.Color) bool {
	ar, ag, ab, aa := a.RGBA()
	br, bg, bb, ba := b.RGBA()
	for _, pair := range [][2]uint32{{ar, br}, {ag, bg}, {ab, bb}, {aa, ba}} {
		if d := int(pair[0]>>8) - int(pair[1]>>8); d > 40 || d < -40 {
			return false
		}
	}
	return true
}
