package picture

import (
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"io/fs"
	"os"

	"golang.org/x/image/draw"
	"golang.org/x/image/font/gofont/goregular"

	"dieglow/catalog/fault"
)

// Limits of a photo, so that a small file cannot claim all memory.
const (
	MostPhotoBytes  = 256 << 20
	MostPhotoPixels = 50_000_000
)

// ReadPhoto reads a PNG or JPEG picture taken in visible light. Fault NotFound
// when there is no such file, Invalid when it is no such picture, is cut short, or
// goes beyond the limits, which its header is held against before any pixel is read.
func ReadPhoto(path string) (image.Image, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault.NotFoundf("no file %s", path).WithHint("check the path, or list its folder with ls")
	}
	if err != nil {
		return nil, fault.Otherf("photo not opened").Because(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fault.Otherf("photo not opened").Because(err)
	}
	if !info.Mode().IsRegular() || info.Size() > MostPhotoBytes {
		return nil, fault.Invalidf("%s is not a file of at most %d MiB", path, MostPhotoBytes>>20).WithHint("export the picture as PNG or JPEG, scaled down")
	}
	return decodePhoto(path, f)
}

func decodePhoto(path string, f io.ReadSeeker) (image.Image, error) {
	header, decode := png.DecodeConfig, png.Decode
	var mark [2]byte
	if _, err := io.ReadFull(f, mark[:]); err == nil && mark == [2]byte{0xff, 0xd8} {
		header, decode = jpeg.DecodeConfig, jpeg.Decode
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, fault.Otherf("photo not read").Because(err)
	}
	c, err := header(f)
	if err != nil {
		return nil, fault.Invalidf("%s is not a PNG or JPEG picture", path).WithHint("export the micrograph as PNG or JPEG")
	}
	if c.Width < 1 || c.Height < 1 || c.Width > MostPhotoPixels/c.Height {
		return nil, fault.Invalidf("%s says it has %d x %d pixels, more than the %d allowed", path, c.Width, c.Height, MostPhotoPixels).WithHint("scale the picture down")
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, fault.Otherf("photo not read").Because(err)
	}
	img, err := decode(f)
	if err != nil {
		return nil, fault.Invalidf("%s is damaged", path).Because(err).WithHint("export the micrograph again as PNG or JPEG")
	}
	return img, nil
}

// PhotoOptions say how marks are drawn over a photo.
type PhotoOptions struct {
	PixelUM float64 // what one pixel of the photo sees of the object, in µm; 0: not known, then there is no scale bar
}

// The longer side of a photo with marks, in pixels.
const (
	photoLeast = 900
	photoMost  = 1600
)

// OnPhoto draws the photo, scaled to a handy size, with marks over it, whose
// places and radii are in pixels of the photo as it is.
func OnPhoto(photo image.Image, marks []Mark, o PhotoOptions) (image.Image, error) {
	b := photo.Bounds()
	long := float64(max(b.Dx(), b.Dy()))
	scale := min(max(1, photoLeast/long), photoMost/long)
	width, height := max(1, int(float64(b.Dx())*scale+0.5)), max(1, int(float64(b.Dy())*scale+0.5))
	foot := 0
	if o.PixelUM > 0 {
		foot = lineHeight + 16
	}
	out := image.NewRGBA(image.Rect(0, 0, width, height+foot))
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	area := image.Rect(0, 0, width, height)
	draw.BiLinear.Scale(out, area, photo, b, draw.Over, nil)
	text, err := face(goregular.TTF, textSize)
	if err != nil {
		return nil, err
	}
	p := pen{img: out, clip: area, face: text, scale: scale, place: func(at Point) Point {
		return Point{(at.X + 0.5) * scale, (at.Y + 0.5) * scale}
	}}
	p.all(marks)
	if o.PixelUM > 0 {
		perPixel := o.PixelUM / scale
		um := barLength(float64(width) * perPixel / 3)
		bar := sheet{img: out}
		bar.fill(image.Rect(10, height+14, 10+max(1, int(um/perPixel+0.5)), height+18), ink())
		bar.text(text, ink(), image.Pt(20+int(um/perPixel+0.5), height+14+textSize/2), fmt.Sprintf("%s on the object", lengthLabel(um)))
	}
	return out, nil
}
