package picture

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

	"dieglow/catalog/fault"
)

// TestMarked holds that marks are drawn where they are meant, on a frame of 2 x 2
// pixels enlarged 360 times, and nothing outside the frame.
func TestMarked(t *testing.T) {
	t.Parallel()
	red := color.RGBA{R: 255, A: 255}
	plain := drawn(t, ramp4(), Options{})
	img, err := Marked(ramp4(), Options{}, []Mark{
		{Path: []Point{{1, 0}}, Radius: 0.25, Label: "1"}, {Path: []Point{{-5, 1}, {9, 1}}, Colour: &red}, {Path: []Point{{0, 0}}, Radius: 50}, {Path: []Point{{1e300, 0}, {0, 1e300}}}, {},
	})
	if err != nil {
		t.Fatal(err)
	}
	got, a := img.(*image.RGBA), plain.area
	centre := got.RGBAAt(a.Min.X+360+180, a.Min.Y+180)
	ring := got.RGBAAt(a.Min.X+360+180+90, a.Min.Y+180)
	line := got.RGBAAt(a.Min.X+100, a.Min.Y+360+180)
	if centre != light() || ring.R < 240 || line != red {
		t.Errorf("centre %v, ring %v, line %v", centre, ring, line)
	}
	for y := range got.Bounds().Dy() {
		for x := range got.Bounds().Dx() {
			if !image.Pt(x, y).In(a) && got.RGBAAt(x, y) != plain.img.RGBAAt(x, y) {
				t.Fatalf("a mark at %d, %d outside the frame", x, y)
			}
		}
	}
}

// bomb is a PNG whose header claims so many pixels.
func bomb(width, height uint32) []byte {
	header := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32([]byte("IHDR"), width), height)
	header = append(header, 8, 2, 0, 0, 0)
	out := binary.BigEndian.AppendUint32([]byte("\x89PNG\r\n\x1a\n"), uint32(len(header)-4))
	out = append(out, header...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(header))
}

func TestReadPhoto(t *testing.T) {
	t.Parallel()
	img := image.NewRGBA(image.Rect(0, 0, 30, 20))
	var p, j bytes.Buffer
	if err := png.Encode(&p, img); err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(&j, img, nil); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for name, data := range map[string][]byte{"a.png": p.Bytes(), "b.jpg": j.Bytes(), "named-wrongly.jpg": p.Bytes()} {
		got, err := ReadPhoto(write(name, data))
		if err != nil || got.Bounds().Dx() != 30 || got.Bounds().Dy() != 20 {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, data := range map[string][]byte{"bomb.png": bomb(100_000, 100_000), "wide.png": bomb(1<<31-1, 1), "empty.png": nil, "text.png": []byte("1,2,3"), "cut.png": p.Bytes()[:p.Len()/2], "cut.jpg": j.Bytes()[:j.Len()/3]} {
		if _, err := ReadPhoto(write(name, data)); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ReadPhoto(dir); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a folder: %v", err)
	}
	if _, err := ReadPhoto(filepath.Join(dir, "none.png")); fault.KindOf(err) != fault.NotFound {
		t.Errorf("no file: %v", err)
	}
}

// TestOnPhoto: a photo of 30 x 20 is enlarged 30 times, and a mark lies where it is meant.
func TestOnPhoto(t *testing.T) {
	t.Parallel()
	img, err := OnPhoto(image.NewRGBA(image.Rect(0, 0, 30, 20)), []Mark{{Path: []Point{{10, 5}}}}, PhotoOptions{PixelUM: 2})
	if err != nil {
		t.Fatal(err)
	}
	if got := img.(*image.RGBA).RGBAAt(315, 165); img.Bounds().Dx() != 900 || got != light() {
		t.Errorf("%v wide, %v at the mark", img.Bounds(), got)
	}
	large, err := OnPhoto(image.NewGray(image.Rect(0, 0, 3200, 10)), nil, PhotoOptions{})
	if err != nil || large.Bounds().Dx() != 1600 || large.Bounds().Dy() != 5 {
		t.Errorf("%v, %v", large.Bounds(), err)
	}
}
