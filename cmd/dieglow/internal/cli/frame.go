package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
)

func newFrame(app *App) *cobra.Command {
	return newGroup("frame", "Frame files in, numbers and pictures out, without a notebook", `Reads delimited text, 16-bit PNG, TIFF, NumPy .npy, FITS, and raw samples of a
stated size, single frames and stacks. A format is told by its content.`,
		"  dieglow frame info hot.npy\n  dieglow frame show hot.csv --unit degC --to hot.png",
		newFrameInfo(app), newFrameStats(app), newFrameConvert(app), newFrameShow(app), newFrameEmissivity(app), newFrameCorrect(app))
}

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

// frameInfo is what frame info gives as JSON.
type frameInfo struct {
	Format      string   `json:"format"`
	Width       int      `json:"width"`
	Height      int      `json:"height"`
	Frames      int      `json:"frames"`
	Sample      string   `json:"sample"`
	ByteOrder   string   `json:"byte_order"`
	Compression string   `json:"compression"`
	HasTime     bool     `json:"has_time"`
	Unit        string   `json:"unit"` // as the file calls it
	Notes       []string `json:"notes"`
}

func newFrameInfo(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use: "info FILE", Short: "What a frame file holds", Example: "  dieglow frame info stack.npy", Args: args("a frame file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			in := app.input(cmd)
			o := in.frameOptions()
			if in.err != nil {
				return in.err
			}
			info, err := countFrames(args[0], o)
			if err != nil {
				return err
			}
			out := frameInfo{string(info.Format), info.Width, info.Height, info.Frames, info.Sample.String(), info.ByteOrder, info.Compression, info.HasTime, info.UnitText, nonNil(info.Notes)}
			return app.emit(out, func() error {
				lines := [][3]string{{"format", out.Format, ""}, {"pixels", fmt.Sprintf("%d x %d", out.Width, out.Height), ""}, {"frames", fmt.Sprint(out.Frames), ""},
					{"samples", strings.TrimSpace(out.Sample + " " + out.ByteOrder), ""}}
				for _, opt := range [][2]string{{"compression", out.Compression}, {"unit", out.Unit}} {
					if opt[1] != "" {
						lines = append(lines, [3]string{opt[0], opt[1], ""})
					}
				}
				if out.HasTime {
					lines = append(lines, [3]string{"times", "every frame has one", ""})
				}
				for _, n := range out.Notes {
					lines = append(lines, [3]string{"note", n, ""})
				}
				return app.facts(args[0], lines)
			})
		},
	}
	frameFlags(cmd.Flags())
	return cmd
}

// countFrames returns what a file says about itself; where it does not say how
// many frames it holds, they are read.
func countFrames(path string, o frame.Options) (frame.Info, error) {
	s, err := frame.OpenStack(path, o)
	if err != nil {
		return frame.Info{}, err
	}
	defer s.Close()
	info := s.Info()
	if info.Frames >= 0 {
		return info, nil
	}
	info.Frames = 0
	var buffer []float64
	for {
		f, err := s.Next(buffer)
		if errors.Is(err, io.EOF) {
			return info, nil
		}
		if err != nil {
			return info, err
		}
		buffer = f.Pixels
		info.Frames++
	}
}

func newFrameStats(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use: "stats FILE", Short: "Extremes, mean and spread of a frame",
		Long:    "Columns and rows count from 0 at the top left. A stack needs --index or --mean.",
		Example: "  dieglow frame stats hot.csv --unit degC\n  dieglow frame stats stack.npy --mean --bad 6",
		Args:    args("a frame file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := app.input(cmd).pick(args[0])
			if err != nil {
				return err
			}
			st := p.Stats()
			unit := ""
			if p.Unit != frame.Unstated {
				unit = p.Unit.String()
			}
			app.noteAll(p.done)
			out := map[string]any{"width": p.Width, "height": p.Height, "unit": unit, "frames_averaged": p.frames, "min": finite(st.Min), "max": finite(st.Max), "mean": finite(st.Mean),
				"sd": finite(st.StdDev), "max_x": st.MaxX, "max_y": st.MaxY, "missing": st.MissingCount, "saturated": st.SaturatedCount, "done": nonNil(p.done)}
			return app.emit(out, func() error {
				show := func(v float64) string { return strings.TrimSpace(quantity.Fixed(v, 7) + " " + unit) }
				lines := [][3]string{{"pixels", fmt.Sprintf("%d x %d", p.Width, p.Height), ""},
					{"highest", show(st.Max) + fmt.Sprintf(" at column %d, row %d", st.MaxX, st.MaxY), ""}, {"lowest", show(st.Min), ""}, {"mean", show(st.Mean), ""}, {"standard deviation", show(st.StdDev), ""}}
				if st.MissingCount > 0 {
					lines = append(lines, [3]string{"missing pixels", fmt.Sprint(st.MissingCount), ""})
				}
				if st.SaturatedCount > 0 {
					lines = append(lines, [3]string{"saturated pixels", fmt.Sprint(st.SaturatedCount) + ": highest and mean are lower limits", ""})
				}
				return app.facts(args[0], lines)
			})
		},
	}
	pickFlags(cmd.Flags())
	return cmd
}

func newFrameConvert(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use: "convert FILE", Short: "Write frames in another format",
		Long: `The ending of --to chooses the format: .csv, .npy, .tif, .fits or .png (whole
counts only). All frames of a stack are written, unless --index or --mean picks.`,
		Example: "  dieglow frame convert hot.csv --to hot.npy\n  dieglow frame convert stack.tif --mean --to mean.tif",
		Args:    args("a frame file"),
	}
	pickFlags(cmd.Flags())
	cmd.Flags().String("to", "", "the file to write (needed)")
	cmd.Flags().Bool("replace", false, "write over it if it is there")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		to, ok := in.given("to")
		if !ok {
			return fault.Usagef("--to is needed").WithHint("name the file to write, for example --to hot.npy")
		}
		n, done, err := in.convert(args[0], to)
		if err != nil {
			return err
		}
		app.noteAll(done)
		return app.emit(map[string]any{"written": to, "frames": n}, func() error {
			_, err := fmt.Fprintf(app.Out, "wrote %s to %s\n", counted(n, "frame"), to)
			return err
		})
	}
	return cmd
}

// convert writes the frames of a file; without a choice all of them, one by one.
func (in *input) convert(path, to string) (n int, done []string, err error) {
	w, err := in.create(to)
	if err != nil {
		return 0, nil, err
	}
	defer w.Close()
	_, one := in.given("index")
	_, mean := in.given("mean")
	if one || mean {
		p, err := in.pick(path)
		if err == nil {
			err = w.Write(p.Frame)
		}
		if err != nil {
			return 0, nil, err
		}
		return 1, p.done, w.Commit()
	}
	o := in.frameOptions()
	if in.err != nil {
		return 0, nil, in.err
	}
	s, err := frame.OpenStack(path, o)
	if err != nil {
		return 0, nil, err
	}
	defer s.Close()
	for {
		f, err := s.Next(nil)
		if errors.Is(err, io.EOF) {
			return n, done, w.Commit()
		}
		if err != nil {
			return n, nil, err
		}
		if err := in.stateUnit(&f, s.Info()); err != nil {
			return n, nil, err
		}
		p := picked{Frame: f, frames: 1}
		if err := in.prepare(&p, o); err != nil {
			return n, nil, err
		}
		for _, d := range p.done {
			done = append(done, fmt.Sprintf("frame %d: %s", n, d))
		}
		if err := w.Write(p.Frame); err != nil {
			return n, nil, err
		}
		n++
	}
}

// create begins the file a command writes frames to.
func (in *input) create(to string) (*frame.Writer, error) {
	var o frame.Output
	in.flag("replace", &o.Replace)
	if text, ok := in.given("unit"); ok {
		unit, err := frame.ParseUnit(text)
		if err == nil {
			o.Unit = unit
		}
	}
	return frame.Create(to, o)
}

// writeFrame writes one frame to a file.
func (in *input) writeFrame(to string, f frame.Frame) error {
	w, err := in.create(to)
	if err != nil {
		return err
	}
	defer w.Close()
	if err := w.Write(f); err != nil {
		return err
	}
	return w.Commit()
}

// readSeveral reads frames that must be of one size, their numbers in unit.
func readSeveral(o frame.Options, unit radiometry.PixelUnit, paths ...string) ([]frame.Frame, error) {
	var out []frame.Frame
	for _, path := range paths {
		if _, err := os.Stat(path); err != nil {
			return nil, fault.NotFoundf("no file %s", path).WithHint("check the path")
		}
		f, info, err := frame.OpenFrame(path, -1, o)
		if err != nil {
			return nil, err
		}
		if err := fits(info, unit); err != nil {
			return nil, err
		}
		if len(out) > 0 && (f.Width != out[0].Width || f.Height != out[0].Height) {
			return nil, fault.Conflictf("%s has %d x %d pixels, the first frame %d x %d", path, f.Width, f.Height, out[0].Width, out[0].Height).WithHint("give frames of the same camera, cut alike")
		}
		out = append(out, f)
	}
	return out, nil
}
