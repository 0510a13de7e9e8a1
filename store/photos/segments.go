package photos

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"io"
	"iter"
)

const (
	pngMagic   = "\x89PNG\r\n\x1a\n"
	exifMagic  = "Exif\x00\x00"
	xmpMagic   = "http://ns.adobe.com/xap/1.0/\x00"
	xmpMore    = "http://ns.adobe.com/xmp/extension/\x00"
	xmpKeyword = "XML:com.adobe.xmp\x00"
	xmpLimit   = 4 << 20 // of a compressed one, once unpacked
)

// notes returns the metadata of a photo: EXIF blocks, each from its byte order on,
// and XMP texts. It skips what cannot be read.
func notes(data []byte) iter.Seq2[string, []byte] {
	return func(yield func(string, []byte) bool) {
		switch {
		case bytes.HasPrefix(data, []byte("\xff\xd8")):
			jpegNotes(data[2:], yield)
		case bytes.HasPrefix(data, []byte(pngMagic)):
			pngNotes(data[len(pngMagic):], yield)
		}
	}
}

// segments walks the segments of a JPEG, without their markers, up to the first scan.
func segments(data []byte) iter.Seq2[byte, []byte] {
	return func(yield func(byte, []byte) bool) { eachSegment(data, yield) }
}

func eachSegment(data []byte, yield func(byte, []byte) bool) {
	for len(data) >= 4 {
		if data[0] != 0xff {
			data = data[1:] // decoders skip what is between segments, too
			continue
		}
		marker := data[1]
		switch {
		case marker == 0xff: // a fill byte
			data = data[1:]
			continue
		case marker == 0x00, marker == 0x01, marker >= 0xd0 && marker <= 0xd8: // these have no length
			data = data[2:]
			continue
		case marker == 0xd9, marker == 0xda:
			return
		}
		size := int(binary.BigEndian.Uint16(data[2:]))
		if size < 2 || size > len(data)-2 {
			return
		}
		if !yield(marker, data[4:2+size]) {
			return
		}
		data = data[2+size:]
	}
}

// scans counts the scans of a JPEG, up to its end. What follows the end, such as a film,
// no decoder reads.
func scans(data []byte) (n int) {
	for {
		at := bytes.IndexByte(data, 0xff)
		if at < 0 || len(data) < at+4 {
			return n
		}
		data = data[at+1:]
		switch marker := data[0]; {
		case marker == 0xff: // a fill byte
			continue
		case marker <= 0x01, marker >= 0xd0 && marker <= 0xd8: // in a scan, and without a length
			data = data[1:]
			continue
		case marker == 0xd9:
			return n
		case marker == 0xda:
			n++
		}
		data = data[min(len(data), 1+int(binary.BigEndian.Uint16(data[1:]))):]
	}
}

// chunks counts the chunks of a PNG.
func chunks(data []byte) (n int) {
	for data = data[len(pngMagic):]; len(data) >= 12; n++ {
		data = data[min(int64(len(data)), 12+int64(binary.BigEndian.Uint32(data))):]
	}
	return n
}

func jpegNotes(data []byte, yield func(string, []byte) bool) {
	for marker, segment := range segments(data) {
		if marker != 0xe1 {
			continue
		}
		if block, ok := bytes.CutPrefix(segment, []byte(exifMagic)); ok {
			if !yield("exif", block) {
				return
			}
		} else if bytes.HasPrefix(segment, []byte(xmpMagic)) || bytes.HasPrefix(segment, []byte(xmpMore)) {
			if !yield("xmp", segment) {
				return
			}
		}
	}
}

// pngNotes walks the chunks, including those after the picture.
func pngNotes(data []byte, yield func(string, []byte) bool) {
	for len(data) >= 12 {
		size := binary.BigEndian.Uint32(data)
		if int64(size) > int64(len(data))-12 {
			return
		}
		name, chunk := string(data[4:8]), data[8:8+int(size)]
		data = data[12+int(size):]
		switch name {
		case "IEND":
			return
		case "eXIf":
			if !yield("exif", bytes.TrimPrefix(chunk, []byte(exifMagic))) {
				return
			}
		case "iTXt":
			if text, ok := bytes.CutPrefix(chunk, []byte(xmpKeyword)); ok && !yield("xmp", unpacked(text)) {
				return
			}
		}
	}
}

// unpacked returns the text of an iTXt chunk without its keyword, or as much of the
// text as can be read.
func unpacked(chunk []byte) []byte {
	if len(chunk) < 2 || chunk[0] == 0 { // not packed
		return chunk
	}
	parts := bytes.SplitN(chunk[2:], []byte{0}, 3) // the language, the keyword in it, the text
	if len(parts) < 3 {
		return nil
	}
	from, err := zlib.NewReader(bytes.NewReader(parts[2]))
	if err != nil {
		return nil
	}
	text, _ := io.ReadAll(io.LimitReader(from, xmpLimit)) // keep what came before an error
	return text
}
