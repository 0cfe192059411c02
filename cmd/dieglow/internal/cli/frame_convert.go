package cli

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
)

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
