package cli

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
	"dieglow/notebook/temperature"
)

func newFrameCorrect(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "correct FILE",
		Short: "Object temperatures from apparent ones, pixel by pixel",
		Long: `Every frame of the file is corrected with one emissivity (--emissivity) or with a
map (--emissivity-map). Pixels without a solution become missing and are counted
by reason. The result is in degrees Celsius.`,
		Example: `  dieglow frame correct hot.npy --unit degC --emissivity-map eps.npy --reflected 23C --transmission 0.88 --optics 25C --band 8um..14um --to object.npy`,
		Args:    args("a frame file"),
		RunE:    func(cmd *cobra.Command, args []string) error { return app.frameCorrect(cmd, args[0]) },
	}
	f := cmd.Flags()
	frameFlags(f)
	sceneFlags(f)
	textFlags(f, "emissivity-map", "a frame of emissivities", "unit", "what the numbers mean: degC, K or radiance", "to", "the file to write (needed)")
	f.Bool("replace", false, "write over it if it is there")
	return cmd
}

func (app *App) frameCorrect(cmd *cobra.Command, path string) error {
	in := app.input(cmd)
	to, ok := in.given("to")
	if !ok {
		return fault.Usagef("--to is needed").WithHint("name the file to write, for example --to object.npy")
	}
	unit, o := in.pixelUnit(), in.frameOptions()
	if in.err != nil {
		return in.err
	}
	mapPath, hasMap := in.given("emissivity-map")
	scene, err := in.mappedScene(hasMap)
	if err != nil {
		return err
	}
	var eps *frame.Frame
	if hasMap {
		f, _, err := frame.OpenFrame(mapPath, -1, frame.Options{})
		if err != nil {
			return err
		}
		eps = &f
	}
	w, err := frame.Create(to, frame.Output{Unit: frame.DegC, Replace: in.isSet("replace")})
	if err != nil {
		return err
	}
	defer w.Close()
	n, tally, hottest, err := correctAll(path, o, scene, unit, eps, w)
	if err != nil {
		return err
	}
	if err := w.Commit(); err != nil {
		return err
	}
	return app.emit(map[string]any{"written": to, "frames": n, "unsolved": temperature.Unsolved(tally), "max_c": finite(hottest)}, func() error {
		lines := [][3]string{{"frames", fmt.Sprint(n), ""}, {"hottest", quantity.Fixed(hottest, 6) + " °C", "computed"}}
		for reason, count := range temperature.Unsolved(tally) {
			lines = append(lines, [3]string{"pixels without a temperature, " + reason, fmt.Sprint(count), ""})
		}
		return app.facts("wrote "+to, lines)
	})
}

// isSet reports whether a switch is on.
func (in *input) isSet(flag string) bool {
	var v bool
	in.flag(flag, &v)
	return v
}

// mappedScene reads a scene; with an emissivity map its one emissivity is not needed.
func (in *input) mappedScene(hasMap bool) (temperature.Scene, error) {
	if _, given := in.given("emissivity"); given && hasMap {
		return temperature.Scene{}, fault.Usagef("an emissivity and a map of it are both given").WithHint("give --emissivity or --emissivity-map")
	}
	if hasMap {
		given := in.given
		in.given = func(flag string) (string, bool) {
			if flag == "emissivity" {
				return "1", true
			}
			return given(flag)
		}
		defer func() { in.given = given }()
	}
	return in.scene()
}

// correctAll corrects the frames of a file one by one.
func correctAll(path string, o frame.Options, scene temperature.Scene, unit radiometry.PixelUnit, eps *frame.Frame, w *frame.Writer) (n int, tally radiometry.Tally, hottest float64, err error) {
	s, err := frame.OpenStack(path, o)
	if err != nil {
		return 0, tally, 0, err
	}
	defer s.Close()
	if err := fits(s.Info(), unit); err != nil {
		return 0, tally, 0, err
	}
	var c *radiometry.Corrector
	var buffer []float64
	for {
		f, err := s.Next(buffer)
		if errors.Is(err, io.EOF) {
			return n, tally, hottest, nil
		}
		if err != nil {
			return n, tally, hottest, err
		}
		buffer = f.Pixels
		if c == nil {
			if c, err = temperature.NewCorrector(scene, unit, f); err != nil {
				return n, tally, hottest, err
			}
		}
		object, t, err := temperature.Correct(c, f, eps)
		if err != nil {
			return n, tally, hottest, err
		}
		for i := range t {
			tally[i] += t[i]
		}
		if st := object.Stats(); n == 0 || st.Max > hottest {
			hottest = st.Max
		}
		n++
		if err := w.Write(object); err != nil {
			return n, tally, hottest, err
		}
	}
}
