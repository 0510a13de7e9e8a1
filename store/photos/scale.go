package photos

import (
	"image"
	"image/color"
	"math"
)

// scaled draws a picture at a size no larger than its own, with a Catmull–Rom
// filter widened to cover all source pixels of a result pixel. It holds only as
// many rows of the picture as one row of the result needs.
func scaled(src image.RGBA64Image, width, height int) *image.RGBA {
	from := src.Bounds()
	dst := image.NewRGBA(image.Rect(0, 0, width, height))
	if from.Dx() == width && from.Dy() == height {
		for y := range height {
			drawLine(dst.Pix[y*dst.Stride:], src, y)
		}
		return dst
	}
	across, down := taps(from.Dx(), width), taps(from.Dy(), height)
	held := 0
	for _, t := range down {
		held = max(held, len(t.weights))
	}
	rows := make([][]float32, held) // row y of the picture, at y modulo held
	for i := range rows {
		rows[i] = make([]float32, 4*width)
	}
	line := make([]uint8, 4*from.Dx())
	sums := make([]float32, 4*width)
	next := 0 // the first row not yet drawn
	for y, t := range down {
		for ; next < t.first+len(t.weights); next++ {
			drawLine(line, src, next)
			narrow(rows[next%held], line, across)
		}
		clear(sums)
		for i, weight := range t.weights {
			for j, v := range rows[(t.first+i)%held] {
				sums[j] += weight * v
			}
		}
		settle(dst.Pix[dst.PixOffset(0, y):], sums)
	}
	return dst
}

// drawLine draws one line of a picture. Package image/draw can draw much more than that, and would make
// the program larger.
func drawLine(to []uint8, src image.RGBA64Image, line int) {
	from := src.Bounds()
	y := from.Min.Y + line
	photo, isPhoto := src.(*image.YCbCr) // as nearly all JPEGs are: it is read at a third of the cost
	for x := from.Min.X; x < from.Max.X; x++ {
		p := to[:4:4]
		to = to[4:]
		if isPhoto {
			c := photo.COffset(x, y)
			p[0], p[1], p[2] = color.YCbCrToRGB(photo.Y[photo.YOffset(x, y)], photo.Cb[c], photo.Cr[c])
			p[3] = 255
			continue
		}
		c := src.RGBA64At(x, y)
		p[0], p[1], p[2], p[3] = uint8(c.R>>8), uint8(c.G>>8), uint8(c.B>>8), uint8(c.A>>8)
	}
}

// A tap says which pixels of a line make up one pixel of the result, and with what
// weights. The weights sum to 1.
type tap struct {
	first   int
	weights []float32
}

func taps(from, to int) []tap {
	all := make([]tap, to)
	scale := float64(from) / float64(to) // at least 1
	for i := range all {
		centre := (float64(i)+0.5)*scale - 0.5
		first := max(0, int(math.Ceil(centre-2*scale)))
		last := min(from-1, int(math.Floor(centre+2*scale)))
		weights, sum := make([]float64, last-first+1), 0.0
		for j := range weights {
			weights[j] = catmullRom((float64(first+j) - centre) / scale)
			sum += weights[j]
		}
		all[i] = tap{first, make([]float32, len(weights))}
		for j, w := range weights {
			all[i].weights[j] = float32(w / sum)
		}
	}
	return all
}

func catmullRom(x float64) float64 {
	x = math.Abs(x)
	switch {
	case x < 1:
		return (1.5*x-2.5)*x*x + 1
	case x < 2:
		return ((-0.5*x+2.5)*x-4)*x + 2
	}
	return 0
}

// narrow makes one line shorter.
func narrow(to []float32, line []uint8, across []tap) {
	for x, t := range across {
		var r, g, b, a float32
		from := line[4*t.first:]
		for i, weight := range t.weights {
			p := from[4*i : 4*i+4 : 4*i+4]
			r += weight * float32(p[0])
			g += weight * float32(p[1])
			b += weight * float32(p[2])
			a += weight * float32(p[3])
		}
		copy(to[4*x:4*x+4], []float32{r, g, b, a})
	}
}

// settle rounds a line to bytes. It keeps colours no brighter than their alpha,
// because the filter may overshoot.
func settle(to []uint8, sums []float32) {
	for i := 0; i < len(sums); i += 4 {
		a := min(max(sums[i+3]+0.5, 0), 255)
		to[i+3] = uint8(a)
		for j := range 3 {
			to[i+j] = uint8(min(max(sums[i+j]+0.5, 0), a))
		}
	}
}
