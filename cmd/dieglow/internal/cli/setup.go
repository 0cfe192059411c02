package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/radiometry"
	"dieglow/notebook/report"
	"dieglow/store"
)

func setupNoun() noun[catalog.Setup] {
	return noun[catalog.Setup]{
		kind: catalog.KindSetup, plural: "setups",
		short: "Lens stacks before a camera, with their computed figures",
		long: `The stack is written from the specimen to the camera, lenses and gaps in turn;
the last gap reaches the camera's lens. A lens may be followed by the word
flipped, a plane mirror by its angle of incidence, as in "fold 45deg". --focus is the distance the camera is focused at, from its lens.

The figures are computed by paraxial ray transfer through the lenses as recorded,
and kept with the revision. A revision that a capture uses is frozen: amending
makes a new one.`,
		example: `  dieglow setup add close --camera cam-a --stack "ge25, 2mm, ge25 flipped, 2mm, zn30, 4mm" --focus infinity`,
		amended: `  dieglow setup amend close --stack "ge25, 1mm, ge25 flipped, 4mm" --reason "third lens removed"
  dieglow setup amend close --reason "takes over the measured focal length of ge25"`,
		fresh: func() catalog.Setup { return catalog.Setup{} },
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "camera", "the camera", "stack", "lenses and gaps from the specimen to the camera's lens", "focus", "infinity, or a distance from the camera's lens",
				"wavelength", "where the figures are to hold; the middle of the camera's band unless given", "notes", "anything else")
		},
		apply: setupApply, ready: setupReady, warn: setupWarnings,
		facts: setupFacts,
		brief: func(s catalog.Setup) string {
			f := s.Figures
			return fmt.Sprintf("predicted %s µm a pixel, %s mm working distance, %s x %s mm field, limit %s µm",
				quantity.Fixed(f.ObjectPixelUM, 3), quantity.Fixed(f.WorkingDistanceMM, 3), quantity.Fixed(f.FieldXMM, 3), quantity.Fixed(f.FieldYMM, 3), quantity.Fixed(f.PredictedUM, 3))
		},
		columns: []term.Column{{Header: "camera"}, {Header: "lenses", Align: term.Right}, {Header: "pixel", Align: term.Right}, {Header: "working distance", Align: term.Right}, {Header: "field", Align: term.Right}, {Header: "predicted limit", Align: term.Right}},
		row: func(_ *store.Tx, r notebook.Record[catalog.Setup]) ([]string, error) {
			f := r.Body.Figures
			return []string{r.Body.Camera.Handle, fmt.Sprint(len(r.Body.Stack)), quantity.Fixed(f.ObjectPixelUM, 3) + " µm", quantity.Fixed(f.WorkingDistanceMM, 3) + " mm",
				quantity.Fixed(f.FieldXMM, 3) + " x " + quantity.Fixed(f.FieldYMM, 3) + " mm", quantity.Fixed(f.PredictedUM, 3) + " µm"}, nil
		},
	}
}

func newSetup(app *App) *cobra.Command {
	n := setupNoun()
	group := n.group(app, newSetupPlan(app))
	for _, c := range group.Commands() {
		if c.Name() == "show" {
			explainSetup(app, c)
			exactShow(app, c)
			drawShow(app, c)
		}
	}
	return group
}

func setupApply(in *input, tx *store.Tx, s *catalog.Setup) error {
	if name, ok := in.given("camera"); ok {
		cam, err := store.Get[catalog.Camera](tx, name)
		if err != nil {
			return err
		}
		s.Camera = cam.Ref
	}
	if s.Camera.ID == "" {
		return fault.Invalidf("a setup needs its camera").WithHint("give --camera NAME; dieglow camera list shows the cameras")
	}
	if text, ok := in.given("stack"); ok {
		seats, err := readStack(tx, text)
		if err != nil {
			return err
		}
		s.Stack = seats
	} else if len(s.Stack) > 0 {
		if err := takeNewestParts(tx, s, in); err != nil {
			return err
		}
	}
	if text, ok := in.given("focus"); ok {
		s.FocusMM = nil
		if t := strings.ToLower(strings.TrimSpace(text)); t != "infinity" && t != "inf" {
			in.value("focus", quantity.Millimetre, &s.FocusMM)
		}
	}
	cam, err := store.GetRef[catalog.Camera](tx, s.Camera)
	if err != nil {
		return err
	}
	if s.WavelengthUM == 0 {
		s.WavelengthUM = cam.Body.MidBandUM()
	}
	in.must("wavelength", quantity.Micrometre, &s.WavelengthUM)
	if w := s.WavelengthUM; in.err == nil && !(w >= cam.Body.BandLowUM && w <= cam.Body.BandHighUM) {
		return fault.Invalidf("the wavelength %s µm lies outside the camera's band, %s to %s µm", quantity.Fixed(w, 5), quantity.Fixed(cam.Body.BandLowUM, 5), quantity.Fixed(cam.Body.BandHighUM, 5)).
			WithHint("give a wavelength within the band, or leave --wavelength out for its middle")
	}
	in.text("notes", &s.Notes)
	return nil
}

// readStack looks up the lenses of a stack as typed.
func readStack(tx *store.Tx, text string) ([]catalog.Seat, error) {
	terms, err := catalog.ParseStack(text)
	if err != nil {
		return nil, err
	}
	var seats []catalog.Seat
	for _, t := range terms {
		lens, err := store.Get[catalog.Lens](tx, t.Lens)
		if err != nil {
			return nil, err
		}
		seats = append(seats, catalog.Seat{Lens: lens.Ref, Name: lens.Name, Flipped: t.Flipped, IncidenceDeg: t.IncidenceDeg, GapAfterMM: t.GapAfterMM})
	}
	return seats, nil
}

// takeNewestParts moves an amended setup on to the newest revisions of its parts.
func takeNewestParts(tx *store.Tx, s *catalog.Setup, in *input) error {
	for i := range s.Stack {
		lens, err := store.Get[catalog.Lens](tx, s.Stack[i].Lens.ID)
		if err != nil {
			return err
		}
		s.Stack[i].Lens, s.Stack[i].Name = lens.Ref, lens.Name
	}
	if _, ok := in.given("camera"); ok {
		return nil
	}
	cam, err := store.Get[catalog.Camera](tx, s.Camera.ID)
	s.Camera = cam.Ref
	return err
}

// setupParts reads the revisions a setup names.
func setupParts(tx *store.Tx, s catalog.Setup) (catalog.Parts, error) {
	cam, err := store.GetRef[catalog.Camera](tx, s.Camera)
	if err != nil {
		return catalog.Parts{}, err
	}
	parts := catalog.Parts{Camera: cam.Body, CameraHandle: cam.Handle}
	for _, seat := range s.Stack {
		lens, err := store.GetRef[catalog.Lens](tx, seat.Lens)
		if err != nil {
			return catalog.Parts{}, err
		}
		parts.Lenses = append(parts.Lenses, lens.Body)
	}
	return parts, nil
}

func setupReady(tx *store.Tx, s *catalog.Setup) error {
	parts, err := setupParts(tx, *s)
	if err != nil {
		return err
	}
	s.Figures, err = s.Compute(parts)
	return err
}

// setupWarnings says which parts are not fit for use or not there in number, and
// what exact rays find wrong with the setup.
func setupWarnings(tx *store.Tx, s catalog.Setup) ([]string, error) {
	parts, err := setupParts(tx, s)
	if err != nil {
		return nil, err
	}
	return append(s.PartWarnings(parts), s.RayWarnings(parts, targetRadiance)...), nil
}

func setupFacts(tx *store.Tx, r notebook.Record[catalog.Setup]) ([]report.Fact, error) {
	facts := report.Setup(r.Body)
	note := func(label, text string) { facts = append(facts, report.Fact{Label: label, Value: text}) }
	if capture, frozen, err := tx.FrozenBy(r.Ref); err != nil {
		return nil, err
	} else if frozen {
		note("frozen", "used by "+capture+"; amending makes a new revision")
	}
	for _, ref := range setupRefs(r.Body) {
		newest, err := tx.RawRevision(ref.ID, 0)
		if err != nil {
			return nil, err
		}
		if newest.Revision != ref.Revision {
			note("part amended since", fmt.Sprintf("%s is now at revision %d; dieglow setup amend takes it over", ref, newest.Revision))
		}
	}
	parts, err := setupParts(tx, r.Body)
	if err != nil {
		return nil, err
	}
	facts = append(facts, lightFacts(r.Body, parts)...)
	measured, err := measuredBeside(tx, r)
	if err != nil {
		return nil, err
	}
	facts = append(facts, comparisonFacts(measured)...)
	for _, w := range append(r.Body.PartWarnings(parts), r.Body.RayWarnings(parts, targetRadiance)...) {
		note("warning", w)
	}
	return facts, nil
}

// targetRadiance weights the band by the radiance of a target at targetK.
func targetRadiance(um float64) float64 { return radiometry.SpectralRadiance(um, targetK) }

// measuredTransmission is the transmission where it was measured of every lens.
func measuredTransmission(s catalog.Setup, parts catalog.Parts) *quantity.Estimate {
	t, err := s.Transmission(parts)
	if err != nil {
		return nil
	}
	return &t
}

// warmerK is the rise of the lenses' temperature that focus is shown for.
const warmerK = 10

// lightFacts says what the stack passes and emits, and how its focus drifts.
func lightFacts(s catalog.Setup, parts catalog.Parts) []report.Fact {
	var out []report.Fact
	if light, err := s.Light(parts, targetRadiance); err != nil {
		out = append(out, report.Fact{Label: "transmission of the stack", Value: "not computed: " + err.Error()})
	} else {
		out = append(out, report.Light(light, measuredTransmission(s, parts), s.BareLenses(parts), targetK)...)
	}
	if drift, err := s.Drift(parts, warmerK); err == nil {
		out = append(out, report.Drift(drift)...)
	}
	return out
}

// setupRefs returns the parts of a setup, each once.
func setupRefs(s catalog.Setup) []catalog.Ref {
	refs := []catalog.Ref{s.Camera}
	seen := map[string]bool{}
	for _, seat := range s.Stack {
		if !seen[seat.Lens.ID] {
			seen[seat.Lens.ID] = true
			refs = append(refs, seat.Lens)
		}
	}
	return refs
}

// explainSetup adds --explain to setup show.
func explainSetup(app *App, show *cobra.Command) {
	explain := show.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	plain := show.RunE
	show.RunE = func(cmd *cobra.Command, args []string) error {
		if !*explain {
			return plain(cmd, args)
		}
		var explained []optics.Explanation
		var r notebook.Record[catalog.Setup]
		err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
			if r, err = store.Get[catalog.Setup](tx, args[0]); err != nil {
				return err
			}
			parts, err := setupParts(tx, r.Body)
			if err != nil {
				return err
			}
			explained, err = r.Body.Explain(parts)
			return err
		})
		if err != nil {
			return err
		}
		return app.emit(struct {
			notebook.Record[catalog.Setup]
			Explain []optics.Explanation `json:"explain"`
		}{r, explained}, func() error {
			return app.screen().Markdown(report.Explanations("How the figures of "+r.Label()+" come about", explained))
		})
	}
}
