package temperature

import (
	"context"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
	"dieglow/notebook/uncertainty"
)

// Settings is everything a reading rests on besides the frame, so that it can be
// recorded with a finding and the finding computed again.
type Settings struct {
	Frame  int    `json:"frame"` // index in its file; -1: the mean of all
	Unit   string `json:"unit"`  // of the frame: degC or K
	At     string `json:"at"`    // hottest, point or region
	X      int    `json:"x"`     // of a point, or of the region's corner
	Y      int    `json:"y"`
	Width  int    `json:"width"` // of a region
	Height int    `json:"height"`

	BandLowUM  float64            `json:"band_low_um"`
	BandHighUM float64            `json:"band_high_um"`
	Emissivity *Stated            `json:"emissivity"` // nil: not known, only an apparent temperature follows
	Map        *EmissivityMapUsed `json:"emissivity_map"`
	ReflectedK *Stated            `json:"reflected_k"`
	Elements   []StatedElement    `json:"elements"`

	AccuracyK        float64 `json:"accuracy_k"` // of the camera, as +-; 0: not recorded
	AccuracyFraction float64 `json:"accuracy_fraction"`
	NETDK            float64 `json:"netd_k"`
	FramesAveraged   int     `json:"frames_averaged"`
	NonUniformityK   float64 `json:"non_uniformity_k,omitempty"` // over a uniform scene; 0: not stated, as for what follows
	DriftKPerMin     float64 `json:"drift_k_per_min,omitempty"`
	SinceReferenceS  float64 `json:"since_reference_s,omitempty"` // since the camera's last reference frame
	TargetUM         float64 `json:"target_um,omitempty"`         // width of a target so small that it reads low
	BlurUM           float64 `json:"blur_um,omitempty"`           // full width at half maximum of the blur on it
	DefocusUM        float64 `json:"defocus_um,omitempty"`        // what defocus adds to the blur

	Trials int    `json:"trials"` // 0: only where first order is in doubt
	Seed   uint64 `json:"seed"`
}

// The places a temperature can be read at.
const (
	Hottest = "hottest"
	Point   = "point"
	Region  = "region"
)

// Stated is a value with where it comes from.
type Stated struct {
	quantity.Estimate
	Origin string `json:"origin"`
}

// StatedElement is an optical element with where its values come from.
type StatedElement struct {
	Name         string `json:"name"`
	Transmission Stated `json:"transmission"`
	TempK        Stated `json:"temp_k"`
}

// EmissivityMapUsed names the map that gives each pixel its emissivity.
type EmissivityMapUsed struct {
	Finding   string  `json:"finding"`
	SHA256    string  `json:"sha256"`
	RelativeU float64 `json:"relative_u"` // what all its pixels share
}

// Reading is what was read off a frame.
type Reading struct {
	X, Y      int               // of the point, or of the region's hottest pixel
	Pixels    int               // taken together
	ApparentK quantity.Estimate // as the camera says, with what is known of the camera
	Budget    *Budget           // of the object's temperature; nil: it does not follow
	WhyNot    string            // why it does not
	Object    *frame.Frame      // map of object temperatures in °C; nil: none
	Unsolved  map[string]int    // its pixels without a temperature, by reason
}

// Read reads a frame under the settings; eps is the emissivity map they name, nil
// for none. Faults Invalid for a place outside the frame or a missing pixel there,
// and as Scene.Object where the equation has no solution.
func (s Settings) Read(ctx context.Context, f frame.Frame, eps *frame.Frame) (Reading, error) {
	unit, err := frame.ParseUnit(s.Unit)
	if err != nil {
		return Reading{}, err
	}
	if unit == frame.Counts || unit == frame.Unstated {
		return Reading{}, fault.Invalidf("the frame's numbers are %s, not temperatures", s.Unit).WithHint("convert them with the camera's own calibration first")
	}
	if eps != nil {
		if err := sameSize(*eps, f); err != nil {
			return Reading{}, err
		}
	}
	r, apparent, err := s.place(f)
	if err != nil {
		return r, err
	}
	if unit == frame.DegC {
		apparent += quantity.CelsiusZeroK
	}
	surroundings := f.Stats().Mean
	if unit == frame.DegC {
		surroundings += quantity.CelsiusZeroK
	}
	camera := s.camera(apparent, r.Pixels, apparent-surroundings)
	if r.ApparentK, err = apparentEstimate(apparent, camera); err != nil {
		return r, err
	}
	scene, whyNot, err := s.scene(r, eps)
	if err != nil || whyNot != "" {
		r.WhyNot = whyNot
		return r, err
	}
	scene.Camera = camera
	result, err := scene.Object(ctx, quantity.Exactly(apparent), uncertainty.Options{MonteCarlo: s.Trials > 0, Trials: uncertainty.Trials{Count: s.Trials, Seed: s.Seed}})
	if err != nil {
		return r, err
	}
	budget := NewBudget(result, scene.Unevaluated(r.ApparentK))
	r.Budget = &budget
	return r, s.objectMap(&r, scene, unit, f, eps)
}

// place finds the pixel or the region, and its apparent temperature in the unit of the frame.
func (s Settings) place(f frame.Frame) (r Reading, value float64, err error) {
	switch s.At {
	case Hottest:
		st := f.Stats()
		r.X, r.Y, r.Pixels = st.MaxX, st.MaxY, 1
		return r, st.Max, missing(st.Max)
	case Point:
		if s.X < 0 || s.Y < 0 || s.X >= f.Width || s.Y >= f.Height {
			return r, 0, fault.Invalidf("column %d, row %d lies outside the frame of %d x %d pixels", s.X, s.Y, f.Width, f.Height).WithHint("columns and rows count from 0 at the top left")
		}
		r.X, r.Y, r.Pixels = s.X, s.Y, 1
		value = f.Pixels[s.Y*f.Width+s.X]
		return r, value, missing(value)
	case Region:
		part, err := f.Crop(frame.Rect{X: s.X, Y: s.Y, Width: s.Width, Height: s.Height})
		if err != nil {
			return r, 0, err
		}
		st := part.Stats()
		r.X, r.Y, r.Pixels = s.X+st.MaxX, s.Y+st.MaxY, s.Width*s.Height-st.MissingCount
		return r, st.Mean, missing(st.Mean)
	}
	return r, 0, fault.Invalidf("%q is not a place to read a temperature at", s.At).WithHint("give hottest, a point column,row or a region column,row,width,height")
}

func missing(v float64) error {
	if math.IsNaN(v) {
		return fault.Invalidf("the pixel is missing").WithHint("choose another place")
	}
	return nil
}

// camera gathers what the camera adds to the uncertainty. A small target stands
// out of its surroundings, taken as the mean of the frame, by contrastK.
func (s Settings) camera(apparentK float64, pixels int, contrastK float64) uncertainty.Camera {
	c := uncertainty.Camera{
		ReadingK: apparentK, AccuracyK: s.AccuracyK, AccuracyShare: s.AccuracyFraction, NETDK: s.NETDK, Frames: s.FramesAveraged, Pixels: pixels,
		NonUniformityK: s.NonUniformityK, DriftKPerMin: s.DriftKPerMin, MinutesSinceReference: s.SinceReferenceS / 60,
	}
	if s.TargetUM > 0 {
		c.Target = uncertainty.SpotSize{TargetUM: s.TargetUM, BlurUM: s.BlurUM, DefocusUM: s.DefocusUM, ContrastK: contrastK}
	}
	return c
}

// apparentEstimate is the reading with the camera's own contributions; without a
// stated accuracy, the largest of them, none is evaluated.
func apparentEstimate(k float64, c uncertainty.Camera) (quantity.Estimate, error) {
	inputs, err := c.Inputs()
	if err != nil || c.AccuracyK == 0 && c.AccuracyShare == 0 {
		return quantity.Exactly(k), err
	}
	var u []float64
	for _, in := range inputs {
		u = append(u, in.U)
	}
	return quantity.With(k, quantity.RootSumSquare(u...)), nil
}

// scene returns what the settings say of the measurement at the place read, or
// why no object temperature follows.
func (s Settings) scene(r Reading, eps *frame.Frame) (Scene, string, error) {
	band, err := radiometry.NewBand(s.BandLowUM, s.BandHighUM)
	if err != nil {
		return Scene{}, "", err
	}
	scene := Scene{Band: band}
	switch {
	case s.Map != nil && eps != nil:
		v := eps.Pixels[r.Y*eps.Width+r.X]
		if math.IsNaN(v) {
			return scene, "the emissivity map is masked at the place", nil
		}
		scene.Emissivity = quantity.Exactly(v)
		if u := s.Map.RelativeU * v; u > 0 {
			scene.Emissivity = quantity.With(v, u)
		}
	case s.Emissivity != nil:
		scene.Emissivity = s.Emissivity.Estimate
	default:
		return scene, "no emissivity is recorded", nil
	}
	switch {
	case s.ReflectedK != nil:
		scene.ReflectedK = s.ReflectedK.Estimate
	case scene.Emissivity.Value == 1:
		scene.ReflectedK = quantity.Exactly(quantity.CelsiusZeroK) // nothing is reflected
	default:
		return scene, "no reflected temperature is recorded", nil
	}
	for _, e := range s.Elements {
		scene.Elements = append(scene.Elements, Element{e.Name, e.Transmission.Estimate, e.TempK.Estimate})
	}
	return scene, "", nil
}

func (s Settings) objectMap(r *Reading, scene Scene, unit frame.Unit, f frame.Frame, eps *frame.Frame) error {
	in := radiometry.PixelK
	if unit == frame.DegC {
		in = radiometry.PixelDegC
	}
	c, err := NewCorrector(scene, in, f)
	if err != nil {
		return err
	}
	if s.Map == nil {
		eps = nil
	}
	object, tally, err := Correct(c, f, eps)
	if err != nil {
		return err
	}
	r.Object, r.Unsolved = &object, Unsolved(tally)
	return nil
}

// Unsolved returns the pixels without a temperature by reason.
func Unsolved(t radiometry.Tally) map[string]int {
	m := t.Map()
	delete(m, radiometry.Solved.String())
	return m
}
