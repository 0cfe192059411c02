package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

func camera() optics.Camera {
	return optics.Camera{FocalMM: 4, FNumber: 1, PitchXUM: 12, PitchYUM: 12, Width: 256, Height: 192, FocusMM: math.Inf(1)}
}

// closeUp is three plano-convex lenses of germanium before a small camera.
func closeUp() optics.Attachment {
	e := optics.Element{N: 4.0033, Radius2MM: -75, ThicknessMM: 2, DiameterMM: 12.7, SemiAperture1MM: 5.8, SemiAperture2MM: 5.8}
	return optics.Attachment{
		Stack:  optics.Stack{{Element: e, GapAfterMM: 0.5}, {Element: e, GapAfterMM: 0.5}, {Element: e}},
		Camera: camera(), StandoffMM: 3, WavelengthUM: 10,
	}
}

// stacks are those that are hard to draw.
func stacks() map[string]optics.Attachment {
	of := func(standoff float64, s ...optics.Mounted) optics.Attachment {
		return optics.Attachment{Stack: s, Camera: camera(), StandoffMM: standoff, WavelengthUM: 10}
	}
	afocal := of(5, optics.Mounted{Element: optics.Thin(40), GapAfterMM: 50}, optics.Mounted{Element: optics.Thin(10)})
	afocal.Camera.FocusMM = 500
	many := of(2)
	for range 20 {
		many.Stack = append(many.Stack, optics.Mounted{Element: optics.Element{N: 2.4, Radius1MM: 2000, ThicknessMM: 1, DiameterMM: 20}, GapAfterMM: 0.1})
	}
	return map[string]optics.Attachment{
		"close": closeUp(), "many": many, "afocal": afocal,
		"thin":        of(5, optics.Mounted{Element: optics.Thin(25)}),
		"diverging":   of(5, optics.Mounted{Element: optics.Thin(15), GapAfterMM: 4}, optics.Mounted{Element: optics.Thin(-200)}),
		"no sizes":    of(5, optics.Mounted{Element: optics.Element{N: 4, Radius1MM: 60, ThicknessMM: 2}}),
		"mirror":      of(50, optics.Mounted{Element: optics.Mirror(-100, 0.9)}),
		"fold":        of(20, optics.Mounted{Element: optics.Element{N: 2.4, Radius1MM: 30, ThicknessMM: 3, DiameterMM: 20}, GapAfterMM: 20}, optics.Mounted{Element: optics.Mirror(0, 0.9)}),
		"nearly flat": of(3, optics.Mounted{Element: optics.Element{N: 4, Radius1MM: 1e6, Radius2MM: -60, ThicknessMM: 2, DiameterMM: 20}}),
		"far":         of(10, optics.Mounted{Element: optics.Thin(90000)}),
	}
}

// everything makes one of each drawing of an attachment.
func everything(t *testing.T, title string, a optics.Attachment) map[string]Drawing {
	t.Helper()
	list := map[string]Drawing{}
	add := func(name string, d Drawing, err error) {
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		list[name] = d
	}
	p := optics.Prediction{Attachment: a}
	s, err := p.Sharpness()
	if err != nil {
		t.Fatal(err)
	}
	spots, err := p.SpotDiagrams()
	if err != nil {
		t.Fatal(err)
	}
	fans, err := p.RayFans()
	if err != nil {
		t.Fatal(err)
	}
	d, err := Stack(StackView{Title: title, Attachment: a, Names: []string{title}, Notes: []string{title}})
	add("stack", d, err)
	d, err = Mount(MountView{Title: title, Attachment: a, Names: []string{title}})
	add("mount", d, err)
	d, err = MTF(title, s)
	add("mtf", d, err)
	d, err = Spots(title, spots, optics.RayleighUM(a.WavelengthUM, s.NAObject), s.ObjectPixelUM)
	add("spots", d, err)
	d, err = RayFans(title, fans)
	add("fans", d, err)
	d, err = Front(FrontPlot{Title: title, XLabel: title, YLabel: "cost, EUR", Points: []FrontPoint{
		{1, 2, title, true, true}, {2, 1, "", true, false}, {2, 2, "c", false, true}, {3, 3, "d", false, false},
	}})
	add("front", d, err)
	return list
}

// texts parses an SVG whole and returns what it says.
func texts(t *testing.T, svg []byte) string {
	t.Helper()
	var b strings.Builder
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return b.String()
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		if c, ok := token.(xml.CharData); ok {
			b.Write(c)
			b.WriteByte('\n')
		}
	}
}

// TestEveryStackIsDrawn makes each drawing of each stack as SVG: it must be XML
// without numbers that are none, and say what it shows is predicted.
func TestEveryStackIsDrawn(t *testing.T) {
	t.Parallel()
	for name, a := range stacks() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for kind, d := range everything(t, name, a) {
				svg, err := d.SVG()
				if err != nil {
					t.Fatal(err)
				}
				if s := texts(t, svg); !strings.Contains(strings.ToLower(s), "predicted") {
					t.Errorf("%s does not say that it is predicted", kind)
				}
				for _, bad := range []string{"NaN", "Inf"} {
					if strings.Contains(string(svg), bad) {
						t.Errorf("%s holds %s", kind, bad)
					}
				}
			}
		})
	}
}

// TestSameBytes renders each drawing twice.
func TestSameBytes(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and run without -short")
	}
	t.Parallel()
	first, second := everything(t, "twice", closeUp()), everything(t, "twice", closeUp())
	for kind, d := range first {
		for _, name := range []string{"x.svg", "x.PNG"} {
			a, err := d.Encode(name)
			if err != nil {
				t.Fatal(err)
			}
			b, err := second[kind].Encode(name)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(a, b) {
				t.Errorf("%s as %s differs between two renderings", kind, name)
			}
		}
	}
}

// TestHostileTexts puts texts that mean something to XML, or that cannot be seen,
// into every text of every drawing.
func TestHostileTexts(t *testing.T) {
	t.Parallel()
	hostile := "</text><script>a</script>&\"' \x00\x1b[31m\u202e\ufffe\xff µ"
	for kind, d := range everything(t, hostile, closeUp()) {
		svg, err := d.SVG()
		if err != nil {
			t.Fatal(err)
		}
		if s := texts(t, svg); !strings.Contains(s, `</text><script>a</script>&"' [31m µ`) {
			t.Errorf("%s has lost its text: %q", kind, s)
		}
		if bytes.Contains(svg, []byte("<script")) {
			t.Errorf("%s holds a script", kind)
		}
		if _, err := d.PNG(); err != nil {
			t.Error(err)
		}
	}
}

// TestSize checks that a sheet is A4 in either form: 297 x 210 mm, and at 160
// dots an inch 1871 x 1323 of them, 6299 a metre.
func TestSize(t *testing.T) {
	t.Parallel()
	d, err := Stack(StackView{Title: "close", Attachment: closeUp()})
	if err != nil {
		t.Fatal(err)
	}
	svg, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(svg, []byte(`width="297mm" height="210mm" viewBox="0 0 297 210"`)) {
		t.Errorf("the SVG does not state its size: %.200s", svg)
	}
	data, err := d.PNG()
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if size := img.Bounds().Size(); size.X != 1871 || size.Y != 1323 {
		t.Errorf("the PNG is %v, want 1871 x 1323", size)
	}
	if want := []byte("pHYs\x00\x00\x18\x9b\x00\x00\x18\x9b\x01"); !bytes.Contains(data, want) {
		t.Error("the PNG does not state 6299 dots a metre")
	}
}

func TestWriteFile(t *testing.T) {
	t.Parallel()
	d, err := Stack(StackView{Title: "close", Attachment: closeUp()})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "a.svg")
	if err := d.WriteFile(path); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path string
		want fault.Kind
	}{{path, fault.Conflict}, {filepath.Join(dir, "a.pdf"), fault.Invalid}, {filepath.Join(dir, "none"), fault.Invalid}, {filepath.Join(dir, "no", "a.png"), fault.Other}} {
		if err := d.WriteFile(c.path); fault.KindOf(err) != c.want {
			t.Errorf("WriteFile(%s) = %v, want a fault of kind %v", c.path, err, c.want)
		}
	}
	if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
		t.Error("a refused drawing changed the file")
	}
	if list, _ := os.ReadDir(dir); len(list) != 1 {
		t.Errorf("%d files, want the one written", len(list))
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	crossing := closeUp()
	crossing.Stack[0].Element.Radius1MM, crossing.Stack[0].Element.Radius2MM = -20, 20
	for name, make := range map[string]func() (Drawing, error){
		"no points":       func() (Drawing, error) { return Front(FrontPlot{}) },
		"infinite point":  func() (Drawing, error) { return Front(FrontPlot{Points: []FrontPoint{{X: math.Inf(1)}}}) },
		"no modulation":   func() (Drawing, error) { return MTF("", optics.Sharpness{}) },
		"no spots":        func() (Drawing, error) { return Spots("", nil, 1, 1) },
		"no Airy radius":  func() (Drawing, error) { return Spots("", []optics.SpotDiagram{{}}, math.NaN(), 1) },
		"no fans":         func() (Drawing, error) { return RayFans("", nil) },
		"no stack":        func() (Drawing, error) { return Stack(StackView{}) },
		"crossing":        func() (Drawing, error) { return Stack(StackView{Attachment: crossing}) },
		"crossing, mount": func() (Drawing, error) { return Mount(MountView{Attachment: crossing}) },
		"clearance":       func() (Drawing, error) { return Mount(MountView{Attachment: closeUp(), ClearanceMM: -1}) },
	} {
		if _, err := make(); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v, want a fault Invalid", name, err)
		}
	}
}

// TestCutBeam draws points that no light reaches.
func TestCutBeam(t *testing.T) {
	t.Parallel()
	points := []optics.PointSharpness{{Name: "corner"}}
	d, err := MTF("dark", optics.Sharpness{ObjectPixelUM: 20, Contrast: 0.2, Points: points})
	if err != nil {
		t.Fatal(err)
	}
	svg, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(texts(t, svg), "no light reaches this point") {
		t.Error("a dark corner is not said to be dark")
	}
	if d, err = Spots("dark", []optics.SpotDiagram{{Name: "corner"}}, 0, 0); err != nil {
		t.Fatal(err)
	}
	if svg, err = d.SVG(); err != nil || !strings.Contains(texts(t, svg), "no light reaches this point") {
		t.Errorf("a dark corner is not said to be dark: %v", err)
	}
}
