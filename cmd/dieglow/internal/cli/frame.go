package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

func newFrame(app *App) *cobra.Command {
	commands := []*cobra.Command{newFrameInfo(app), newFrameStats(app), newFrameConvert(app), newFrameShow(app), newFrameEmissivity(app), newFrameCorrect(app)}
	for _, a := range frameAnalyses() {
		commands = append(commands, newFrameAnalysis(app, a))
	}
	return newGroup("frame", "Frame files in, numbers and pictures out, without a notebook", `Reads delimited text, 16-bit PNG, TIFF, NumPy .npy, FITS, and raw samples of a
stated size, single frames and stacks. A format is told by its content.`,
		"  dieglow frame info hot.npy\n  dieglow frame show hot.csv --unit degC --to hot.png",
		commands...)
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
