package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
)

func newCalcStack(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "stack FILE",
		Short: "Focal length, principal planes and image of a stack of lenses",
		Long: `FILE is JSON; - reads standard input. Light meets the elements first to last.

  {"wavelength_um": 10, "elements": [
    {"material": "germanium", "radius1_mm": 25, "radius2_mm": 37.5,
     "thickness_mm": 3, "gap_after_mm": 1.5},
    {"focal_mm": 30}]}

A thick lens has "material" (and optionally "dataset") or the index "n", both
radii and the thickness; a positive radius has its centre behind the surface,
and null is a plane. A thin lens has "focal_mm" alone. A mirror
has "mirror_radius_mm", negative where it is concave towards the light and null
where it is flat, and "reflectance"; light that it sends back is drawn as going
on, so that gaps stay positive. Any of them may have "name",
"diameter_mm", with which it is checked that the lens is possible, and
"gap_after_mm", the air to the next lens; a gap not stated is taken as 0 and
listed as assumed, and the one after the last lens has no effect.
"wavelength_um" is needed where a material is named.

The front focal length counts from the first vertex, positive to the left; the
other distances are positive to the right. In an afocal stack they are null in
JSON. --ray traces exact rays beside the first-order figures, and then surfaces
that cross are refused. The matrix is that of (height, index times slope).`,
		Example: `  dieglow calc stack stack.json
  dieglow calc stack stack.json --object 20mm --json
  dieglow calc stack stack.json --ray 0.5mm --ray 2mm
  echo '{"elements": [{"focal_mm": 50, "gap_after_mm": 10}, {"focal_mm": 25}]}' | dieglow calc stack -`,
		Args: args("a FILE, or - for standard input"),
	}
	cmd.Flags().Bool("extrapolate", false, "allow a wavelength outside a data set's range")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	cmd.Flags().StringArray("ray", nil, "trace an exact ray parallel to the axis at this height; may be repeated")
	objectFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		object := in.object()
		var extrapolate, explain bool
		in.flag("extrapolate", &extrapolate)
		in.flag("explain", &explain)
		if in.err != nil {
			return in.err
		}
		task, err := app.stackTask(args[0], extrapolate)
		if err != nil {
			return err
		}
		task.objectMM, task.explain = object, explain
		for _, e := range in.estimates("ray", quantity.Millimetre) {
			task.raysMM = append(task.raysMM, e.Value)
		}
		if in.err != nil {
			return in.err
		}
		return task.show(app)
	}
	return cmd
}

// stackTask reads a stack from a file, or from standard input for "-".
func (app *App) stackTask(name string, extrapolate bool) (calcTask, error) {
	data, err := app.readSmall(name)
	if err != nil {
		return calcTask{}, err
	}
	task, err := readStackFile(data, extrapolate)
	if err != nil {
		if name == "-" {
			name = "standard input"
		}
		return calcTask{}, (&fault.Error{Kind: fault.KindOf(err), Msg: name}).Because(err)
	}
	return task, nil
}

// maxStackBytes bounds a stack file; a description of a thousand lenses is smaller.
const maxStackBytes = 1 << 20

// readSmall reads a file, or standard input for "-". Faults NotFound, Invalid
// when it is a folder or too large to be a stack.
func (app *App) readSmall(name string) ([]byte, error) {
	from := app.In
	if name != "-" {
		f, err := os.Open(name)
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fault.NotFoundf("there is no file %q", name).WithHint("name a JSON file, or - to read standard input; dieglow calc stack --help shows what it holds")
		}
		if err != nil {
			return nil, fmt.Errorf("read the stack: %w", err)
		}
		defer f.Close()
		if info, err := f.Stat(); err == nil && info.IsDir() {
			return nil, fault.Invalidf("%q is a folder", name).WithHint("name a JSON file in it")
		}
		from = f
	}
	data, err := io.ReadAll(io.LimitReader(from, maxStackBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read the stack: %w", err)
	}
	if len(data) > maxStackBytes {
		return nil, fault.Invalidf("%q is larger than 1 MiB and no description of a stack", name).WithHint("name a JSON file as dieglow calc stack --help shows it")
	}
	return data, nil
}

// rayTable shows exact rays.
func (r calcResult) rayTable() term.Table {
	t := term.Table{Columns: []term.Column{{Header: "exact ray at height", Align: term.Right}, {Header: "crosses the axis, from the last vertex", Align: term.Right}, {Header: "slope", Align: term.Right}, {Header: "outcome"}}}
	for _, ray := range r.Rays {
		crossing, slope := "-", "-"
		if ray.AxisCrossingMM != nil {
			crossing = quantity.Fixed(*ray.AxisCrossingMM, 7) + " mm"
		}
		if ray.SlopeOut != nil {
			slope = quantity.Fixed(*ray.SlopeOut, 6)
		}
		t.Rows = append(t.Rows, []string{quantity.Fixed(ray.YInMM, 6) + " mm", crossing, slope, ray.Outcome})
	}
	return t
}
