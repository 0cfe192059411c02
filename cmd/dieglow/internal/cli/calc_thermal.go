package cli

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/radiometry"
	"dieglow/notebook/temperature"
	"dieglow/notebook/uncertainty"
)

// bandFlags declare what the camera sees.
func bandFlags(f *pflag.FlagSet) {
	textFlags(f, "band", "spectral band, 8um..14um", "response", "a table of wavelength in µm and relative response, in place of --band")
}

// sceneFlags declare what lies between an object and a reading.
func sceneFlags(f *pflag.FlagSet) {
	bandFlags(f)
	textFlags(f, "emissivity", `emissivity, "0.80(3)"`, "reflected", "reflected apparent temperature",
		"path-transmission", "transmission of the air path", "path", "temperature of the air path")
	f.StringArray("transmission", nil, "transmission of an optical element; may be repeated, from the object to the camera")
	f.StringArray("optics", nil, "temperature of that element; as often as --transmission")
}

// band reads --band or --response.
func (in *input) band() (*radiometry.Band, error) {
	text, hasBand := in.given("band")
	path, hasResponse := in.given("response")
	switch {
	case hasBand == hasResponse:
		return nil, fault.Usagef("the camera's spectral band is needed, once").WithHint("give --band 8um..14um, or --response FILE")
	case hasBand:
		low, high, err := quantity.ParseBand(text)
		if err != nil {
			return nil, err
		}
		return radiometry.NewBand(low, high)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.NotFoundf("the response table cannot be opened").Because(err).WithHint("name a file with two columns, wavelength in µm and relative response")
	}
	defer f.Close()
	return radiometry.ReadResponse(f)
}

// needed reads an estimate that the command cannot do without.
func (in *input) needed(flag string, unit quantity.Unit, example string) quantity.Estimate {
	var e *quantity.Estimate
	in.estimate(flag, unit, &e)
	if e == nil {
		if in.err == nil {
			in.err = fault.Usagef("--%s is needed", flag).WithHint("add --%s %s", flag, example)
		}
		return quantity.Estimate{}
	}
	return *e
}

// estimates reads a flag that may be repeated.
func (in *input) estimates(flag string, unit quantity.Unit) []quantity.Estimate {
	var texts []string
	in.list(flag, &texts)
	var out []quantity.Estimate
	for _, t := range texts {
		e, err := quantity.Parse(t, unit)
		in.fail(flag, err)
		out = append(out, e)
	}
	return out
}

// single reads a flag that is given once or not at all.
func (in *input) single(flag string, unit quantity.Unit) []quantity.Estimate {
	var e *quantity.Estimate
	if in.estimate(flag, unit, &e); e == nil {
		return nil
	}
	return []quantity.Estimate{*e}
}

// scene reads the flags of sceneFlags.
func (in *input) scene() (temperature.Scene, error) {
	band, err := in.band()
	if err != nil {
		return temperature.Scene{}, err
	}
	s := temperature.Scene{Band: band, Emissivity: in.needed("emissivity", quantity.One, "0.95"), ReflectedK: in.needed("reflected", quantity.Kelvin, "23C")}
	path, err := temperature.Elements("path", in.single("path-transmission", quantity.One), in.single("path", quantity.Kelvin))
	if err != nil {
		return s, err
	}
	optics, err := temperature.Elements("optics", in.estimates("transmission", quantity.One), in.estimates("optics", quantity.Kelvin))
	if err != nil {
		return s, err
	}
	s.Elements = append(path, optics...)
	return s, in.err
}

func newCalcRadiance(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "radiance",
		Short:   "Radiance of a blackbody in a band",
		Example: "  dieglow calc radiance --temperature 300K --band 8um..14um",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			in := app.input(cmd)
			k := in.needed("temperature", quantity.Kelvin, "300K").Value
			if in.err != nil {
				return in.err
			}
			band, err := in.band()
			if err != nil {
				return err
			}
			f, err := band.At(k)
			if err != nil {
				return err
			}
			return app.emit(struct {
				TemperatureK float64 `json:"temperature_k"`
				Band         string  `json:"band"`
				radiometry.Figures
				Source string `json:"source"`
			}{k, band.String(), f, planckSource}, func() error {
				return app.facts("blackbody at "+quantity.Shown(k, 6, quantity.Kelvin)+", "+band.String(), [][3]string{
					{"radiance", quantity.Fixed(f.RadianceWM2SR, 9) + " W m⁻² sr⁻¹", "computed"},
					{"derivative", quantity.Fixed(f.DerivativeWM2SRK, 9) + " W m⁻² sr⁻¹ K⁻¹", "computed"},
					{"exponent d ln L / d ln T", quantity.Fixed(f.Exponent, 7), "computed"},
					{"source", planckSource, ""},
				})
			})
		},
	}
	textFlags(cmd.Flags(), "temperature", "temperature of the blackbody")
	bandFlags(cmd.Flags())
	return cmd
}

const planckSource = "Planck's law with the exact SI constants (CODATA 2018), integrated over the band"

// facts prints label, value, origin lines under a title.
func (app *App) facts(title string, lines [][3]string) error {
	t := term.Table{Columns: []term.Column{{Header: title}, {}, {}}}
	for _, l := range lines {
		t.Rows = append(t.Rows, l[:])
	}
	return app.screen().Table(t)
}

func newCalcApparent(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "apparent",
		Short: "What a camera reports of an object of known temperature",
		Long: `The measurement equation forwards: emission of the object, reflection off it, the
air path, and optics that pass some and emit at their own temperature.`,
		Example: "  dieglow calc apparent --object 85C --emissivity 0.6 --reflected 23C --transmission 0.9 --optics 25C --band 8um..14um",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			in := app.input(cmd)
			object := in.needed("object", quantity.Kelvin, "85C").Value
			if in.err != nil {
				return in.err
			}
			scene, err := in.scene()
			if err != nil {
				return err
			}
			equation, err := scene.Equation()
			if err != nil {
				return err
			}
			signal, err := equation.Apparent(object)
			if err != nil {
				return err
			}
			apparentC := signal.ApparentK - quantity.CelsiusZeroK
			return app.emit(struct {
				ApparentC     float64 `json:"apparent_c"`
				RadianceWM2SR float64 `json:"radiance_w_m2_sr"`
				Transmission  float64 `json:"transmission"` // of path and optics together
			}{apparentC, signal.RadianceWM2SR, equation.Transmission()}, func() error {
				return app.facts("object at "+quantity.Shown(object, 6, quantity.Kelvin)+", "+scene.Band.String(), [][3]string{
					{"apparent temperature", quantity.Fixed(apparentC, 7) + " °C", "computed"},
					{"radiance at the camera", quantity.Fixed(signal.RadianceWM2SR, 9) + " W m⁻² sr⁻¹", "computed"},
					{"transmission of path and optics", quantity.Fixed(equation.Transmission(), 6), "computed"},
				})
			})
		},
	}
	textFlags(cmd.Flags(), "object", "temperature of the object")
	sceneFlags(cmd.Flags())
	return cmd
}

// calcObject is what calc object gives as JSON.
type calcObject struct {
	temperature.Budget
	MCMeanC *float64 `json:"mc_mean_c,omitempty"`
	MCSDK   *float64 `json:"mc_sd_k,omitempty"`
	MCLowC  *float64 `json:"mc_low_c,omitempty"` // as much probability below as above
	MCHighC *float64 `json:"mc_high_c,omitempty"`
}

func newCalcObject(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "object",
		Short: "The temperature of an object from an apparent one, with its uncertainty",
		Long: `The measurement equation backwards, with a budget of its uncertainty (JCGM 100).
Where first order will not do, or with --monte-carlo, trials are run (JCGM 101).
An input typed without an uncertainty is taken as exact and named.`,
		Example: `  dieglow calc object --apparent "62.0(5) C" --emissivity "0.80(3)" --reflected "23.0(15) C" --transmission "0.90(1)" --optics "25(1) C" --band 8um..14um
  dieglow calc object --apparent 62C --emissivity 0.8 --reflected 23C --band 8um..14um --monte-carlo 1000000 --seed 1`,
		Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error { return app.calcObject(cmd) },
	}
	textFlags(cmd.Flags(), "apparent", "what the camera reports", "monte-carlo", "run so many trials", "seed", "of the trials; 1 unless given")
	sceneFlags(cmd.Flags())
	return cmd
}

func (app *App) calcObject(cmd *cobra.Command) error {
	in := app.input(cmd)
	apparent := in.needed("apparent", quantity.Kelvin, "62C")
	options := in.trials()
	if in.err != nil {
		return in.err
	}
	scene, err := in.scene()
	if err != nil {
		return err
	}
	result, err := scene.Object(cmd.Context(), apparent, options)
	if err != nil {
		return err
	}
	out := calcObject{Budget: temperature.NewBudget(result, scene.Unevaluated(apparent))}
	if m := out.Budget.MonteCarlo; m != nil {
		out.MCMeanC, out.MCSDK, out.MCLowC, out.MCHighC = &m.MeanC, &m.SDK, &m.LowC, &m.HighC
	}
	return app.emit(out, func() error { return app.printBudget("object temperature, "+scene.Band.String(), out.Budget) })
}

// trials reads --monte-carlo and --seed.
func (in *input) trials() uncertainty.Options {
	var o uncertainty.Options
	var count, seed *int
	in.count("monte-carlo", &count)
	in.count("seed", &seed)
	o.Trials.Seed = 1
	if seed != nil {
		if *seed < 0 {
			in.fail("seed", fault.Invalidf("a seed of %d is not possible", *seed).WithHint("give a whole number from 0 up"))
		}
		o.Trials.Seed = uint64(max(0, *seed))
	}
	if count != nil {
		o.MonteCarlo, o.Trials.Count = true, *count
		if *count < 1000 || *count > 100_000_000 {
			in.fail("monte-carlo", fault.Invalidf("%d trials are too few or too many", *count).WithHint("give between 1000 and 100000000, for example 1000000"))
		}
	}
	return o
}

// printBudget prints a temperature with its budget, largest contribution first.
func (app *App) printBudget(title string, b temperature.Budget) error {
	object := quantity.Fixed(b.ObjectC, 6) + " °C, uncertainty not evaluated: no input carries one"
	lines := [][3]string{}
	if b.UK != nil {
		object = quantity.With(b.ObjectC+quantity.CelsiusZeroK, *b.UK).Format(quantity.Kelvin)
		lines = append(lines, [3]string{fmt.Sprintf("%s %% interval", quantity.Fixed(b.Level*100, 4)), quantity.Fixed(*b.LowC, 4) + " to " + quantity.Fixed(*b.HighC, 4) + " °C", intervalOrigin(b)})
	}
	origin := "computed"
	if b.Method == string(uncertainty.ByMonteCarlo) {
		origin = "first order, not adequate: see the interval"
	}
	lines = append([][3]string{{"object temperature", object, origin}}, lines...)
	if m := b.MonteCarlo; m != nil {
		lines = append(lines, [3]string{"trials", fmt.Sprintf("mean %s °C, standard deviation %s K", quantity.Fixed(m.MeanC, 4), quantity.Fixed(m.SDK, 4)), fmt.Sprintf("%d, %d without a solution", m.Count, m.Failed)},
			[3]string{"  symmetric interval", quantity.Fixed(m.LowC, 4) + " to " + quantity.Fixed(m.HighC, 4) + " °C", ""},
			[3]string{"  shortest interval", quantity.Fixed(m.ShortestLowC, 4) + " to " + quantity.Fixed(m.ShortestHighC, 4) + " °C", ""})
	}
	if err := app.facts(title, lines); err != nil {
		return err
	}
	fmt.Fprintln(app.Out)
	t := term.Table{Columns: []term.Column{{Header: "input"}, {Header: "value", Align: term.Right}, {Header: "u", Align: term.Right}, {Header: "sensitivity", Align: term.Right}, {Header: "contribution", Align: term.Right}, {Header: "share", Align: term.Right}}}
	for _, r := range b.Rows {
		c := "-"
		contribution, share := temperature.ShowContribution(r)
		if r.Sensitivity != nil {
			c = quantity.Fixed(*r.Sensitivity, 4)
		}
		t.Rows = append(t.Rows, []string{r.Input, temperature.ShowValue(r), temperature.ShowU(r), c, contribution, share})
	}
	if err := app.screen().Table(t); err != nil {
		return err
	}
	fmt.Fprintln(app.Out)
	leftOut := ""
	if b.MonteCarlo != nil {
		leftOut = b.MonteCarlo.LeftOutText()
	}
	for _, s := range []string{exactText(b.Exact), leftOut, b.Why, b.Advice} {
		if s == "" {
			continue
		}
		if err := app.screen().Markdown([]byte(s + "\n")); err != nil {
			return err
		}
	}
	return nil
}

// exactText names the inputs whose uncertainty was not evaluated.
func exactText(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return "Not in the budget, since not evaluated: " + strings.Join(names, ", ") + ". The uncertainty is a lower bound."
}

// intervalOrigin says by which method the interval was found, and of which kind
// it is when trials found it.
func intervalOrigin(b temperature.Budget) string {
	if b.Method == string(uncertainty.ByMonteCarlo) {
		return b.Method + ", shortest"
	}
	return b.Method
}
