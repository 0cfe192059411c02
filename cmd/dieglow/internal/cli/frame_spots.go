package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/hotspot"
)

func spotsAnalysis() analysis {
	return analysis{
		name: "spots", short: "Hot spots: place, rise and size, with uncertainty",
		long: `Pixels that stand out of the background by more than --threshold standard
deviations of the noise and touch make a spot; touching spots are told apart by
their maxima. With --reference, a frame of the unpowered object, rises are the
difference to it; without one they are over a local background of the frame
itself, and what is warm everywhere does not show. The noise is that of
neighbouring pixels, measured on the frame, or the spread about the local background
where stripes and the like make that plainly greater. Without a spot nothing is
written. Places count from the centre of the
top left pixel, x to the right and y down, of the frame as it is after --crop,
--orient and --bin. --bad takes spots of a pixel or two for faulty pixels.`,
		example: "  dieglow frame spots hot.npy --unit degC --reference cold.npy --pixel 25um --corner 12,8 --to hot-\n  dieglow frame spots hot.npy --unit degC --blur-fwhm 3.1px --json",
		flags: func(f *pflag.FlagSet) {
			spotFlags(f)
			textFlags(f, "fiducial", "where positions in µm count from, x,y in pixels, with uncertainty as 12.5(3),40.0(3)", "corner", "the same for the corner of a die",
				"axis", "a place x,y that the x axis runs to from the fiducial or corner; along the rows unless given",
				"blur-fwhm", "full width at half maximum of the blur, 3.1px or 40um: estimates the rise without it")
		},
		files: []string{"reference"},
		run:   runSpots,
	}
}

// spotFlags declare what counts as a spot.
func spotFlags(f *pflag.FlagSet) {
	textFlags(f, "reference", "a frame of the unpowered object; of a stack the mean is taken", "threshold", "standard deviations of the noise that a pixel of a spot stands out by; 5 unless given",
		"min-area", "pixels that a spot has at least; 4 unless given", "saddle", "how far the valley between two spots lies below the lower one, of its rise; 5% unless given",
		"window", "side of the windows for a local background, in pixels; a quarter of the shorter side unless given, and none with a reference",
		"most-shift", "pixels that the object may have moved by since the reference without a warning; 0.2 unless given")
	f.Bool("cold", false, "look for cold spots")
	f.Bool("align", false, "move the reference by what the object has moved")
}

// spotOptions reads spotFlags but for the reference.
func (in *input) spotOptions() (o hotspot.Options, mostShiftPx float64) {
	o = hotspot.Options{ThresholdSD: 5, MinAreaPx: 4, SaddleShare: 0.05, Cold: in.isSet("cold")}
	mostShiftPx = 0.2
	in.must("threshold", quantity.One, &o.ThresholdSD)
	in.must("saddle", quantity.One, &o.SaddleShare)
	in.must("most-shift", quantity.One, &mostShiftPx)
	in.number("min-area", &o.MinAreaPx)
	in.number("window", &o.WindowPx)
	return o, mostShiftPx
}

// spotSeen is a spot as frame spots gives it.
type spotSeen struct {
	Number int `json:"number"`
	hotspot.Spot
	XUM       *float64           `json:"x_um"`
	YUM       *float64           `json:"y_um"`
	UXUM      *float64           `json:"u_x_um"`
	UYUM      *float64           `json:"u_y_um"`
	AreaUM2   *float64           `json:"area_um2"`
	FWHMUM    *float64           `json:"fwhm_um"`
	Corrected *hotspot.Corrected `json:"corrected"` // an estimate
	WhyNot    string             `json:"why_not_corrected,omitempty"`
}

// distanceSeen is a distance with its length on the object.
type distanceSeen struct {
	hotspot.Distance
	UM  *float64 `json:"distance_um"`
	UUM *float64 `json:"u_um"`
}

// spotsSeen is what frame spots gives as JSON.
type spotsSeen struct {
	Width      int                `json:"width"`
	Height     int                `json:"height"`
	Unit       string             `json:"unit"`
	Frames     int                `json:"frames_averaged"`
	Reference  bool               `json:"reference"`
	RiseOver   string             `json:"rise_over"` // reference or background
	Threshold  float64            `json:"threshold_sigma"`
	MinArea    int                `json:"min_area_px"`
	Cold       bool               `json:"cold"`
	Noise      hotspot.Noise      `json:"noise"`
	Background hotspot.Background `json:"background"`
	Moved      *hotspot.Moved     `json:"moved"` // since the reference
	Aligned    bool               `json:"aligned"`
	PixelUM    *float64           `json:"object_pixel_um"`
	PixelFrom  string             `json:"object_pixel_from"`
	Origin     string             `json:"origin"` // of x_um and y_um
	Spots      []spotSeen         `json:"spots"`
	Distances  []distanceSeen     `json:"distances"`
	TooSmall   int                `json:"too_small"`
	Highest    float64            `json:"highest_sigma"`
	Done       []string           `json:"done"`
}

func runSpots(in *input, s subject) (analysed, error) {
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	found, out, err := at.find(in)
	if err != nil {
		return analysed{}, err
	}
	if len(found.Spots) == 0 {
		return analysed{}, at.noSpot(out)
	}
	axes, err := at.axes(in, &out)
	if err != nil {
		return analysed{}, err
	}
	at.place(&out, axes)
	blur, err := at.blur(in, &out)
	if err != nil {
		return analysed{}, err
	}
	marks := spotMarks(found.Spots, nil)
	if axes != nil && out.Origin != pixelOrigin {
		marks = append(marks, picture.Mark{Path: []picture.Point{picture.Point(axes.Origin)}, Label: "origin"})
	}
	draw := func() ([]derivedFile, error) {
		img, err := picture.Marked(at.Frame, at.drawing(s.title+", "+spotKind(out.Cold)+"s"), marks)
		if err != nil {
			return nil, err
		}
		return encodePNG("spots.png", img)
	}
	return analysed{
		figures: out, lines: at.spotLines(out, blur), print: func(app *App) error { return app.printSpots(out, at) },
		results: at.spotResults(out), draw: draw, warnings: at.warnings,
	}, nil
}

func spotKind(cold bool) string {
	if cold {
		return "cold spot"
	}
	return "hot spot"
}

// find finds the spots and checks whether the reference still lies under the frame.
func (s *seen) find(in *input) (hotspot.Found, spotsSeen, error) {
	o, mostShift := in.spotOptions()
	if in.err != nil {
		return hotspot.Found{}, spotsSeen{}, in.err
	}
	align := in.isSet("align")
	if align && s.reference == nil {
		return hotspot.Found{}, spotsSeen{}, fault.Usagef("--align moves a reference, and there is none").WithHint("add --reference FILE, or leave --align out")
	}
	o.Reference = s.reference
	found, err := hotspot.Find(s.Frame, o)
	if err != nil {
		return found, spotsSeen{}, err
	}
	out := spotsSeen{Width: s.Width, Height: s.Height, Frames: s.frames, Reference: s.reference != nil, RiseOver: "background", Threshold: o.ThresholdSD, MinArea: o.MinAreaPx, Cold: o.Cold,
		PixelFrom: s.how, Spots: []spotSeen{}, Distances: []distanceSeen{}, Done: nonNil(s.done)}
	if s.Unit != frame.Unstated {
		out.Unit = s.Unit.String()
	}
	if s.reference != nil {
		out.RiseOver = "reference"
		if found, err = s.hold(found, o, alignment{mostShift, align}, &out); err != nil {
			return found, out, err
		}
	}
	if n := s.SaturatedCount; n > 0 {
		s.warnings = append(s.warnings, fmt.Sprintf("%s at the end of the range: the peak of a spot with one is a lower limit", counted(n, "pixel")))
	}
	if n := found.PlateauPx; n > 0 {
		end, limit := "highest", "a lower"
		if o.Cold {
			end, limit = "lowest", "an upper"
		}
		s.warnings = append(s.warnings, fmt.Sprintf("%s that touch have exactly the %s value of the frame, so it looks cut off there: the peak of a spot with one is %s limit", counted(n, "pixel"), end, limit))
	}
	if found.Noise.From == hotspot.NoiseAssumed && len(found.Spots) > 0 {
		s.warnings = append(s.warnings, "the noise is taken to be "+found.Noise.From+", and uncertainties follow from it")
	}
	out.Noise, out.Background, out.TooSmall, out.Highest = found.Noise, found.Background, found.SmallCount, found.HighestSD
	for i, spot := range found.Spots {
		out.Spots = append(out.Spots, spotSeen{Number: i + 1, Spot: spot})
	}
	for _, d := range found.Distances {
		out.Distances = append(out.Distances, distanceSeen{Distance: d})
	}
	return found, out, nil
}

// alignment is how far the object may have moved, and whether the reference follows.
type alignment struct {
	mostShiftPx float64
	follow      bool
}

// hold compares frame and reference outside the spots; with --align it moves the
// reference along and finds the spots again.
func (s *seen) hold(found hotspot.Found, o hotspot.Options, a alignment, out *spotsSeen) (hotspot.Found, error) {
	m := found.MovedSince(s.Frame, *s.reference, o)
	out.Moved = &m
	if !a.follow {
		if w := m.Warning(a.mostShiftPx, o.ThresholdSD*found.Noise.SD); w != "" {
			s.warnings = append(s.warnings, w)
		}
		return found, nil
	}
	if !m.Checked {
		return found, fault.Invalidf("the reference cannot be aligned: %s", m.Why).WithHint("leave --align out, or use frames that show more of the object's structure")
	}
	r, err := m.Aligned(*s.reference)
	if err != nil {
		return found, err
	}
	s.reference, o.Reference, out.Aligned = &r, &r, true
	return hotspot.Find(s.Frame, o)
}

// place fills in positions and sizes on the object.
func (s *seen) place(out *spotsSeen, a *hotspot.Axes) {
	if a == nil {
		return
	}
	px := a.PixelUM.Value
	pu, _ := a.PixelUM.StandardU()
	for i := range out.Spots {
		spot := &out.Spots[i]
		at := a.Of(hotspot.Point{X: spot.XPx, Y: spot.YPx}, hotspot.Point{X: spot.UXPx, Y: spot.UYPx})
		spot.XUM, spot.YUM, spot.UXUM, spot.UYUM = &at.XUM.Value, &at.YUM.Value, at.XUM.U, at.YUM.U
		area := float64(spot.AreaPx) * px * px
		spot.AreaUM2 = &area
		if spot.Fit != nil {
			w := spot.Fit.FWHMPx * px
			spot.FWHMUM = &w
		}
	}
	for i := range out.Distances {
		d := &out.Distances[i]
		um, u := d.DistancePx*px, math.Hypot(d.UPx*px, d.DistancePx*pu)
		d.UM, d.UUM = &um, &u
	}
}

// blur reads --blur-fwhm and corrects the spots for it. Fault Invalid where it
// can be done of none.
func (s *seen) blur(in *input, out *spotsSeen) (*quantity.Estimate, error) {
	text, ok := in.given("blur-fwhm")
	if !ok {
		return nil, nil
	}
	px, isPx := strings.CutSuffix(strings.TrimSpace(text), "px")
	e, err := quantity.Parse(px, quantity.One)
	switch {
	case isPx && err == nil && strings.Contains(px, "%"):
		err = fault.Invalidf("%q is not a number of pixels", text).WithHint("give the blur as 3.1px or 40um")
	case !isPx:
		if e, err = quantity.Parse(text, quantity.Micrometre); err == nil && s.pixelUM == nil {
			return nil, fault.Usagef("a blur in µm needs what one pixel sees of the object").WithHint("give --pixel 25um, or the blur in pixels as 3.1px")
		}
		if err != nil {
			err = fault.Invalidf("%q is not a width of a blur", text).Because(err).WithHint("give it as 3.1px or 40um")
		}
	}
	if in.fail("blur-fwhm", err); in.err != nil {
		return nil, in.err
	}
	if !isPx {
		u, _ := e.StandardU()
		pu, _ := s.pixelUM.StandardU()
		size := s.pixelUM.Value
		e = quantity.With(e.Value/size, math.Hypot(u/size, e.Value*pu/size/size))
	}
	var last error
	done := 0
	for i := range out.Spots {
		c, err := hotspot.CorrectBlur(out.Spots[i].Spot, e)
		if err != nil {
			last, out.Spots[i].WhyNot = err, err.Error()
			continue
		}
		out.Spots[i].Corrected = &c
		done++
		if c.Factor > 3 {
			s.warnings = append(s.warnings, fmt.Sprintf("the rise of spot %d without blur is %s times the measured one: it rests on the shape assumed more than on the measurement", i+1, quantity.Fixed(c.Factor, 3)))
		}
	}
	if last != nil && done == 0 {
		return nil, last
	}
	for i, spot := range out.Spots {
		if spot.WhyNot != "" {
			s.warnings = append(s.warnings, fmt.Sprintf("spot %d is not corrected for blur: %s", i+1, spot.WhyNot))
		}
	}
	return &e, nil
}

// spotMarks circles spots with their numbers; to places them on another picture.
func spotMarks(spots []hotspot.Spot, to *hotspot.Registration) []picture.Mark {
	var out []picture.Mark
	for i, s := range spots {
		p, r := hotspot.Point{X: s.XPx, Y: s.YPx}, 1+math.Sqrt(float64(s.AreaPx)/math.Pi)
		if to != nil {
			p, r = to.Map(p), r*to.Scale
		}
		out = append(out, picture.Mark{Path: []picture.Point{picture.Point(p)}, Radius: r, Label: strconv.Itoa(i + 1)})
	}
	return out
}
