package cli

import (
	"fmt"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

func cameraNoun() noun[catalog.Camera] {
	return noun[catalog.Camera]{
		kind: catalog.KindCamera, plural: "cameras",
		short: "Thermal cameras with a fixed lens",
		long: `A camera is taken as a lens of known focal length before an array of pixels.
Distances of focus are measured from its lens.`,
		example: `  dieglow camera add cam-a --pixels 256x192 --pitch 12um --band 8um..14um --focal 4.1mm --f-number 1.1 --nearest-focus 150mm --netd 60mK`,
		amended: `  dieglow camera amend cam-a --firmware 2.1 --reason "updated by the maker"`,
		fresh:   func() catalog.Camera { return catalog.Camera{Condition: catalog.Usable} },
		flags:   cameraFlags, apply: cameraApply,
		facts: func(_ *store.Tx, r notebook.Record[catalog.Camera]) ([]report.Fact, error) {
			return report.Camera(r.Body), nil
		},
		columns: []term.Column{{Header: "array"}, {Header: "band"}, {Header: "focal length", Align: term.Right},
			{Header: "f-number", Align: term.Right}, {Header: "cost", Align: term.Right}, {Header: "condition"}},
		row: func(_ *store.Tx, r notebook.Record[catalog.Camera]) ([]string, error) {
			c := r.Body
			return []string{fmt.Sprintf("%dx%d, %s µm", c.PixelsX, c.PixelsY, quantity.Fixed(c.PitchUM, 4)),
				quantity.Fixed(c.BandLowUM, 4) + "–" + quantity.Fixed(c.BandHighUM, 4) + " µm", c.FocalLengthMM.Format(quantity.Millimetre),
				quantity.Fixed(c.FNumber, 4), moneyText(c.Cost), string(c.Condition)}, nil
		},
	}
}

func newCamera(app *App) *cobra.Command {
	n := cameraNoun()
	return n.group(app, retire(app, n, func(c *catalog.Camera) *catalog.Condition { return &c.Condition }))
}

func cameraFlags(f *pflag.FlagSet) {
	textFlags(f,
		"pixels", "width x height of the array, 256x192", "pitch", "pixel pitch", "band", "spectral band, 8um..14um",
		"focal", "focal length of its lens", "f-number", "f-number of its lens", "nearest-focus", "nearest distance it focuses at",
		"frame-rate", "frames a second, 25Hz", "netd", "noise-equivalent temperature difference, 60mK",
		"accuracy", "stated accuracy as +-, 2K", "accuracy-fraction", "stated accuracy as a part of the reading in °C, 2%",
		"serial", "serial number", "firmware", "firmware version", "supplier", "supplier", "cost", "cost, with its currency",
		"condition", "usable, damaged or retired", "notes", "anything else")
}

func cameraApply(in *input, _ *store.Tx, c *catalog.Camera) error {
	if s, ok := in.given("pixels"); ok {
		var err error
		c.PixelsX, c.PixelsY, err = quantity.ParsePixels(s)
		in.fail("pixels", err)
	}
	if s, ok := in.given("band"); ok {
		var err error
		c.BandLowUM, c.BandHighUM, err = quantity.ParseBand(s)
		in.fail("band", err)
	}
	in.must("pitch", quantity.Micrometre, &c.PitchUM)
	focal := &c.FocalLengthMM
	in.estimate("focal", quantity.Millimetre, &focal)
	if focal != nil {
		c.FocalLengthMM = *focal
	}
	if s, ok := in.given("f-number"); ok {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			in.fail("f-number", fault.Invalidf("%q is not a number", s).WithHint("give the f-number alone, for example 1.1"))
		}
		c.FNumber = v
	}
	in.value("nearest-focus", quantity.Millimetre, &c.NearestFocusMM)
	in.value("frame-rate", quantity.Hertz, &c.FrameRateHz)
	in.value("netd", quantity.KelvinStep, &c.NETDK)
	in.value("accuracy", quantity.KelvinStep, &c.AccuracyK)
	in.value("accuracy-fraction", quantity.One, &c.AccuracyFraction)
	in.text("serial", &c.Serial)
	in.text("firmware", &c.Firmware)
	in.text("supplier", &c.Supplier)
	in.money("cost", &c.Cost)
	in.condition(&c.Condition)
	in.text("notes", &c.Notes)
	if in.err != nil {
		return nil
	}
	for _, need := range []struct {
		absent     bool
		what, flag string
	}{
		{c.PixelsX == 0, "its pixels", "--pixels 256x192"}, {c.PitchUM == 0, "its pixel pitch", "--pitch 12um"}, {c.BandHighUM == 0, "its band", "--band 8um..14um"},
		{c.FocalLengthMM.Value == 0, "the focal length of its lens", "--focal 4.1mm"}, {c.FNumber == 0, "the f-number of its lens", "--f-number 1.1"},
	} {
		if need.absent {
			return fault.Invalidf("a camera needs %s", need.what).WithHint("give %s", need.flag)
		}
	}
	return nil
}
