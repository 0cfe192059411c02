package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/material"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

func lensNoun() noun[catalog.Lens] {
	return noun[catalog.Lens]{
		kind: catalog.KindLens, plural: "lenses",
		short: "Lenses one owns or could buy",
		long: `A lens is described either by two radii and its centre thickness, or by the
focal length its maker states at a wavelength. Surface 1 faces the specimen; a
positive radius has its centre on the camera's side. A focal length you measured
yourself goes into --measured-focal with the method. A first-surface mirror is
recorded with --mirror, one radius and its reflectance.`,
		example: `  dieglow lens add ge25 --material germanium --r1 50mm --r2 75mm --thickness 3mm --diameter 20mm --cost 42EUR --on-hand 2
  dieglow lens add zn30 --material ZnSe --focal 30mm --at 10.6um --diameter 12.7mm
  dieglow lens add fold --mirror --r1 plane --reflectance 0.97 --diameter 25mm --coating "bare gold"`,
		amended: `  dieglow lens amend ge25 --measured-focal "25.1(2) mm" --measured-method "image of a distant edge" --reason "measured on the bench"`,
		fresh:   func() catalog.Lens { return catalog.Lens{Condition: catalog.Usable} },
		flags:   lensFlags, apply: lensApply,
		facts: func(_ *store.Tx, r notebook.Record[catalog.Lens]) ([]report.Fact, error) {
			return report.Lens(r.Body), nil
		},
		columns: []term.Column{{Header: "material"}, {Header: "focal length", Align: term.Right}, {Header: "origin"}, {Header: "diameter", Align: term.Right},
			{Header: "on hand", Align: term.Right}, {Header: "cost", Align: term.Right}, {Header: "condition"}},
		row: lensRow,
	}
}

func newLens(app *App) *cobra.Command {
	n := lensNoun()
	return n.group(app, retire(app, n, func(l *catalog.Lens) *catalog.Condition { return &l.Condition }))
}

func lensFlags(f *pflag.FlagSet) {
	textFlags(f,
		"material", "material, see dieglow material list",
		"r1", "radius of surface 1, or plane", "r2", "radius of surface 2, or plane", "thickness", "centre thickness",
		"focal", "focal length as the maker states it", "at", "wavelength it holds at",
		"diameter", "outer diameter", "clear-aperture", "free diameter",
		"coating", "coating, in words", "reflectance", "of a mirror, over the camera's band", "transmission", "measured transmission over the camera's band",
		"measured-focal", "focal length you measured", "measured-at", "wavelength it was measured at", "measured-method", "how it was measured",
		"supplier", "supplier", "cost", "cost of one, with its currency", "on-hand", "how many there are", "condition", "usable, damaged or retired", "notes", "anything else")
	f.Bool("mirror", false, "a first-surface mirror: --r1 plane, or negative for one concave towards the light, with --reflectance")
}

func lensApply(in *input, _ *store.Tx, l *catalog.Lens) error {
	if name, ok := in.given("material"); ok {
		m, err := material.Find(name)
		in.fail("material", err)
		l.Material = m.Slug
	}
	in.estimate("reflectance", quantity.One, &l.Reflectance)
	if in.isSet("mirror") {
		l.Form = catalog.Mirror
	}
	if l.Material == "" && l.Form != catalog.Mirror && in.err == nil {
		return fault.Invalidf("a lens needs its material").WithHint("give --material germanium; dieglow material list shows the materials")
	}
	in.radius("r1", &l.Radius1MM)
	in.radius("r2", &l.Radius2MM)
	in.estimate("thickness", quantity.Millimetre, &l.ThicknessMM)
	in.estimate("focal", quantity.Millimetre, &l.FocalLengthMM)
	in.must("at", quantity.Micrometre, &l.FocalWavelengthUM)
	in.must("diameter", quantity.Millimetre, &l.DiameterMM)
	if l.DiameterMM == 0 && in.err == nil {
		return fault.Invalidf("a lens needs its diameter").WithHint("give --diameter 12.7mm")
	}
	in.value("clear-aperture", quantity.Millimetre, &l.ClearApertureMM)
	in.text("coating", &l.Coating)
	in.estimate("transmission", quantity.One, &l.Transmission)
	in.estimate("measured-focal", quantity.Millimetre, &l.MeasuredFocalMM)
	in.must("measured-at", quantity.Micrometre, &l.MeasuredFocalWavelengthUM)
	in.text("measured-method", &l.MeasuredFocalMethod)
	in.text("supplier", &l.Supplier)
	in.money("cost", &l.Cost)
	in.count("on-hand", &l.OnHand)
	in.condition(&l.Condition)
	in.text("notes", &l.Notes)
	return lensForm(in, l)
}

// lensForm settles which of the two descriptions the lens has.
func lensForm(in *input, l *catalog.Lens) error {
	if in.err != nil || l.Form == catalog.Mirror {
		return nil // said first, or settled
	}
	if l.ThicknessMM == nil && l.FocalLengthMM != nil {
		l.Form = catalog.Thin
		if l.FocalWavelengthUM == 0 {
			return fault.Invalidf("a stated focal length needs the wavelength it holds at").WithHint("give --at 10um")
		}
		return nil
	}
	l.Form = catalog.Thick
	if l.ThicknessMM != nil && l.FocalLengthMM != nil {
		return fault.Invalidf("a lens is described by a focal length or by radii and thickness, not by both").
			WithHint("leave out --focal; a focal length you measured goes into --measured-focal")
	}
	return nil
}

func (in *input) condition(into *catalog.Condition) {
	if s, ok := in.given("condition"); ok {
		*into = catalog.Condition(strings.ToLower(strings.TrimSpace(s)))
		in.fail("condition", catalog.CheckCondition(*into))
	}
}

func lensRow(_ *store.Tx, r notebook.Record[catalog.Lens]) ([]string, error) {
	l := r.Body
	focal, origin := "-", ""
	if l.Form == catalog.Mirror && l.Radius1MM == nil {
		focal = "plane mirror"
	} else if mm, from, err := l.FocalMM(l.DesignWavelengthUM()); err == nil {
		focal, origin = quantity.Fixed(mm, 4)+" mm", from
	}
	onHand := "-"
	if l.OnHand != nil {
		onHand = fmt.Sprint(*l.OnHand)
	}
	of := "mirror"
	if l.Form != catalog.Mirror {
		m, err := material.Find(l.Material)
		if err != nil {
			return nil, err
		}
		of = m.Formula
	}
	return []string{of, focal, origin, quantity.Fixed(l.DiameterMM, 4) + " mm", onHand, moneyText(l.Cost), string(l.Condition)}, nil
}

func moneyText(m *quantity.Money) string {
	if m == nil {
		return "-"
	}
	return m.String()
}

// retire takes a part out of use. Its records stay.
func retire[T store.Body](app *App, n noun[T], condition func(*T) *catalog.Condition) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "retire NAME",
		Short:   "Take " + article(n.kind) + " " + n.kind + " out of use; its record stays",
		Example: "  dieglow " + n.kind + " retire " + n.kind + `-1 --reason "scratched across the middle"`,
		Args:    args("the " + n.kind + "'s name or handle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return n.revise(app, cmd, args[0], func(_ *input, _ *store.Tx, body *T) error {
				c := condition(body)
				if *c == catalog.Retired {
					return fault.Conflictf("%s is retired already", args[0]).WithHint("dieglow trail %s says when and why", args[0])
				}
				*c = catalog.Retired
				return nil
			})
		},
	}
	cmd.Flags().String("reason", "", "why it is taken out of use (needed)")
	return cmd
}
