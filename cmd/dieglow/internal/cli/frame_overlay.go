package cli

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/hotspot"
	"dieglow/notebook/report"
)

func overlayAnalysis() analysis {
	return analysis{
		name: "overlay", short: "Lay a frame over a micrograph and name what is under each spot",
		long: `Points seen both in the frame and in a picture of the same object in visible light
(--pairs) tell how one lies over the other: scale, rotation and shift by least
squares, and a mirror where --mirror says so; with --affine, which needs three,
shear and two scales too. More pairs than needed tell how well they were placed.
Spots are found as by frame spots. --areas names parts of the micrograph, by which
each spot is called. Pixels of the micrograph count from its top left as well.`,
		example: `  dieglow frame overlay hot.npy --unit degC --reference cold.npy --micrograph die.png --pairs "12.5,8=210,142; 88,9.5=1402,160; 50,70=805,1118" --areas "left driver@300,400,200,150" --to die-`,
		flags: func(f *pflag.FlagSet) {
			spotFlags(f)
			textFlags(f, "micrograph", "a PNG or JPEG picture of the object in visible light", "pairs", "points seen in both: x,y=X,Y; x,y=X,Y; ... in pixels of the frame and of the micrograph",
				"pair-u", "standard uncertainty of a point on the micrograph, in its pixels; from the residuals unless given", "areas", "NAME@X,Y,W,H; ... in pixels of the micrograph")
			f.Bool("mirror", false, "the micrograph shows the object mirrored against the frame")
			f.Bool("affine", false, "fit shear and two scales as well")
		},
		files: []string{"reference", "micrograph"},
		run:   runOverlay,
	}
}

// overlaidSpot is a spot with its place on the micrograph.
type overlaidSpot struct {
	Number int `json:"number"`
	hotspot.Spot
	MicrographX float64       `json:"micrograph_x_px"`
	MicrographY float64       `json:"micrograph_y_px"`
	UX          *float64      `json:"u_micrograph_x_px"` // null where the placing of the pairs is not known
	UY          *float64      `json:"u_micrograph_y_px"`
	Under       hotspot.Under `json:"under"`
}

// overlaySeen is what frame overlay gives as JSON.
type overlaySeen struct {
	Micrograph   [2]int               `json:"micrograph_px"` // width and height
	PixelUM      *float64             `json:"micrograph_pixel_um"`
	Registration hotspot.Registration `json:"registration"`
	LimitPx      float64              `json:"residual_limit_px"` // of the residual: beyond it spots are not named
	Fits         bool                 `json:"fits"`
	Unit         string               `json:"unit"`
	RiseOver     string               `json:"rise_over"`
	Noise        hotspot.Noise        `json:"noise"`
	Moved        *hotspot.Moved       `json:"moved"`
	Levels       []float64            `json:"contours"` // rises over the background
	Spots        []overlaidSpot       `json:"spots"`
}

func runOverlay(in *input, s subject) (analysed, error) {
	o, err := s.overlayInput(in)
	if err != nil {
		return analysed{}, err
	}
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	if err := at.holdPairs(o); err != nil {
		return analysed{}, err
	}
	found, spots, err := at.find(in)
	if err != nil {
		return analysed{}, err
	}
	b := o.photo.Bounds()
	out := overlaySeen{Micrograph: [2]int{b.Dx(), b.Dy()}, Registration: o.onto, Unit: spots.Unit, RiseOver: spots.RiseOver, Noise: spots.Noise, Moved: spots.Moved, Levels: []float64{}, Spots: []overlaidSpot{}}
	out.LimitPx, out.Fits = o.limitPx(), o.fits()
	if at.pixelUM != nil {
		um := at.pixelUM.Value / o.onto.Scale
		out.PixelUM = &um
	}
	for i, spot := range found.Spots {
		p := hotspot.Point{X: spot.XPx, Y: spot.YPx}
		m := o.onto.Map(p)
		ux, uy, known := o.onto.U(p, hotspot.Point{X: spot.UXPx, Y: spot.UYPx})
		seen := overlaidSpot{Number: i + 1, Spot: spot, MicrographX: m.X, MicrographY: m.Y}
		u := math.Inf(1)
		if known && out.Fits {
			seen.UX, seen.UY, u = &ux, &uy, math.Max(ux, uy)
		}
		if seen.Under = (hotspot.Under{Also: []string{}}); out.Fits {
			seen.Under = hotspot.Name(o.areas, m, u)
		}
		if m.X < -0.5 || m.Y < -0.5 || m.X > float64(b.Dx())-0.5 || m.Y > float64(b.Dy())-0.5 {
			at.warnings = append(at.warnings, fmt.Sprintf("spot %d lies outside the micrograph", i+1))
		}
		out.Spots = append(out.Spots, seen)
	}
	at.warnings = append(at.warnings, o.doubts()...)
	files, err := at.overlayPicture(o, found, &out)
	return analysed{figures: out, lines: at.overlayLines(out, spots), draw: func() ([]derivedFile, error) { return files, nil }, warnings: at.warnings, results: at.overlayResults(out, spots),
		print: func(app *App) error { return app.printOverlay(out, len(o.areas) > 0, at) }}, err
}

// overlayed is what a frame is laid over, and how.
type overlayed struct {
	photo image.Image
	pairs []hotspot.Pair
	onto  hotspot.Registration
	areas []hotspot.Area

	placedPx *float64 // as stated
}

// overlayInput reads the flags of overlay that are not of spots.
func (s subject) overlayInput(in *input) (overlayed, error) {
	var o overlayed
	path, ok := s.files["micrograph"]
	if !ok {
		return o, fault.Usagef("--micrograph is needed").WithHint("name a PNG or JPEG picture of the object, --micrograph die.png")
	}
	text, ok := in.given("pairs")
	if !ok {
		return o, fault.Usagef("--pairs is needed").WithHint(`give points seen in both, --pairs "x,y=X,Y; x,y=X,Y", x,y in the frame and X,Y in the micrograph`)
	}
	var err error
	if o.pairs, err = hotspot.ParsePairs(text); err != nil {
		return o, err
	}
	how := hotspot.Alignment{Affine: in.isSet("affine"), Mirror: in.isSet("mirror")}
	if how.Affine && how.Mirror {
		return o, fault.Usagef("an affine map finds out itself whether it is mirrored").WithHint("leave --mirror out")
	}
	in.value("pair-u", quantity.One, &how.PlacingPx)
	o.placedPx = how.PlacingPx
	if text, ok := in.given("areas"); ok && in.err == nil {
		if o.areas, err = hotspot.ParseAreas(text); err != nil {
			return o, err
		}
	}
	if in.err != nil {
		return o, in.err
	}
	if o.onto, err = hotspot.Register(o.pairs, how); err != nil {
		return o, err
	}
	if o.photo, err = picture.ReadPhoto(path); err != nil {
		return o, err
	}
	for _, a := range o.areas {
		if err := a.Inside(o.photo.Bounds().Dx(), o.photo.Bounds().Dy()); err != nil {
			return o, err
		}
	}
	return o, nil
}

// holdPairs refuses points outside the frame or the micrograph.
func (s *seen) holdPairs(o overlayed) error {
	b := o.photo.Bounds()
	for i, p := range o.pairs {
		for _, side := range []struct {
			what          string
			at            hotspot.Point
			width, height int
		}{{"the frame", p.Frame, s.Width, s.Height}, {"the micrograph", p.Micrograph, b.Dx(), b.Dy()}} {
			if !(side.at.X >= -0.5 && side.at.Y >= -0.5 && side.at.X <= float64(side.width)-0.5 && side.at.Y <= float64(side.height)-0.5) {
				return fault.Invalidf("pair %d: %g,%g lies outside %s of %d x %d pixels", i+1, side.at.X, side.at.Y, side.what, side.width, side.height).
					WithHint("give pairs as x,y=X,Y, x,y in the frame and X,Y in the micrograph")
			}
		}
	}
	return nil
}

// worstShare is how much of a micrograph's diagonal pairs may be missed by before
// what lies under a spot is not said: more than most parts of a die take.
const worstShare = 0.05

// limitPx is the residual beyond which the pairs do not fit: three times what they
// were said to be placed to, and never more than a share of the diagonal.
func (o overlayed) limitPx() float64 {
	b := o.photo.Bounds()
	limit := worstShare * math.Hypot(float64(b.Dx()), float64(b.Dy()))
	if o.placedPx != nil {
		limit = math.Min(limit, 3**o.placedPx)
	}
	return limit
}

// fits reports whether the pairs are missed by no more than the limit, as far as
// they tell.
func (o overlayed) fits() bool { return o.onto.RMSPx == nil || *o.onto.RMSPx <= o.limitPx() }

// doubts are warnings about the pairs.
func (o overlayed) doubts() []string {
	r := o.onto
	var out []string
	if !o.fits() {
		out = append(out, fmt.Sprintf("the pairs are missed by %s micrograph pixels, more than %s: what lies under a spot is not known", quantity.Fixed(*r.RMSPx, 3), quantity.Fixed(o.limitPx(), 3)))
	}
	if r.RMSPx != nil && r.MirrorRMSPx != nil && *r.MirrorRMSPx < *r.RMSPx/3 {
		hint := "add --mirror"
		if r.Mirrored {
			hint = "leave --mirror out"
		}
		out = append(out, fmt.Sprintf("the pairs fit the other way round far better, to %s pixels in place of %s: %s", quantity.Fixed(*r.MirrorRMSPx, 3), quantity.Fixed(*r.RMSPx, 3), hint))
	} else if r.RMSPx != nil && (*r.RMSPx > 2*r.Scale || !o.fits()) {
		out = append(out, fmt.Sprintf("the residual is %s pixels of the frame: check that no pair is swapped or mistyped", quantity.Fixed(*r.RMSPx/r.Scale, 3)))
	}
	return out
}

func (s seen) overlayLines(out overlaySeen, spots spotsSeen) [][3]string {
	r := out.Registration
	kind := "scale, rotation and shift"
	if r.Affine {
		kind = "affine"
	}
	if r.Mirrored {
		kind += ", mirrored"
	}
	residual := fmt.Sprintf("not known: %s fit exactly, whatever their errors", counted(r.Pairs, "pair"))
	if r.RMSPx != nil {
		residual = quantity.Fixed(*r.RMSPx, 3) + " micrograph pixels, root mean square of " + counted(r.Pairs, "pair")
		if !out.Fits {
			residual += ", more than the " + quantity.Fixed(out.LimitPx, 3) + " that spots are named to: none is"
		}
	}
	placing := r.PlacingFrom
	if r.PlacingPx != nil {
		placing = quantity.Fixed(*r.PlacingPx, 3) + " micrograph pixels, " + r.PlacingFrom
	}
	lines := [][3]string{{spotKind(spots.Cold) + "s", s.howMany(spots), report.Measured}, {"registration", kind, report.Computed},
		{"scale", quantity.Fixed(r.Scale, 5) + " micrograph pixels a frame pixel", report.Computed}, {"rotation", quantity.Fixed(r.RotationDeg, 4) + "°", report.Computed},
		{"residual", residual, report.Computed}, {"a point is placed to", placing, ""}}
	if out.PixelUM != nil {
		lines = append(lines, [3]string{"micrograph pixel", quantity.Fixed(*out.PixelUM, 4) + " µm", report.Computed})
	}
	lines = append(lines, [3]string{"rises", "over the " + out.RiseOver, report.Measured})
	for _, d := range spots.Done {
		lines = append(lines, [3]string{"prepared", d, ""})
	}
	return lines
}

func (app *App) printOverlay(out overlaySeen, named bool, s seen) error {
	if len(out.Spots) == 0 {
		return nil
	}
	_, rise, _, _ := s.units()
	right := func(label string) term.Column { return term.Column{Header: label, Align: term.Right} }
	label := "rise"
	if rise != "" {
		label += ", " + rise
	}
	t := term.Table{Columns: []term.Column{right("spot"), right("x, px"), right("y, px"), right("micrograph x, px"), right("y, px"), right(label), right("sigma")}}
	if named {
		t.Columns = append(t.Columns, term.Column{Header: "under it"})
	}
	for _, spot := range out.Spots {
		var ux, uy float64
		if spot.UX != nil {
			ux, uy = *spot.UX, *spot.UY
		}
		row := []string{fmt.Sprint(spot.Number), sureTo(spot.XPx, spot.UXPx), sureTo(spot.YPx, spot.UYPx), sureTo(spot.MicrographX, ux), sureTo(spot.MicrographY, uy), sureTo(spot.Rise, spot.URise), quantity.Fixed(spot.Sigma, 3)}
		if named {
			under := "not known: the pairs do not fit"
			if out.Fits {
				under = spot.Under.Text()
			}
			row = append(row, under)
		}
		t.Rows = append(t.Rows, row)
	}
	return app.tables(t)
}

func (s seen) overlayResults(out overlaySeen, spots spotsSeen) []notebook.Result {
	_, rise, _, riseEnd := s.units()
	r := out.Registration
	results := []notebook.Result{{Name: "spots", Label: spotKind(spots.Cold) + "s found", Value: quantity.Exactly(float64(len(out.Spots))), WhyNoU: "a count"},
		{Name: "scale", Label: "micrograph pixels a frame pixel", Value: quantity.Exactly(r.Scale), WhyNoU: "see the residual"},
		{Name: "rotation_deg", Label: "rotation", Value: quantity.Exactly(r.RotationDeg), Unit: "°", WhyNoU: "see the residual"}}
	if r.RMSPx != nil {
		results = append(results, notebook.Result{Name: "rms_px", Label: "residual of " + counted(r.Pairs, "pair") + ", root mean square", Value: quantity.Exactly(*r.RMSPx), Unit: "micrograph px", WhyNoU: "it is one itself"})
	}
	for i, spot := range out.Spots[:min(len(out.Spots), mostResults)] {
		name, label := fmt.Sprintf("spot%d_", i+1), fmt.Sprintf("spot %d", i+1)
		if spot.Under.Name != "" || len(spot.Under.Also) > 0 {
			label += ", " + spot.Under.Text()
		}
		results = append(results, notebook.Result{Name: name + "micrograph_x_px", Label: label + ", x on the micrograph", Value: quantity.Estimate{Value: spot.MicrographX, U: spot.UX}, Unit: "micrograph px", WhyNoU: "how well the pairs were placed is not known"},
			notebook.Result{Name: name + "micrograph_y_px", Label: label + ", y on the micrograph", Value: quantity.Estimate{Value: spot.MicrographY, U: spot.UY}, Unit: "micrograph px", WhyNoU: "how well the pairs were placed is not known"},
			notebook.Result{Name: name + "rise" + riseEnd, Label: label + ", rise over the " + out.RiseOver + ", u of the noise alone", Value: quantity.With(spot.Rise, spot.URise), Unit: rise})
	}
	return results
}

// tints are the colours of contours from the outermost in, and of areas and pairs:
// told apart also by readers with a colour vision deficiency (Okabe and Ito, Color
// Universal Design, 2002; from memory, not verified).
func tints() (contours [3]color.RGBA, area, pair color.RGBA) {
	return [3]color.RGBA{{0xf0, 0xe4, 0x42, 0xff}, {0xe6, 0x9f, 0x00, 0xff}, {0xd5, 0x5e, 0x00, 0xff}}, color.RGBA{0x56, 0xb4, 0xe9, 0xff}, color.RGBA{0x00, 0x9e, 0x73, 0xff}
}

// overlayPicture draws contours at a quarter, a half and three quarters of the
// greatest rise, spots, areas and the points of the pairs over the micrograph.
func (s seen) overlayPicture(o overlayed, found hotspot.Found, out *overlaySeen) ([]derivedFile, error) {
	contours, areaTint, pairTint := tints()
	var marks []picture.Mark
	to := func(p hotspot.Point) picture.Point { return picture.Point(o.onto.Map(p)) }
	for _, a := range o.areas {
		x0, y0, x1, y1 := a.X-0.5, a.Y-0.5, a.X+a.Width-0.5, a.Y+a.Height-0.5
		marks = append(marks, picture.Mark{Path: []picture.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}, Closed: true, Label: a.Name, Colour: &areaTint})
	}
	if len(found.Spots) > 0 {
		top := math.Abs(found.Spots[0].LocalRise)
		for i, share := range []float64{0.25, 0.5, 0.75} {
			level := share * top
			if found.Spots[0].LocalRise < 0 {
				out.Levels = append(out.Levels, -level)
			} else {
				out.Levels = append(out.Levels, level)
			}
			for _, c := range found.Contour(level) {
				marks = append(marks, picture.Mark{Path: []picture.Point{to(c.A), to(c.B)}, Thin: true, Colour: &contours[i]})
			}
		}
	}
	for _, p := range o.pairs {
		marks = append(marks, picture.Mark{Path: []picture.Point{picture.Point(p.Micrograph)}, Colour: &pairTint})
	}
	for _, m := range spotMarks(found.Spots, &o.onto) {
		m.Radius = 0
		marks = append(marks, m)
	}
	var draw picture.PhotoOptions
	if out.PixelUM != nil {
		draw.PixelUM = *out.PixelUM
	}
	img, err := picture.OnPhoto(o.photo, marks, draw)
	if err != nil {
		return nil, err
	}
	return encodePNG("overlay.png", img)
}
