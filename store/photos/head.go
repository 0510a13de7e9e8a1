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

// maxSide is the longest side that a JPEG can have. A PNG could be one pixel
// wide and a hundred million long, which no book can show.
const maxSide = 65535

// A head is what is known about a picture before it is drawn.
type head struct {
	mime          string
	width, height int
}

// look reads a picture's head. It returns ErrNotPhoto, or ErrTooLarge for a picture
// of more than limit pixels or with a side above maxSide. It also refuses a picture
// whose head promises more pixels than its bytes can hold: drawing it would only
// waste memory.
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
	if pixels > limit || max(h.width, h.height) > maxSide {
		return head{}, fmt.Errorf("%w: %d × %d pixels", ErrTooLarge, h.width, h.height)
	}
	if pixels > mostPixels(h.mime, config.ColorModel, int64(len(data))) {
		return head{}, fmt.Errorf("%w: it is cut off", ErrNotPhoto)
	}
	return h, nil
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
