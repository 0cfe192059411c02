package hotspot

import (
	"math"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Area is a named rectangle of a micrograph, in its pixels.
type Area struct {
	Name                string
	X, Y, Width, Height float64
}

const areasHint = `give them as "left driver@X,Y,W,H; pad@X,Y,W,H" in micrograph pixels from its top left`

// ParseAreas reads "left driver@X,Y,W,H; ...". Fault Invalid for anything else,
// an area without size, and two of one name.
func ParseAreas(text string) ([]Area, error) {
	var out []Area
	seen := map[string]bool{}
	for part := range strings.SplitSeq(text, ";") {
		if strings.TrimSpace(part) == "" {
			continue
		}
		at := strings.LastIndex(part, "@")
		if at < 0 {
			return nil, fault.Invalidf("%q has no @ between name and place", strings.TrimSpace(part)).WithHint(areasHint)
		}
		name := strings.TrimSpace(part[:at])
		v, err := parseNumbers(part[at+1:], 4)
		if err != nil || name == "" || len(name) > 60 || !(v[2] > 0 && v[3] > 0) {
			return nil, fault.Invalidf("%q is not a named area", strings.TrimSpace(part)).WithHint(areasHint)
		}
		if seen[name] {
			return nil, fault.Invalidf("two areas are called %q", name).WithHint("give each area a name of its own")
		}
		seen[name] = true
		out = append(out, Area{name, v[0], v[1], v[2], v[3]})
	}
	if len(out) == 0 {
		return nil, fault.Invalidf("no area is given").WithHint(areasHint)
	}
	return out, nil
}

// Inside refuses an area that lies outside a micrograph. Fault Invalid.
func (a Area) Inside(width, height int) error {
	if a.X < 0 || a.Y < 0 || a.X+a.Width > float64(width) || a.Y+a.Height > float64(height) {
		return fault.Invalidf("the area %q reaches outside a micrograph of %d x %d pixels", a.Name, width, height).WithHint(areasHint)
	}
	return nil
}

// depth is how far inside the area a place lies, below 0 for outside. The pixel
// column, row of a picture is centred at whole numbers, so that an area begins
// half a pixel before its first one.
func (a Area) depth(p Point) float64 {
	dx := a.Width/2 - math.Abs(p.X+0.5-a.X-a.Width/2)
	dy := a.Height/2 - math.Abs(p.Y+0.5-a.Y-a.Height/2)
	if dx < 0 && dy < 0 {
		return -math.Hypot(dx, dy)
	}
	return math.Min(dx, dy)
}

// Under is what lies at a place of the micrograph.
type Under struct {
	Name    string   `json:"name"`    // of the smallest area there, "" for none
	Certain bool     `json:"certain"` // no border is nearer than two standard uncertainties
	Also    []string `json:"also"`    // other areas that it is in, or may be in
}

// Name names what lies under a place known to u pixels in either direction; u not
// finite leaves it uncertain.
func Name(areas []Area, p Point, u float64) Under {
	out := Under{Certain: !math.IsNaN(u) && !math.IsInf(u, 0), Also: []string{}}
	best := -1
	for i, a := range areas {
		d := a.depth(p)
		if math.Abs(d) < 2*u {
			out.Certain = false
		}
		if d >= 0 && (best < 0 || a.Width*a.Height < areas[best].Width*areas[best].Height) {
			best = i
		}
	}
	for i, a := range areas {
		if i == best {
			out.Name = a.Name
		} else if d := a.depth(p); d >= 0 || -d < 2*u {
			out.Also = append(out.Also, a.Name)
		}
	}
	return out
}

// Text says it in words.
func (u Under) Text() string {
	text := u.Name
	if text == "" {
		text = "no named area"
	}
	if len(u.Also) > 0 {
		text += " (or " + strings.Join(u.Also, ", ") + ")"
		if u.Certain {
			text = u.Name + ", within " + strings.Join(u.Also, ", ")
		}
	}
	if !u.Certain {
		text += ", not certain"
	}
	return text
}

// Place is where something lies on the object, in µm from an origin along two axes.
type Place struct {
	XUM quantity.Estimate
	YUM quantity.Estimate
}

// Axes are where positions on the object count from. The y axis lies a quarter
// turn from x towards the y of the frame, so that it runs down where x runs right.
type Axes struct {
	Origin  Point
	U       Point             // standard uncertainty of the origin, in pixels
	Along   *Point            // a place that the x axis runs to; nil: along the rows
	PixelUM quantity.Estimate // what one pixel sees of the object, in µm
}

// Validate checks the axes. Fault Invalid when the place the x axis runs to lies
// within a pixel of the origin.
func (a Axes) Validate() error {
	if a.Along != nil && math.Hypot(a.Along.X-a.Origin.X, a.Along.Y-a.Origin.Y) < 1 {
		return fault.Invalidf("the axis runs to a place within a pixel of its origin").WithHint("give --axis a place far along the edge of the die")
	}
	return nil
}

// Of returns where a place known to u pixels lies. The uncertainty holds those of
// the place, the origin and the pixel; not that of the direction of the axes.
func (a Axes) Of(p, u Point) Place {
	c, s := 1.0, 0.0
	if a.Along != nil {
		dx, dy := a.Along.X-a.Origin.X, a.Along.Y-a.Origin.Y
		c, s = dx/math.Hypot(dx, dy), dy/math.Hypot(dx, dy)
	}
	dx, dy := p.X-a.Origin.X, p.Y-a.Origin.Y
	ux, uy := math.Hypot(u.X, a.U.X), math.Hypot(u.Y, a.U.Y)
	size := a.PixelUM.Value
	along := func(c, s float64) quantity.Estimate {
		d := c*dx + s*dy
		uPx := math.Hypot(c*ux, s*uy)
		pixelU, _ := a.PixelUM.StandardU()
		return quantity.With(d*size, math.Hypot(uPx*size, d*pixelU))
	}
	return Place{along(c, s), along(-s, c)}
}
