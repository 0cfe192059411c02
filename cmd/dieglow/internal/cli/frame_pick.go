package cli

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// frameFlags declare how a file is to be read.
func frameFlags(f *pflag.FlagSet) {
	textFlags(f, "raw", "the file is nothing but samples: u16le, u16be, f32le or f32be", "size", "width x height of a raw file, or of text with one frame a row, 256x192",
		"saturation", "value from which a pixel counts as saturated")
}

// pickFlags declare which frame is meant and what is done to it first.
func pickFlags(f *pflag.FlagSet) {
	frameFlags(f)
	textFlags(f, "index", "which frame of a stack, from 0", "unit", "what the numbers mean: degC, K or counts",
		"subtract", "a reference frame to subtract, for non-uniformity",
		"bad", "find pixels that stand out of their neighbours by so many robust standard deviations, and replace them; 6 is usual",
		"orient", "rotate-90, rotate-180, rotate-270, mirror-left-right or mirror-top-bottom", "crop", "part of the frame: column,row,width,height", "bin", "average blocks of so many pixels squared")
	f.Bool("mean", false, "the mean of all frames of a stack")
}

// frameOptions reads frameFlags.
func (in *input) frameOptions() frame.Options {
	var o frame.Options
	if text, ok := in.given("raw"); ok {
		r, err := frame.ParseRaw(text)
		in.fail("raw", err)
		o.Raw = &r
	}
	if text, ok := in.given("size"); ok {
		var err error
		o.Width, o.Height, err = quantity.ParsePixels(text)
		in.fail("size", err)
	}
	if text, ok := in.given("saturation"); ok {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			in.fail("saturation", fault.Invalidf("%q is not a number", text).WithHint("give the value in the unit of the file, for example 65535"))
		}
		o.Saturation = &v
	}
	return o
}

// picked is a frame with what was done to it.
type picked struct {
	frame.Frame
	info   frame.Info
	frames int // averaged; 1 for a single frame
	done   []string
}

// pick reads the frame that pickFlags name and prepares it.
func (in *input) pick(path string) (picked, error) {
	options := in.frameOptions()
	var p picked
	var mean bool
	in.flag("mean", &mean)
	index := -1
	chosen := &index
	in.count("index", &chosen)
	if in.err == nil && chosen != &index {
		switch {
		case mean:
			return p, fault.Usagef("one frame and the mean of all are both asked for").WithHint("give --index or --mean")
		case chosen == nil || *chosen < 0:
			return p, fault.Invalidf("--index does not say which frame").WithHint("frames count from 0: the first is --index 0")
		}
	}
	if in.err != nil {
		return p, in.err
	}
	var err error
	if p.frames = 1; mean {
		err = p.average(path, options)
	} else {
		p.Frame, p.info, err = frame.OpenFrame(path, *chosen, options)
	}
	if err != nil {
		return p, err
	}
	if err := in.stateUnit(&p.Frame, p.info); err != nil {
		return p, err
	}
	return p, in.prepare(&p, options)
}

// stateUnit gives a frame the unit of --unit, if there is one. Fault Conflict
// when the file states another.
func (in *input) stateUnit(f *frame.Frame, info frame.Info) error {
	text, ok := in.given("unit")
	if !ok {
		return nil
	}
	unit, err := frame.ParseUnit(text)
	if err != nil {
		in.fail("unit", err)
		return in.err
	}
	if said := fileUnit(info); said != frame.Unstated && said != unit {
		return otherUnit(said, unit.String())
	}
	f.Unit = unit
	return nil
}

// fileUnit returns the unit a file states itself, if it is one that is known here.
func fileUnit(info frame.Info) frame.Unit {
	unit, err := frame.ParseUnit(info.UnitText)
	if err != nil {
		return frame.Unstated
	}
	return unit
}

// otherUnit says that a file states another unit than was typed.
func otherUnit(file frame.Unit, typed string) error {
	return fault.Conflictf("the file says that its numbers are in %s, and --unit says %s", file, typed).WithHint("give --unit %s, or write the file again with the unit it is in", file)
}

func (p *picked) average(path string, o frame.Options) error {
	s, err := frame.OpenStack(path, o)
	if err != nil {
		return err
	}
	defer s.Close()
	p.info = s.Info()
	a, err := s.Average()
	if err != nil {
		return err
	}
	p.Frame, p.frames = a.Mean, a.Frames
	p.done = append(p.done, fmt.Sprintf("mean of %d frames: noise x %s; %s", a.Frames, quantity.Fixed(frame.NoiseFactor(a.Frames), 3), frame.NoiseCaveat))
	return nil
}

// prepare does what the flags ask, in the order: reference, bad pixels,
// orientation, part, blocks.
func (in *input) prepare(p *picked, o frame.Options) error {
	if path, ok := in.given("subtract"); ok {
		reference, _, err := frame.OpenFrame(path, -1, o)
		if err != nil {
			return err
		}
		if reference.Unit == frame.Unstated { // as the frame's, which --unit states
			reference.Unit = p.Unit
		}
		if p.Frame, err = p.Subtract(reference); err != nil {
			return err
		}
		p.done = append(p.done, "reference subtracted: the noise of both frames adds up in squares")
	}
	if text, ok := in.given("bad"); ok {
		k, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return fault.Invalidf("--bad: %q is not a number", text).WithHint("give a number of standard deviations, for example 6")
		}
		bad, err := p.FindBad(k)
		if err != nil {
			return err
		}
		var replaced []frame.Replaced
		if p.Frame, replaced, err = p.Replace(bad); err != nil {
			return err
		}
		p.done = append(p.done, badText(replaced))
	}
	if text, ok := in.given("orient"); ok {
		o, err := frame.ParseOrientation(text)
		if err != nil {
			return err
		}
		p.Frame = p.Orient(o)
		p.done = append(p.done, "turned: "+o.String())
	}
	if text, ok := in.given("crop"); ok {
		r, err := parseRect(text)
		if err != nil {
			return err
		}
		if p.Frame, err = p.Crop(r); err != nil {
			return err
		}
		p.done = append(p.done, "cut to "+text)
	}
	if text, ok := in.given("bin"); ok {
		n, err := strconv.Atoi(text)
		if err != nil {
			return fault.Invalidf("--bin: %q is not a whole number", text).WithHint("give 2, 3, 4 ...")
		}
		if p.Frame, err = p.Bin(n); err != nil {
			return err
		}
		p.done = append(p.done, fmt.Sprintf("blocks of %d x %d averaged: noise x %s", n, n, quantity.Fixed(frame.NoiseFactor(n*n), 3)))
	}
	return in.err
}

// badText names the pixels that were replaced, never silently.
func badText(replaced []frame.Replaced) string {
	if len(replaced) == 0 {
		return "no pixel stood out of its neighbours"
	}
	var parts []string
	for i, r := range replaced {
		if i == 20 {
			parts = append(parts, fmt.Sprintf("and %d more", len(replaced)-i))
			break
		}
		parts = append(parts, fmt.Sprintf("(%d, %d): %s by %s", r.X, r.Y, quantity.Fixed(r.Old, 5), quantity.Fixed(r.New, 5)))
	}
	return fmt.Sprintf("%s replaced by the median of good neighbours: %s", counted(len(replaced), "pixel"), strings.Join(parts, ", "))
}

// parseRect reads "column,row,width,height".
func parseRect(text string) (frame.Rect, error) {
	bad := fault.Invalidf("%q is not a part of a frame", text).WithHint("give column,row,width,height in pixels from the top left, for example 10,20,64,48")
	parts := strings.Split(text, ",")
	if len(parts) != 4 {
		return frame.Rect{}, bad
	}
	var v [4]int
	for i, p := range parts {
		n, err := strconv.Atoi(strings.TrimSpace(p))
		if err != nil || n < 0 {
			return frame.Rect{}, bad
		}
		v[i] = n
	}
	return frame.Rect{X: v[0], Y: v[1], Width: v[2], Height: v[3]}, nil
}

func (app *App) noteAll(lines []string) {
	for _, l := range lines {
		app.notef("%s", l)
	}
}
