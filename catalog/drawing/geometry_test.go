package drawing

import (
	"encoding/xml"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"dieglow/catalog/optics"
)

// TestSpacer works a spacer out by hand. A plano-convex lens of R2 = -75 mm rests
// with its bulging side on an opening of 11.6 mm: its surface there lies
// 75 - sqrt(75² - 5.8²) = 0.22460 mm before its vertex. Behind it stands a lens
// hollow to the specimen, R1 = -40 mm, 12.7 mm across, which is touched at its
// rim, 40 - sqrt(40² - 6.35²) = 0.50725 mm before its vertex. With the vertices
// 1.5 mm apart the ring is 1.5 + 0.22460 - 0.50725 = 1.21735 mm long.
func TestSpacer(t *testing.T) {
	t.Parallel()
	stack := optics.Stack{
		{Element: optics.Element{N: 4, Radius2MM: -75, ThicknessMM: 2, DiameterMM: 12.7, SemiAperture1MM: 5.8, SemiAperture2MM: 5.8}, GapAfterMM: 1.5},
		{Element: optics.Element{N: 4, Radius1MM: -40, Radius2MM: -30, ThicknessMM: 3, DiameterMM: 12.7, SemiAperture1MM: 5.8, SemiAperture2MM: 5.8}},
	}
	seats := seatsOf(stack, 0.1)
	bulge, hollow := 75-math.Sqrt(75*75-5.8*5.8), 40-math.Sqrt(40*40-6.35*6.35)
	length, ok := spacerMM(seats[0], seats[1])
	if want := 1.5 + bulge - hollow; !ok || math.Abs(length-want) > 1e-12 || math.Abs(want-1.21735) > 1e-5 {
		t.Errorf("spacer = %v, %v, want %v", length, ok, want)
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"plane front seat", seats[0].front.zMM, 0}, {"bulging rear seat", seats[0].rear.zMM, 2 - bulge}, {"its contact", seats[0].rear.contactMM, 5.8},
		{"hollow front seat", seats[1].front.zMM, 3.5 - hollow}, {"its contact", seats[1].front.contactMM, 6.35},
		{"last seat", seats[1].rear.zMM, 6.5 - (30 - math.Sqrt(30*30-5.8*5.8))}, {"bore", seats[0].boreMM, 6.4},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s = %v, want %v", c.name, c.got, c.want)
		}
	}
}

// TestSeatsWithoutFigures says why a seat cannot be given rather than inventing it.
func TestSeatsWithoutFigures(t *testing.T) {
	t.Parallel()
	for want, e := range map[string]optics.Element{
		"focal length only": optics.Thin(25), "mirror": optics.Mirror(0, 0.9), "no diameter": {N: 4, Radius1MM: 50, ThicknessMM: 2},
	} {
		a := closeUp()
		a.Stack[1].Element = e
		seats := seatsOf(a.Stack, 0.1)
		if seats[1].known() || !strings.Contains(seats[1].reason, want) {
			t.Errorf("seat = %q, want a reason with %q", seats[1].reason, want)
		}
		if _, ok := spacerMM(seats[0], seats[1]); ok {
			t.Errorf("%s: a spacer is given next to it", want)
		}
		d, err := Mount(MountView{Attachment: a})
		if err != nil {
			t.Fatal(err)
		}
		svg, err := d.SVG()
		if err != nil {
			t.Fatal(err)
		}
		if s := texts(t, svg); !strings.Contains(s, want) || !strings.Contains(s, "No seat can be given for 2.") {
			t.Errorf("the sheet does not say %q", want)
		}
	}
}

// TestPlays checks tolerances against closed forms. Two thin lenses f1, f2 a gap g
// apart before a camera focused at infinity: WD = f1 (f2-g)/(f1+f2-g), so that
// dWD/dg = -f1²/(f1+f2-g)², and M = fc (f1+f2-g)/(f1 f2), dM/dg/M = -1/(f1+f2-g).
// With f1 = f2 = 40, g = 4: 0.27701 and 1/76. A depth of field of 400 µm allows
// 0.1/0.277 = 0.36 mm, the scale 0.76: rounded down 0.2 for focus. The gap to the
// camera moves neither.
func TestPlays(t *testing.T) {
	t.Parallel()
	a := optics.Attachment{
		Stack:  optics.Stack{{Element: optics.Thin(40), GapAfterMM: 4}, {Element: optics.Thin(40)}},
		Camera: camera(), StandoffMM: 3, WavelengthUM: 10,
	}
	for _, c := range []struct {
		depthMM float64
		want    play
	}{{0.4, play{0.2, "focus"}}, {0.004, play{0.002, "focus"}}, {100, play{0.5, "not critical"}}} {
		got := plays(a, c.depthMM)
		if len(got) != 2 || math.Abs(got[0].mm-c.want.mm) > 1e-12 || got[0].limit != c.want.limit {
			t.Errorf("depth %g mm: %v, want %v first", c.depthMM, got, c.want)
		}
		if got[1] != (play{mostPlayMM, "not critical"}) {
			t.Errorf("the gap to the camera: %v", got[1])
		}
	}
	a.Stack[0].Element, a.Stack[1].Element, a.Stack[0].GapAfterMM = optics.Thin(10), optics.Thin(10), 0
	if got := plays(a, 100); math.Abs(got[0].mm-0.2) > 1e-12 || got[0].limit != "scale" { // 1 % of 20 mm
		t.Errorf("scale: %v, want 0.2 mm", got[0])
	}
}

// TestAssembly says from which end lenses of growing and shrinking size go in.
func TestAssembly(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		diameters []float64
		want      assembly
	}{
		{[]float64{12.7, 12.7}, fromSpecimen}, {[]float64{13, 12.7}, fromSpecimen}, {[]float64{12.7, 13}, fromCamera},
		{[]float64{25, 12.7}, fromBoth}, {[]float64{12.7, 12.7, 25}, fromBoth}, {[]float64{25, 12.7, 25}, split}, {[]float64{12.7, 13, 12.7}, split},
	} {
		var s optics.Stack
		for _, d := range c.diameters {
			s = append(s, optics.Mounted{Element: optics.Element{N: 4, Radius1MM: 200, ThicknessMM: 3, DiameterMM: d}, GapAfterMM: 2})
		}
		if got := assemblyOf(seatsOf(s, 0.1), 0.1); got != c.want {
			t.Errorf("assemblyOf(%v) = %v, want %v", c.diameters, got, c.want)
		}
	}
}

// TestNoRoomBeforeSpecimen sees a ring of 1 mm that a working distance below 1 mm
// has no room for: a plano-convex lens, plane to the specimen, has it paraxially at
// |R|/(n-1) - t/n = 5/3 - 4/4 = 0.67 mm.
func TestNoRoomBeforeSpecimen(t *testing.T) {
	t.Parallel()
	a := closeUp()
	a.Stack = optics.Stack{{Element: optics.Element{N: 4, Radius2MM: -5, ThicknessMM: 4, DiameterMM: 6}}}
	d, err := Mount(MountView{Attachment: a})
	if err != nil {
		t.Fatal(err)
	}
	svg, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	if s := texts(t, svg); !strings.Contains(s, "does not clear the specimen") {
		t.Error("the sheet does not say that its ring stands in the specimen")
	}
}

func TestStandardScale(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		most, want float64
		name       string
	}{{9.9, 5, "5:1"}, {10.1, 10, "10:1"}, {1.99, 1, "1:1"}, {0.99, 0.5, "1:2"}, {0.3, 0.2, "1:5"}, {0.0019, 0.001, "1:1000"}, {30, 20, "20:1"}} {
		got := standardScale(c.most)
		if math.Abs(got-c.want) > 1e-12 || scaleName(got) != c.name {
			t.Errorf("standardScale(%v) = %v (%s), want %v (%s)", c.most, got, scaleName(got), c.want, c.name)
		}
	}
}

// arcs returns the circular arcs of an SVG's paths: radius and ends, in points.
func arcs(t *testing.T, svg []byte) [][]float64 {
	t.Helper()
	number := `(-?[\d.]+(?:e[-+]\d+)?)`
	shape := regexp.MustCompile(number + "," + number + "A" + number + "," + number + ` 0 [01] [01] ` + number + "," + number)
	var list [][]float64
	for _, m := range shape.FindAllStringSubmatch(string(svg), -1) {
		var a []float64
		for _, s := range m[1:] {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			a = append(a, v)
		}
		list = append(list, a)
	}
	return list
}

// TestLensesToScale measures a lens in the SVG. At 5:1 a radius of 75 mm is drawn
// with 375 mm, 1063.0 points of 25.4/72 mm, and a lens of 12.7 mm is 63.5 mm high,
// 180 points.
func TestLensesToScale(t *testing.T) {
	t.Parallel()
	d, err := Stack(StackView{Title: "close", Attachment: closeUp()})
	if err != nil {
		t.Fatal(err)
	}
	svg, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(texts(t, svg), "Scale 5:1 on A4") {
		t.Fatal("the sheet is not at 5:1")
	}
	found := 0
	for _, a := range arcs(t, svg) {
		if math.Abs(a[2]-1063) < 0.1 && math.Abs(math.Abs(a[1]-a[5])-180) < 0.05 && math.Abs(a[0]-a[4]) < 0.02 {
			found++
		}
	}
	if found != 6 { // three lenses, filled and outlined
		t.Errorf("%d arcs of radius 375 mm and height 63.5 mm, want 6", found)
	}
}

// TestUpright checks that texts that leave no room side by side still all appear.
func TestUpright(t *testing.T) {
	t.Parallel()
	a := stacks()["many"]
	d, err := Stack(StackView{Title: "many", Attachment: a})
	if err != nil {
		t.Fatal(err)
	}
	svg, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	s := texts(t, svg)
	for _, want := range []string{"and 10 more", "\n20\n", "\n0.1\n"} {
		if !strings.Contains(s, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
}

func TestTicks(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		low, high float64
		want      string
	}{{0, 1, "0.0 0.2 0.4 0.6 0.8 1.0"}, {-330, 330, "-300 -200 -100 0 100 200 300"}, {7, 7, ""}} {
		var labels []string
		for _, k := range ticks(c.low, c.high) {
			if k.Label != "" {
				labels = append(labels, k.Label)
			}
		}
		if got := strings.Join(labels, " "); got != c.want {
			t.Errorf("ticks(%v, %v) = %q, want %q", c.low, c.high, got, c.want)
		}
	}
}

func ExampleDrawing_SVG() {
	d, err := Front(FrontPlot{Title: "Choice", XLabel: "cost, EUR", YLabel: "smallest bar, µm", Points: []FrontPoint{{X: 40, Y: 25, Label: "a", OnFront: true, Meets: true}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	svg, err := d.SVG()
	var document struct {
		Width  string `xml:"width,attr"`
		Height string `xml:"height,attr"`
		Title  string `xml:"title"`
	}
	if err == nil {
		err = xml.Unmarshal(svg, &document)
	}
	fmt.Println(document.Width, document.Height, document.Title, err)
	// Output: 297mm 210mm Choice <nil>
}
