package picture

import (
	"fmt"
	"image"
	"math"
	"strings"
	"unicode"

	"golang.org/x/image/font"
)

// footerLine is a line below the picture, with a patch of the colour it explains.
type footerLine struct {
	text  string
	patch bool
}

// footer returns what is said below the picture.
func (s *sheet) footer() []footerLine {
	unit := unitName(s.f.Unit)
	if unit != "" {
		unit = " " + unit
	}
	d := spreadDecimals(s.stats.Max - s.stats.Min)
	lines := []footerLine{{text: fmt.Sprintf("lowest %s, mean %s, highest %s%s at column %d, row %d",
		label(s.stats.Min, d), label(s.stats.Mean, d), label(s.stats.Max, d), unit, s.stats.MaxX, s.stats.MaxY)}}
	size := fmt.Sprintf("%d x %d pixels", s.f.Width, s.f.Height)
	if s.o.ObjectPixelUM > 0 {
		size += fmt.Sprintf(" of %s on the object", lengthLabel(roundTo(s.o.ObjectPixelUM, 4)))
	}
	lines = append(lines, footerLine{text: size})
	if n := s.stats.MissingCount; n > 0 {
		lines = append(lines, footerLine{text: s.withoutValue(n), patch: true})
	}
	if n := s.stats.SaturatedCount; n > 0 {
		lines = append(lines, footerLine{text: count(n, "saturated pixel") + ": highest and mean are lower limits"})
	}
	below, above := 0, 0
	for _, v := range s.f.Pixels {
		if v < s.span.low {
			below++
		}
		if v > s.span.high {
			above++
		}
	}
	if below+above > 0 {
		lines = append(lines, footerLine{text: fmt.Sprintf("%d below and %d above the colour bar, drawn in its end colours", below, above)})
	}
	return lines
}

// withoutValue says of how many pixels no value is shown, and why.
func (s *sheet) withoutValue(n int) string {
	switch missing := min(n, s.o.Missing); {
	case s.o.Hidden == "":
		return count(n, "missing pixel")
	case missing > 0:
		return count(n-missing, "pixel") + " " + s.o.Hidden + ", " + count(missing, "missing pixel")
	}
	return count(n, "pixel") + " " + s.o.Hidden
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// spreadDecimals gives three digits to the range of the frame.
func spreadDecimals(spread float64) int {
	if !(spread > 0) {
		return 2
	}
	return max(0, min(9, 2-int(math.Floor(math.Log10(spread)))))
}

// roundTo rounds to that many significant digits.
func roundTo(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits-1)-math.Floor(math.Log10(v)))
	return math.Round(v*p) / p
}

// drawTexts draws title, scale bar and footer.
func (s *sheet) drawTexts() {
	if title := s.title(); title != "" {
		s.text(s.bold, ink(), image.Pt(s.area.Min.X, margin+titleSize-2), title)
	}
	x, y := s.area.Min.X, s.bar.Max.Y+14
	if s.o.ObjectPixelUM > 0 {
		s.scaleBar(image.Pt(x, y+6))
		y += lineHeight + 12
	}
	for i, l := range s.footer() {
		c := faint()
		if i == 0 {
			c = ink()
		}
		at := image.Pt(x, y+textSize)
		if l.patch {
			patch := image.Rect(x, y+3, x+textSize-1, y+textSize+2)
			s.fill(patch, s.o.noValue())
			s.frameLine(patch)
			at.X += textSize + 8
		}
		s.text(s.regular, c, at, l.text)
		y += lineHeight
	}
}

// title returns the title in one line that fits.
func (s *sheet) title() string {
	clean := strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s.o.Title)
	title := []rune(strings.Join(strings.Fields(clean), " "))
	room := s.img.Bounds().Dx() - s.area.Min.X - margin
	if font.MeasureString(s.bold, string(title)).Ceil() <= room {
		return string(title)
	}
	for len(title) > 0 && font.MeasureString(s.bold, string(title)+"…").Ceil() > room {
		title = title[:len(title)-1]
	}
	return strings.TrimRight(string(title), " ") + "…"
}

// scaleBar draws a bar of a round length of at most a third of the frame.
func (s *sheet) scaleBar(at image.Point) {
	perPixel := s.o.ObjectPixelUM / float64(s.scale)
	um := barLength(float64(s.area.Dx()) * perPixel / 3)
	long := max(1, int(math.Round(um/perPixel)))
	s.fill(image.Rect(at.X, at.Y+6, at.X+long, at.Y+10), ink())
	for _, x := range [...]int{at.X, at.X + long - 1} {
		s.fill(image.Rect(x, at.Y+2, x+1, at.Y+14), ink())
	}
	s.text(s.regular, ink(), image.Pt(at.X+long+10, at.Y+8+textSize/3), lengthLabel(um))
}
