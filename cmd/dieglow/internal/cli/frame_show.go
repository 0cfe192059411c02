package cli

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/frame/picture"
	"dieglow/store"
)

// finite is nil for a value that JSON cannot hold.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// drawFlags declare how a frame is drawn.
func drawFlags(f *pflag.FlagSet) {
	textFlags(f, "ramp", "viridis, inferno or grey", "range", "lowest and highest value of the colour bar, 20..80 in the unit of the frame", "pixel", "what one pixel sees of the object, for a scale bar, 25um", "setup", "take that from a setup of the notebook", "title", "a line above the picture")
}

func newFrameShow(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use: "show FILE", Short: "A frame as a picture, in the terminal or as PNG",
		Long: `Without --to the frame is drawn in the terminal's cells. With --to a PNG is
written, with a colour bar, and a scale bar where the object pixel is known. The
colour ramps are published perceptual ones. Missing pixels stand out in magenta.`,
		Example: "  dieglow frame show hot.csv --unit degC\n  dieglow frame show hot.csv --unit degC --pixel 25um --to hot.png",
		Args:    args("a frame file"),
	}
	pickFlags(cmd.Flags())
	drawFlags(cmd.Flags())
	cmd.Flags().String("to", "", "write a PNG file")
	cmd.Flags().Bool("replace", false, "write over it if it is there")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		p, err := in.pick(args[0])
		if err != nil {
			return err
		}
		o, err := app.drawing(cmd, in)
		if err != nil {
			return err
		}
		app.noteAll(p.done)
		to, toFile := in.given("to")
		if !toFile && app.json {
			return fault.Usagef("a picture drawn in the terminal is not JSON").WithHint("add --to x.png, or use dieglow frame stats --json for numbers")
		}
		if !toFile {
			return app.drawCells(p, o)
		}
		if !strings.EqualFold(filepath.Ext(to), ".png") {
			return fault.Invalidf("%s does not end in .png", to).WithHint("pictures are written as PNG; dieglow frame convert writes numbers")
		}
		var b bytes.Buffer
		if err := picture.Encode(&b, p.Frame, o); err != nil {
			return err
		}
		var replace bool
		in.flag("replace", &replace)
		if err := writeFile(to, b.Bytes(), replace); err != nil {
			return err
		}
		return app.emit(map[string]any{"written": to, "object_pixel_um": o.ObjectPixelUM}, func() error {
			_, err := fmt.Fprintf(app.Out, "wrote %s\n", to)
			return err
		})
	}
	return cmd
}

// drawing reads drawFlags.
func (app *App) drawing(cmd *cobra.Command, in *input) (picture.Options, error) {
	var o picture.Options
	if text, ok := in.given("ramp"); ok {
		ramp, err := picture.ParseRamp(text)
		in.fail("ramp", err)
		o.Ramp = ramp
	}
	in.text("title", &o.Title)
	if low, high := in.interval("range", quantity.One); low != nil || high != nil {
		if low == nil || high == nil || !(*low < *high) {
			in.fail("range", fault.Invalidf("both ends of the colour bar are needed, the lower first").WithHint("give low..high in the unit of the frame, for example 20..80"))
		} else {
			o.Range = &[2]float64{*low, *high}
		}
	}
	var pixel *float64
	in.value("pixel", quantity.Micrometre, &pixel)
	if pixel != nil {
		o.ObjectPixelUM = *pixel
	}
	name, ok := in.given("setup")
	if !ok || in.err != nil {
		return o, in.err
	}
	return o, app.view(cmd.Context(), func(tx *store.Tx) error {
		s, err := store.Get[catalog.Setup](tx, name)
		o.ObjectPixelUM = s.Body.Figures.ObjectPixelUM
		return err
	})
}

// drawCells draws into the terminal, as large as it allows.
func (app *App) drawCells(p picked, o picture.Options) error {
	s := app.screen()
	if app.plain || app.Env("NO_COLOR") != "" || app.Env("TERM") == "dumb" {
		return fault.Usagef("a frame is drawn in colours, and none are wanted").WithHint("write a picture with --to hot.png; dieglow frame stats gives the numbers")
	}
	depth := picture.Colours256
	if c := app.Env("COLORTERM"); c == "truecolor" || c == "24bit" {
		depth = picture.TrueColour
	}
	lines, err := picture.Cells(p.Frame, picture.CellOptions{Columns: s.Width(), Rows: term.Rows(app.Out, app.Env) - 1, Ramp: o.Ramp, Depth: depth, Range: o.Range})
	if err != nil {
		return err
	}
	for _, l := range lines {
		if _, err := fmt.Fprintln(app.Out, l); err != nil {
			return err
		}
	}
	return nil
}
