package picture

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// Options says how a frame is drawn. The zero value draws it in viridis over
// its whole range, without scale bar and title.
type Options struct {
	Ramp  Ramp
	Title string // one line; cut with an ellipsis where it is too long

	// Range is the lowest and the highest value of the colour bar; nil for those
	// of the frame. Values beyond it take the end colours and are counted below
	// the picture.
	Range *[2]float64

	// Hidden, where it is not empty, says why pixels have no value that do have one:
	// "hidden, below 3 standard uncertainties". Pixels without a value are then drawn
	// in the colour Hidden in place of Missing, and counted below the picture with
	// that line.
	Hidden string

	// Missing are the pixels, of those drawn as hidden, that have no value at all.
	Missing int

	// ObjectPixelUM is how much of the object one pixel sees, in µm; 0 when it is
	// not known, then there is no scale bar.
	ObjectPixelUM float64

	// LongSide is how long the longer side of the frame is to be in the picture,
	// in its pixels; 0 stands for 720. The frame is enlarged by the whole factor
	// that comes nearest, at least 1, so that every pixel stays a sharp square.
	LongSide int
}

// The measures of a picture, in pixels.
const (
	defaultLongSide = 720
	longestSide     = 4096
	margin          = 28
	textSize        = 15
	titleSize       = 20
	lineHeight      = 22
	barWidth        = 22
	barGap          = 22
	tickLength      = 6
	tickSpacing     = 56 // least distance of two ticks of the colour bar
	leastWidth      = 560
	mapLeast        = 200 // least height beside the colour bar
)

// sheet is a picture being drawn.
type sheet struct {
	img           *image.RGBA
	regular, bold font.Face
	table         *colours
	f             frame.Frame
	o             Options
	span          span
	stats         frame.Stats
	scale         int
	area          image.Rectangle // of the frame
	bar           image.Rectangle // of the colour bar
}

func ink() color.RGBA   { return color.RGBA{R: 0x20, G: 0x22, B: 0x26, A: 255} }
func faint() color.RGBA { return color.RGBA{R: 0x5c, G: 0x61, B: 0x69, A: 255} }

// Render draws the frame. Fault Invalid when every pixel is missing, the range
// is not two finite numbers in order, or the object pixel is not above 0.
func Render(f frame.Frame, o Options) (image.Image, error) {
	s, err := drawnSheet(f, o)
	if err != nil {
		return nil, err
	}
	return s.img, nil
}

func drawnSheet(f frame.Frame, o Options) (*sheet, error) {
	s := &sheet{f: f, o: o, stats: f.Stats(), table: o.Ramp.colours()}
	var err error
	if s.span, err = rangeOf(s.stats, o.Range); err != nil {
		return nil, err
	}
	if v := o.ObjectPixelUM; !(v >= 0) || math.IsInf(v, 0) || v > 0 && (v < 1e-6 || v > 1e9) {
		return nil, fault.Invalidf("an object pixel of %g µm", v).WithHint("state how many µm of the object one pixel sees, or leave it away")
	}
	if err := s.faces(); err != nil {
		return nil, err
	}
	s.layOut()
	s.drawFrame()
	s.drawBar()
	s.drawTexts()
	return s, nil
}

// Encode draws the frame and writes it as PNG. Faults as from Render.
func Encode(w io.Writer, f frame.Frame, o Options) error {
	img, err := Render(f, o)
	if err != nil {
		return err
	}
	if err := png.Encode(w, img); err != nil {
		return fault.Otherf("picture not written").Because(err)
	}
	return nil
}

func (s *sheet) faces() error {
	var err error
	if s.regular, err = face(goregular.TTF, textSize); err != nil {
		return err
	}
	s.bold, err = face(gobold.TTF, titleSize)
	return err
}

func face(ttf []byte, size float64) (font.Face, error) {
	parsed, err := opentype.Parse(ttf)
	if err != nil {
		return nil, fault.Otherf("the font is not readable").Because(err)
	}
	f, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return nil, fault.Otherf("the font is not readable").Because(err)
	}
	return f, nil
}

// rangeOf returns the stated range or that of the frame.
func rangeOf(st frame.Stats, stated *[2]float64) (span, error) {
	if math.IsNaN(st.Max) {
		return span{}, fault.Invalidf("every pixel is missing").WithHint("there is nothing to draw: export the frame again")
	}
	if stated == nil {
		return span{st.Min, st.Max}, nil
	}
	low, high := stated[0], stated[1]
	if !(low < high) || math.IsInf(low, 0) || math.IsInf(high, 0) {
		return span{}, fault.Invalidf("a colour range from %g to %g", low, high).WithHint("state the lower value first")
	}
	return span{low, high}, nil
}

// noValue is the colour of pixels without a value.
func (o Options) noValue() color.RGBA {
	if o.Hidden != "" {
		return Hidden()
	}
	return Missing()
}

// factor returns the whole factor of enlargement.
func (o Options) factor(f frame.Frame) int {
	want := o.LongSide
	if want <= 0 {
		want = defaultLongSide
	}
	want = min(want, longestSide)
	return max(1, int(math.Round(float64(want)/float64(max(f.Width, f.Height)))))
}

// layOut settles where everything goes.
func (s *sheet) layOut() {
	s.scale = s.o.factor(s.f)
	width, height := s.f.Width*s.scale, s.f.Height*s.scale
	top := margin
	if s.o.Title != "" {
		top += titleSize + 16
	}
	top += lineHeight // the unit above the colour bar
	tall := max(height, mapLeast)
	x := margin
	right := barGap + barWidth + tickLength + 6 + s.labelWidth() + margin
	if spare := leastWidth - (margin + width + right); spare > 0 {
		x += spare / 2
	}
	s.area = image.Rect(x, top, x+width, top+height).Add(image.Pt(0, (tall-height)/2))
	s.bar = image.Rect(x+width+barGap, top, x+width+barGap+barWidth, top+tall)
	bottom := top + tall + 14 + lineHeight*len(s.footer()) + margin - 8
	if s.o.ObjectPixelUM > 0 {
		bottom += lineHeight + 12
	}
	s.img = image.NewRGBA(image.Rect(0, 0, max(leastWidth, x+width+right), bottom))
	draw.Draw(s.img, s.img.Bounds(), image.White, image.Point{}, draw.Src)
}

func (s *sheet) fill(r image.Rectangle, c color.RGBA) {
	draw.Draw(s.img, r, image.NewUniform(c), image.Point{}, draw.Src)
}

// frameLine draws a line of one pixel around r.
func (s *sheet) frameLine(r image.Rectangle) {
	r = r.Inset(-1)
	s.fill(image.Rect(r.Min.X, r.Min.Y, r.Max.X, r.Min.Y+1), ink())
	s.fill(image.Rect(r.Min.X, r.Max.Y-1, r.Max.X, r.Max.Y), ink())
	s.fill(image.Rect(r.Min.X, r.Min.Y, r.Min.X+1, r.Max.Y), ink())
	s.fill(image.Rect(r.Max.X-1, r.Min.Y, r.Max.X, r.Max.Y), ink())
}

// drawFrame draws every pixel as a square.
func (s *sheet) drawFrame() {
	rowBytes := 4 * s.f.Width * s.scale
	for y := range s.f.Height {
		at := s.img.PixOffset(s.area.Min.X, s.area.Min.Y+y*s.scale)
		row := s.img.Pix[at : at+rowBytes]
		for x := range s.f.Width {
			c := s.table.at(s.span, s.f.Pixels[y*s.f.Width+x])
			if c == Missing() {
				c = s.o.noValue()
			}
			for i := range s.scale {
				copy(row[4*(x*s.scale+i):], []byte{c.R, c.G, c.B, c.A})
			}
		}
		for i := 1; i < s.scale; i++ {
			copy(s.img.Pix[at+i*s.img.Stride:], row)
		}
	}
	s.frameLine(s.area)
}

// drawBar draws the colour bar, its ticks and the unit above it.
func (s *sheet) drawBar() {
	n := s.bar.Dy()
	for i := range n {
		c := s.table[128]
		if s.span.high > s.span.low {
			c = s.table[(n-1-i)*256/n]
		}
		s.fill(image.Rect(s.bar.Min.X, s.bar.Min.Y+i, s.bar.Max.X, s.bar.Min.Y+i+1), c)
	}
	s.frameLine(s.bar)
	labels := s.barLabels()
	for _, l := range labels {
		y := s.bar.Max.Y - 1 - int(math.Round(l.place*float64(n-1)))
		s.fill(image.Rect(s.bar.Max.X+1, y, s.bar.Max.X+1+tickLength, y+1), ink())
		s.text(s.regular, ink(), image.Pt(s.bar.Max.X+1+tickLength+6, y+textSize/3), l.text)
	}
	if unit := unitName(s.f.Unit); unit != "" {
		s.text(s.regular, ink(), image.Pt(s.bar.Min.X, s.bar.Min.Y-10), unit)
	}
}

// barLabel is a tick of the colour bar; place is 0 at the lower end, 1 at the upper.
type barLabel struct {
	place float64
	text  string
}

func (s *sheet) barLabels() []barLabel {
	most := max(2, max(s.f.Height*s.scale, mapLeast)/tickSpacing)
	step := tickStep(s.span.low, s.span.high, most)
	if step == 0 {
		return []barLabel{{0.5, strings.Replace(fmt.Sprintf("%.6g", s.span.low), "-", "−", 1)}}
	}
	var out []barLabel
	for _, v := range Ticks(s.span.low, s.span.high, most) {
		place := (v - s.span.low) / (s.span.high - s.span.low)
		out = append(out, barLabel{max(0, min(1, place)), label(v, decimals(step))})
	}
	return out
}

// labelWidth is the width of the widest label of the colour bar.
func (s *sheet) labelWidth() int {
	widest := 0
	for _, l := range s.barLabels() {
		widest = max(widest, font.MeasureString(s.regular, l.text).Ceil())
	}
	return max(widest, font.MeasureString(s.regular, unitName(s.f.Unit)).Ceil()-barWidth)
}

func unitName(u frame.Unit) string {
	switch u {
	case frame.DegC:
		return "°C"
	case frame.Kelvin:
		return "K"
	case frame.Counts:
		return "counts"
	default:
		return ""
	}
}

// text draws one line; at is the left end of its base line.
func (s *sheet) text(f font.Face, c color.RGBA, at image.Point, text string) {
	d := font.Drawer{Dst: s.img, Src: image.NewUniform(c), Face: f, Dot: fixed.P(at.X, at.Y)}
	d.DrawString(text)
}
