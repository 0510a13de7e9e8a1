package photos

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
)

const (
	mimeJPEG = "image/jpeg"
	mimePNG  = "image/png"
)

// pngInterlace is where the head of a PNG says whether it is interlaced.
const pngInterlace = 28

// maxSide is the longest side that a JPEG can have. A PNG could be one pixel
// wide and a hundred million long, which no book can show.
const maxSide = 65535

// The most parts of a picture. A photo has some ten scans, and a PNG of MaxBytes some
// 5,000 chunks; each scan goes over every pixel, and may be of a few bytes.
const (
	maxScans   = 100
	maxScanned = 2_000_000_000 // pixels of all scans
	maxChunks  = 20_000
)

// A head is what is known about a picture before it is drawn.
type head struct {
	mime          string
	width, height int
}

// look reads a picture's head. It returns ErrNotPhoto, or ErrTooLarge for a picture
// that takes more than limit bytes of memory to draw, those of its file included, or with
// a side above maxSide, and ErrTooManyParts. It also refuses a picture whose head promises more pixels than
// its bytes can hold: drawing it would only waste memory.
func look(data []byte, limit int64) (h head, err error) {
	defer recovered(&err)
	var config image.Config
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		h.mime = mimeJPEG
		config, err = jpeg.DecodeConfig(bytes.NewReader(data))
	case bytes.HasPrefix(data, []byte(pngMagic)):
		h.mime = mimePNG
		config, err = png.DecodeConfig(bytes.NewReader(data))
	default:
		return head{}, ErrNotPhoto
	}
	if err != nil {
		return head{}, fmt.Errorf("%w: %v", ErrNotPhoto, err)
	}
	h.width, h.height = config.Width, config.Height
	if h.width <= 0 || h.height <= 0 {
		return head{}, fmt.Errorf("%w: it has no size", ErrNotPhoto)
	}
	pixels := int64(h.width) * int64(h.height) // each fits in 31 bits
	drawn := float64(pixels)*perPixel(h.mime, config.ColorModel, data) + float64(len(data))
	if max(h.width, h.height) > maxSide || drawn > float64(limit) {
		return head{}, fmt.Errorf("%w: %d × %d pixels take %.0f MB", ErrTooLarge, h.width, h.height, drawn/1e6)
	}
	if pixels > mostPixels(h.mime, config.ColorModel, int64(len(data))) {
		return head{}, fmt.Errorf("%w: it is cut off", ErrNotPhoto)
	}
	if h.mime == mimePNG && chunks(data) > maxChunks {
		return head{}, fmt.Errorf("%w: over %d chunks", ErrTooManyParts, maxChunks)
	}
	if h.mime == mimeJPEG {
		if n := int64(scans(data)); n > maxScans || n > 1 && n*pixels > maxScanned {
			return head{}, fmt.Errorf("%w: %d scans of %d × %d pixels", ErrTooManyParts, n, h.width, h.height)
		}
	}
	return h, nil
}

// perPixel is the most bytes of memory that a pixel takes while a picture is decoded, by
// what the decoders of the standard library allocate for it.
func perPixel(mime string, model color.Model, data []byte) float64 {
	if mime == mimeJPEG {
		return jpegPixel(data)
	}
	each := 4.0 // also of grey, which may be transparent
	switch _, palette := model.(color.Palette); {
	case palette:
		each = 1
	case model == color.RGBA64Model, model == color.NRGBA64Model, model == color.Gray16Model:
		each = 8
	}
	if data[pngInterlace] != 0 { // each of its passes is a picture too
		each *= 2
	}
	return each
}

// jpegPixel is perPixel of a JPEG.
func jpegPixel(data []byte) float64 {
	total := 0.0
	for marker, body := range segments(data[2:]) {
		if marker < 0xc0 || marker > 0xc2 || len(body) < 9 {
			continue
		}
		count, first := int(body[5]), body[7]
		for i := range min(count, (len(body)-6)/3) {
			share := float64(body[7+3*i]>>4) * float64(body[7+3*i]&15) / max(1, float64(first>>4)*float64(first&15))
			if count == 1 {
				share = 1
			}
			total += share // of a sample
		}
		if marker == 0xc2 { // progressive: each sample has a coefficient of four bytes until the end
			total *= 5
		}
		if count == 4 || count == 3 && body[6] == 'R' {
			return total + 4 // it is drawn a second time, in other colours
		}
		break
	}
	if total == 0 {
		return 24 // all of this at once: nothing is known of it
	}
	if adobeRGB(data) {
		total += 4
	}
	return total
}

// adobeRGB reports whether a JPEG says anywhere, as Adobe's programs do, that its colours
// are not those of other JPEGs. Where in the file it says so does not matter to decoders.
func adobeRGB(data []byte) bool {
	const name, transform = 4, 15 // from the marker on
	for {
		at := bytes.Index(data, []byte("\xff\xee"))
		if at < 0 || len(data) <= at+transform {
			return false
		}
		if data = data[at:]; bytes.HasPrefix(data[name:], []byte("Adobe")) && data[transform] == 0 {
			return true
		}
		data = data[2:]
	}
}

// mostPixels is the most pixels that so many bytes can hold. Deflate packs at most
// 1032 bytes into one; a JPEG has at least one bit for 64 pixels.
func mostPixels(mime string, model color.Model, size int64) int64 {
	if mime == mimeJPEG {
		return 512*size + 1<<16
	}
	bits := int64(1) // a palette, or greys of unknown depth
	switch model {
	case color.RGBAModel, color.NRGBAModel:
		bits = 24
	case color.RGBA64Model, color.NRGBA64Model:
		bits = 48
	}
	return 1040*8*size/bits + 1<<16
}

// recovered turns a panic of a decoder into an error. No such panic is known.
func recovered(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%w: %v", ErrNotPhoto, p)
	}
}
