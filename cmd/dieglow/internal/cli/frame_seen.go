package cli

import (
	"strconv"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/hotspot"
)

// seen is a frame with its reference and what one of its pixels sees.
type seen struct {
	picked
	reference *frame.Frame
	refFrames int // averaged for the reference
	pixelUM   *quantity.Estimate
	how       string
	predicted *predictedSharpness // of the setup
	warnings  []string
}

// see reads the frame, its reference and its pixel size.
func (s subject) see() (seen, error) {
	p, err := s.frame()
	if err != nil {
		return seen{}, err
	}
	if p.Unit == frame.Unstated {
		p.Unit = fileUnit(p.info)
	}
	out := seen{picked: p, pixelUM: s.pixel, how: s.how, predicted: s.predicted}
	if text, ok := s.in.given("bin"); ok && s.pixel != nil {
		n, _ := strconv.Atoi(text) // pick has read it
		e := quantity.Exactly(s.pixel.Value * float64(n))
		if u, ok := s.pixel.StandardU(); ok {
			e = quantity.With(e.Value, u*float64(n))
		}
		out.pixelUM = &e
	}
	path, ok := s.files["reference"]
	if !ok {
		return out, nil
	}
	info, err := countFrames(path, s.in.frameOptions())
	if err != nil {
		return out, err
	}
	in := *s.in
	in.given = func(flag string) (string, bool) {
		switch flag {
		case "index":
			return "", false
		case "mean":
			return strconv.FormatBool(info.Frames > 1), true
		}
		return s.in.given(flag)
	}
	r, err := in.pick(path)
	if err != nil {
		return out, err
	}
	if r.Unit == frame.Unstated {
		if r.Unit = fileUnit(r.info); r.Unit == frame.Unstated || p.Unit == frame.Unstated {
			r.Unit = p.Unit
		}
	}
	out.reference, out.refFrames = &r.Frame, r.frames
	return out, nil
}

// units returns the symbols of a value and a rise, and how names of results end.
func (s seen) units() (value, rise, valueEnd, riseEnd string) {
	switch s.Unit {
	case frame.DegC:
		return "°C", "K", "_c", "_k"
	case frame.Kelvin:
		return "K", "K", "_k", "_k"
	case frame.Counts:
		return "counts", "counts", "_counts", "_counts"
	}
	return "", "", "", ""
}

func (s seen) drawing(title string) picture.Options {
	o := picture.Options{Title: title}
	if s.pixelUM != nil && s.pixelUM.Value > 0 {
		o.ObjectPixelUM = s.pixelUM.Value
	}
	return o
}

// number reads a whole number that cannot be left empty.
func (in *input) number(flag string, into *int) {
	p := into
	in.count(flag, &p)
	if p == nil {
		in.fail(flag, fault.Invalidf("this value cannot be left empty").WithHint("give a whole number"))
		return
	}
	*into = *p
}

const pixelOrigin = "centre of the top left pixel, along rows and columns"

// axes reads where positions on the object count from; nil where the object pixel
// is not known.
func (s *seen) axes(in *input, out *spotsSeen) (*hotspot.Axes, error) {
	a := hotspot.Axes{}
	out.Origin = pixelOrigin
	_, fiducial := in.given("fiducial")
	_, corner := in.given("corner")
	if fiducial && corner {
		return nil, fault.Usagef("a fiducial and a corner are both given").WithHint("give --fiducial or --corner: positions count from one place")
	}
	from := "fiducial"
	if corner {
		from = "corner"
	}
	if fiducial || corner {
		a.Origin, a.U = s.point(in, from)
		out.Origin = from
	}
	if _, ok := in.given("axis"); ok {
		if !fiducial && !corner {
			return nil, fault.Usagef("--axis says where an axis runs to, and not from where").WithHint("add --corner x,y or --fiducial x,y")
		}
		p, _ := s.point(in, "axis")
		a.Along = &p
		out.Origin += ", x axis towards --axis, y a quarter turn clockwise from it as seen"
	} else if fiducial || corner {
		out.Origin += ", along rows and columns"
	}
	if in.err != nil {
		return nil, in.err
	}
	if err := a.Validate(); err != nil {
		return nil, err
	}
	if s.pixelUM == nil {
		if fiducial || corner {
			s.warnings = append(s.warnings, "what one pixel sees of the object is not known, so there are no positions in µm: add --pixel 25um, or --setup NAME")
		}
		out.Origin, out.PixelFrom = "", ""
		return nil, nil
	}
	a.PixelUM, out.PixelUM = *s.pixelUM, &s.pixelUM.Value
	return &a, nil
}

// point reads a place in the frame, with its uncertainty.
func (s *seen) point(in *input, flag string) (p, u hotspot.Point) {
	text, _ := in.given(flag)
	x, y, ok := strings.Cut(text, ",")
	if !ok || strings.Contains(y, ",") {
		in.fail(flag, fault.Invalidf("%q is not a place in a frame", text).WithHint("give x,y in pixels from the top left, for example 12.5,40"))
		return p, u
	}
	read := func(text string, into, u *float64) {
		e, err := quantity.Parse(text, quantity.One)
		if err == nil && strings.Contains(text, "%") {
			err = fault.Invalidf("%q is not a number of pixels", text).WithHint("give x,y in pixels from the top left, for example 12.5,40")
		}
		in.fail(flag, err)
		*into = e.Value
		*u, _ = e.StandardU()
	}
	read(x, &p.X, &u.X)
	read(y, &p.Y, &u.Y)
	if !(p.X >= -0.5 && p.Y >= -0.5 && p.X <= float64(s.Width)-0.5 && p.Y <= float64(s.Height)-0.5) {
		in.fail(flag, fault.Invalidf("%s lies outside a frame of %d x %d pixels", text, s.Width, s.Height).WithHint("x counts from 0 to %d, y from 0 to %d", s.Width-1, s.Height-1))
	}
	return p, u
}
