package picture

import (
	"image"
	"image/color"
	"image/draw"
)

// Beside puts pictures next to each other on white, tops aligned.
func Beside(pictures ...image.Image) image.Image {
	width, height := 0, 0
	for _, p := range pictures {
		width += p.Bounds().Dx()
		height = max(height, p.Bounds().Dy())
	}
	out := image.NewRGBA(image.Rect(0, 0, width, height))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	x := 0
	for _, p := range pictures {
		draw.Draw(out, image.Rect(x, 0, x+p.Bounds().Dx(), p.Bounds().Dy()), p, p.Bounds().Min, draw.Src)
		x += p.Bounds().Dx()
	}
	return out
}
