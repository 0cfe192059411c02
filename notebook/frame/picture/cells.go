package picture

import (
	"fmt"
	"image/color"
	"math"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// Depth is how many colours a terminal shows.
type Depth int

// The depths.
const (
	TrueColour Depth = iota // 24 bits, the escape sequences of ISO 8613-6
	Colours256              // the cube of 6 x 6 x 6 colours and 24 greys of xterm
)

// CellOptions says how a frame is drawn in the cells of a terminal.
type CellOptions struct {
	Columns, Rows int // the room there is, legend included; at least 2 x 2
	Ramp          Ramp
	Depth         Depth
	Range         *[2]float64 // as in Options
}

// Cells draws the frame in half-block cells, two pixels one above the other in
// each, as large as the room allows with square pixels. Where several pixels of
// the frame share one, the highest is shown, so that a hot spot is not lost; a
// missing pixel shows only where all that share its place are missing. The last line is the
// legend: the ends of the colours and, when there are any, the missing pixels.
// Every line ends with the colours reset.
//
// Faults as from Render, and Invalid when there is no room.
func Cells(f frame.Frame, o CellOptions) ([]string, error) {
	if o.Columns < 2 || o.Rows < 2 {
		return nil, fault.Invalidf("no picture fits in %d x %d cells", o.Columns, o.Rows).WithHint("make the window larger, or write a file with --to")
	}
	st := f.Stats()
	sp, err := rangeOf(st, o.Range)
	if err != nil {
		return nil, err
	}
	table := o.Ramp.colours()
	scale := min(float64(o.Columns)/float64(f.Width), float64(2*(o.Rows-1))/float64(f.Height))
	width := max(1, min(o.Columns, int(float64(f.Width)*scale+1e-9)))
	height := max(1, min(2*(o.Rows-1), int(float64(f.Height)*scale+1e-9)))
	var lines []string
	for y := 0; y < height; y += 2 {
		var b strings.Builder
		last := ""
		for x := range width {
			upper := table.at(sp, shared(f, x, y, width, height))
			codes := o.Depth.code(38, upper)
			if y+1 < height {
				codes += ";" + o.Depth.code(48, table.at(sp, shared(f, x, y+1, width, height)))
			}
			if codes != last {
				b.WriteString("\x1b[" + codes + "m")
				last = codes
			}
			b.WriteString("▀")
		}
		b.WriteString("\x1b[0m")
		lines = append(lines, b.String())
	}
	return append(lines, legend(table, sp, st, unitName(f.Unit), o)), nil
}

// shared returns the highest of the pixels that fall on one of the picture, NaN
// when all are missing.
func shared(f frame.Frame, x, y, width, height int) float64 {
	v := math.NaN()
	x0, x1 := x*f.Width/width, max(x*f.Width/width+1, (x+1)*f.Width/width)
	y0, y1 := y*f.Height/height, max(y*f.Height/height+1, (y+1)*f.Height/height)
	for j := y0; j < y1; j++ {
		for _, p := range f.Pixels[j*f.Width+x0 : j*f.Width+x1] {
			if p > v || math.IsNaN(v) {
				v = p
			}
		}
	}
	return v
}

// code returns the parameters that select c as foreground (38) or background (48).
func (d Depth) code(ground int, c color.RGBA) string {
	if d == TrueColour {
		return fmt.Sprintf("%d;2;%d;%d;%d", ground, c.R, c.G, c.B)
	}
	return fmt.Sprintf("%d;5;%d", ground, nearest256(c))
}

// nearest256 returns the nearest colour of the xterm table: cube levels 0, 95,
// 135, 175, 215, 255 from index 16, greys 8 to 238 in steps of 10 from index 232.
func nearest256(c color.RGBA) int {
	level := func(v uint8) (int, int) {
		levels := [...]int{0, 95, 135, 175, 215, 255}
		best := 0
		for i, l := range levels {
			if gap(int(v), l) < gap(int(v), levels[best]) {
				best = i
			}
		}
		return best, levels[best]
	}
	r, rv := level(c.R)
	g, gv := level(c.G)
	b, bv := level(c.B)
	grey := max(0, min(23, (int(c.R)+int(c.G)+int(c.B)-3*8+15)/30))
	gl := 8 + 10*grey
	if distance(c, gl, gl, gl) < distance(c, rv, gv, bv) {
		return 232 + grey
	}
	return 16 + 36*r + 6*g + b
}

func gap(a, b int) int { return max(a-b, b-a) }

func distance(c color.RGBA, r, g, b int) int {
	dr, dg, db := int(c.R)-r, int(c.G)-g, int(c.B)-b
	return dr*dr + dg*dg + db*db
}

// legend draws the ramp between its two ends, within the columns there are.
func legend(table *colours, sp span, st frame.Stats, unit string, o CellOptions) string {
	d := spreadDecimals(sp.high - sp.low)
	low, high := label(sp.low, d), label(sp.high, d)
	if unit != "" {
		high += " " + unit
	}
	missing := ""
	if st.MissingCount > 0 {
		missing = "  " + count(st.MissingCount, "missing pixel")
	}
	room := o.Columns - len([]rune(low+high+missing)) - 2
	if missing != "" {
		room -= 2
	}
	if room < 4 {
		return strings.TrimSpace(string([]rune(low + " to " + high)[:min(o.Columns, len([]rune(low+" to "+high)))]))
	}
	room = min(room, 32)
	var b strings.Builder
	b.WriteString(low + " ")
	for i := range room {
		b.WriteString("\x1b[" + o.Depth.code(38, table[i*256/room+128/room]) + "m█")
	}
	b.WriteString("\x1b[0m " + high)
	if missing != "" {
		b.WriteString("  \x1b[" + o.Depth.code(38, Missing()) + "m█\x1b[0m " + strings.TrimSpace(missing))
	}
	return b.String()
}
