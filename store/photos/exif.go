package photos

import (
	"bytes"
	"encoding/binary"
	"iter"
)

// The EXIF tags that are read.
const (
	tagOrientation = 0x0112
	tagGPS         = 0x8825
	tagLatitude    = 0x0002 // these are in the GPS directory
	tagLongitude   = 0x0004
	tagToLatitude  = 0x0014
	tagToLongitude = 0x0016
)

// Position reports whether a photo says where it was taken, in its EXIF or its
// XMP. For bytes that are neither a JPEG nor a PNG it reports false. Use it for a
// hint only: a camera maker may hide a position in notes of its own. [ForBook]
// removes those too.
func Position(data []byte) bool {
	for kind, block := range notes(data) {
		switch kind {
		case "exif":
			if hasPosition(block) {
				return true
			}
		case "xmp":
			if bytes.Contains(block, []byte("GPSLatitude")) || bytes.Contains(block, []byte("GPSLongitude")) {
				return true
			}
		}
	}
	return false
}

func hasPosition(block []byte) bool {
	t, ok := openTIFF(block)
	if !ok {
		return false
	}
	for e := range t.entries(t.first) {
		at, ok := t.number(e)
		if e.tag != tagGPS || !ok {
			continue
		}
		for inner := range t.entries(at) {
			switch inner.tag {
			case tagLatitude, tagLongitude, tagToLatitude, tagToLongitude:
				if inner.count > 0 {
					return true
				}
			}
		}
	}
	return false
}

// orientation returns a picture's EXIF orientation, from 1 to 8. It is 1, the right
// way up, if the photo has none or it makes no sense.
func orientation(data []byte) int {
	for kind, block := range notes(data) {
		if kind != "exif" {
			continue
		}
		t, ok := openTIFF(block)
		if !ok {
			continue
		}
		for e := range t.entries(t.first) {
			if n, ok := t.number(e); e.tag == tagOrientation && ok && n >= 1 && n <= 8 {
				return int(n)
			}
		}
	}
	return 1
}

// A tiff is a block of EXIF: directories of entries, each at an offset.
type tiff struct {
	data  []byte
	order binary.ByteOrder
	first uint32 // where the first directory is
}

// An entry is one entry of a directory. Its value, or the offset of the value, is
// still undecoded.
type entry struct {
	tag, kind uint16
	count     uint32
	value     []byte // of four bytes
}

func openTIFF(data []byte) (tiff, bool) {
	t := tiff{data: data}
	switch {
	case len(data) < 8:
		return tiff{}, false
	case bytes.HasPrefix(data, []byte("II*\x00")):
		t.order = binary.LittleEndian
	case bytes.HasPrefix(data, []byte("MM\x00*")):
		t.order = binary.BigEndian
	default:
		return tiff{}, false
	}
	t.first = t.order.Uint32(data[4:])
	return t, true
}

// entries returns those of the directory at an offset, as far as the bytes go.
func (t tiff) entries(at uint32) iter.Seq[entry] {
	return func(yield func(entry) bool) {
		if int64(at)+2 > int64(len(t.data)) {
			return
		}
		count := t.order.Uint16(t.data[at:])
		rest := t.data[int(at)+2:]
		for ; count > 0 && len(rest) >= 12; count-- {
			e := entry{tag: t.order.Uint16(rest), kind: t.order.Uint16(rest[2:]), count: t.order.Uint32(rest[4:]), value: rest[8:12]}
			if !yield(e) {
				return
			}
			rest = rest[12:]
		}
	}
}

// number returns the value of an entry that is one whole number.
func (t tiff) number(e entry) (uint32, bool) {
	if e.count != 1 {
		return 0, false
	}
	switch e.kind {
	case 1: // BYTE
		return uint32(e.value[0]), true
	case 3: // SHORT
		return uint32(t.order.Uint16(e.value)), true
	case 4, 13: // LONG, IFD
		return t.order.Uint32(e.value), true
	}
	return 0, false
}
