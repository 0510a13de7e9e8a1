package photos

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
)

const (
	bookQuality = 85        // of a JPEG
	bookPNG     = 512 << 10 // the longest PNG; a longer one becomes a JPEG
)

// ForBook redraws a photo for a book: upright, with its longer side at most
// longest pixels and never larger than it was, and with nothing but the picture.
// A JPEG stays one. A PNG stays one unless it would be long; then it becomes a
// JPEG, on white where it was transparent.
//
// It returns [ErrNotPhoto] for bytes that cannot be drawn, [ErrTooLarge] (before it
// draws anything) for a picture that takes more than [MaxDrawn] to draw or has more than
// 65535 pixels a side, [ErrTooManyParts], the error of ctx if it ends meanwhile, and a
// plain error if longest is below 1.
func ForBook(ctx context.Context, data []byte, longest int) (out []byte, mime string, err error) {
	return forBook(ctx, data, longest, MaxDrawn)
}

func forBook(ctx context.Context, data []byte, longest int, limit int64) (out []byte, mime string, err error) {
	defer recovered(&err)
	if longest < 1 {
		return nil, "", fmt.Errorf("the longest side of a picture cannot be %d pixels", longest)
	}
	src, kind, err := decode(ctx, data, limit)
	if err != nil {
		return nil, "", err
	}
	of, is := src.(image.RGBA64Image)
	if !is {
		return nil, "", fmt.Errorf("%w: its pixels cannot be read", ErrNotPhoto)
	}
	width, height := fit(src.Bounds().Dx(), src.Bounds().Dy(), longest)
	picture := upright(scaled(of, width, height), orientation(data))

	var to bytes.Buffer
	if kind == mimePNG {
		if err := png.Encode(&to, picture); err != nil {
			return nil, "", fmt.Errorf("%w: %v", ErrNotPhoto, err)
		}
		if to.Len() <= bookPNG {
			return to.Bytes(), mimePNG, nil
		}
		to.Reset()
		picture = onWhite(picture)
	}
	if err := jpeg.Encode(&to, picture, &jpeg.Options{Quality: bookQuality}); err != nil {
		return nil, "", fmt.Errorf("%w: %v", ErrNotPhoto, err)
	}
	return to.Bytes(), mimeJPEG, nil
}

// decode decodes a picture, unless its head says that this takes more than limit bytes.
// It stops when ctx ends.
func decode(ctx context.Context, data []byte, limit int64) (picture image.Image, mime string, err error) {
	defer recovered(&err)
	h, err := look(data, limit)
	if err != nil {
		return nil, "", err
	}
	of := png.Decode
	if h.mime == mimeJPEG {
		of = jpeg.Decode
	}
	if picture, err = of(&patient{ctx, bytes.NewReader(data)}); ctx.Err() != nil {
		return nil, "", ctx.Err()
	} else if err != nil {
		return nil, "", fmt.Errorf("%w: %v", ErrNotPhoto, err)
	}
	return picture, h.mime, nil
}

// fit returns the size of a picture whose longer side is at most longest.
func fit(width, height, longest int) (int, int) {
	long := max(width, height)
	if long <= longest {
		return width, height
	}
	part := func(side int) int {
		return max(1, int((int64(side)*int64(longest)+int64(long)/2)/int64(long)))
	}
	return part(width), part(height)
}

// upright turns a picture that is stored in one of the eight EXIF orientations the
// right way up.
func upright(src *image.RGBA, orientation int) *image.RGBA {
	if orientation <= 1 || orientation > 8 {
		return src
	}
	w, h := src.Rect.Dx(), src.Rect.Dy()
	right, bottom := w-1, h-1
	size := image.Rect(0, 0, w, h)
	if orientation >= 5 { // its rows are shown as columns
		size = image.Rect(0, 0, h, w)
	}
	dst := image.NewRGBA(size)
	for y := range size.Dy() {
		for x := range size.Dx() {
			var fromX, fromY int
			switch orientation {
			case 2:
				fromX, fromY = right-x, y
			case 3:
				fromX, fromY = right-x, bottom-y
			case 4:
				fromX, fromY = x, bottom-y
			case 5:
				fromX, fromY = y, x
			case 6:
				fromX, fromY = y, bottom-x
			case 7:
				fromX, fromY = right-y, bottom-x
			case 8:
				fromX, fromY = right-y, x
			}
			copy(dst.Pix[dst.PixOffset(x, y):][:4], src.Pix[src.PixOffset(fromX, fromY):][:4])
		}
	}
	return dst
}

// onWhite is the picture on white. Its colours are no brighter than their alpha.
func onWhite(src *image.RGBA) *image.RGBA {
	dst := image.NewRGBA(src.Rect)
	for i := 0; i < len(src.Pix); i += 4 {
		p := src.Pix[i : i+4 : i+4]
		behind := 255 - p[3]
		copy(dst.Pix[i:], []uint8{p[0] + behind, p[1] + behind, p[2] + behind, 255})
	}
	return dst
}
