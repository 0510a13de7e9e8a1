package photos

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/color/palette"
	"image/draw"
	"math/rand/v2"
	"testing"
)

// A line of a picture of any kind is what package image/draw makes of it, to the bit, and so is a picture on white.
func TestLinesAreDrawnAsByImageDraw(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	noise := func(pix []uint8) {
		for i := range pix {
			pix[i] = uint8(random.UintN(256))
		}
	}
	r := image.Rect(3, 5, 40, 24)
	rgba, nrgba, grey, grey16 := image.NewRGBA(r), image.NewNRGBA(r), image.NewGray(r), image.NewGray16(r)
	rgba64, nrgba64, cmyk, paletted := image.NewRGBA64(r), image.NewNRGBA64(r), image.NewCMYK(r), image.NewPaletted(r, palette.WebSafe)
	for _, pix := range [][]uint8{nrgba.Pix, grey.Pix, grey16.Pix, nrgba64.Pix, cmyk.Pix, paletted.Pix} {
		noise(pix)
	}
	for i := range paletted.Pix {
		paletted.Pix[i] %= uint8(len(paletted.Palette))
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			c := color.NRGBA64{uint16(random.UintN(1 << 16)), uint16(random.UintN(1 << 16)), uint16(random.UintN(1 << 16)), uint16(random.UintN(1 << 16))}
			rgba.Set(x, y, c)
			rgba64.Set(x, y, c)
		}
	}
	all := []image.RGBA64Image{rgba, nrgba, grey, grey16, rgba64, nrgba64, cmyk, paletted}
	for _, ratio := range []image.YCbCrSubsampleRatio{image.YCbCrSubsampleRatio444, image.YCbCrSubsampleRatio422, image.YCbCrSubsampleRatio420, image.YCbCrSubsampleRatio440, image.YCbCrSubsampleRatio411} {
		photo := image.NewYCbCr(r, ratio)
		noise(photo.Y)
		noise(photo.Cb)
		noise(photo.Cr)
		all = append(all, photo)
	}
	for _, src := range all {
		want, got := image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy())), image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
		draw.Draw(want, want.Rect, src, r.Min, draw.Src)
		for y := range r.Dy() {
			drawLine(got.Pix[y*got.Stride:], src, y)
		}
		if !bytes.Equal(got.Pix, want.Pix) {
			t.Errorf("%T is drawn otherwise", src)
		}
		white := image.NewRGBA(want.Rect)
		draw.Draw(white, white.Rect, image.NewUniform(color.White), image.Point{}, draw.Src)
		draw.Draw(white, white.Rect, want, image.Point{}, draw.Over)
		if !bytes.Equal(onWhite(want).Pix, white.Pix) {
			t.Errorf("%T stands on white otherwise", src)
		}
	}
}

func BenchmarkDrawLine(b *testing.B) {
	r := image.Rect(0, 0, 4000, 1)
	for _, src := range []image.RGBA64Image{image.NewYCbCr(r, image.YCbCrSubsampleRatio420), image.NewNRGBA(r)} {
		dst := image.NewRGBA(r)
		b.Run(fmt.Sprintf("%T", src), func(b *testing.B) {
			for range b.N {
				drawLine(dst.Pix, src, 0)
			}
		})
		b.Run(fmt.Sprintf("%T by image/draw", src), func(b *testing.B) {
			for range b.N {
				draw.Draw(dst, r, src, image.Point{}, draw.Src)
			}
		})
	}
}
