package catalog

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Camera is a thermal camera with a fixed lens: a lens of known focal length
// before an array of pixels.
type Camera struct {
	Name             string            `json:"name"`
	PixelsX          int               `json:"pixels_x"`
	PixelsY          int               `json:"pixels_y"`
	PitchUM          float64           `json:"pitch_um"`
	BandLowUM        float64           `json:"band_low_um"`
	BandHighUM       float64           `json:"band_high_um"`
	FocalLengthMM    quantity.Estimate `json:"focal_length_mm"`
	FNumber          float64           `json:"f_number"`
	NearestFocusMM   *float64          `json:"nearest_focus_mm"`  // from its lens; nil: not recorded
	FrameRateHz      *float64          `json:"frame_rate_hz"`     // nil: not recorded
	NETDK            *float64          `json:"netd_k"`            // noise-equivalent temperature difference; nil: not recorded
	AccuracyK        *float64          `json:"accuracy_k"`        // stated limit of error, as +-; nil: not recorded
	AccuracyFraction *float64          `json:"accuracy_fraction"` // the same as a fraction of the reading in °C; nil: not recorded
	Serial           string            `json:"serial"`
	Firmware         string            `json:"firmware"`
	Supplier         string            `json:"supplier"`
	Cost             *quantity.Money   `json:"cost"`
	Condition        Condition         `json:"condition"`
	Notes            string            `json:"notes"`
}

// Kind returns KindCamera.
func (Camera) Kind() string { return KindCamera }

// Title returns the given name.
func (c Camera) Title() string { return c.Name }

// MidBandUM is the middle of the camera's band, where a setup is computed unless
// another wavelength is given.
func (c Camera) MidBandUM() float64 { return (c.BandLowUM + c.BandHighUM) / 2 }

// Validate checks the camera. Fault Invalid, naming the value and what to type.
func (c Camera) Validate() error {
	if c.Name != "" {
		if err := CheckName(KindCamera, c.Name); err != nil {
			return err
		}
	}
	if c.PixelsX < 1 || c.PixelsY < 1 || c.PixelsX > 65536 || c.PixelsY > 65536 {
		return fault.Invalidf("%d x %d pixels are not a camera's array", c.PixelsX, c.PixelsY).WithHint("give width x height, for example --pixels 256x192")
	}
	if !(c.BandLowUM < c.BandHighUM) {
		return fault.Invalidf("the band from %s to %s µm is empty", quantity.Fixed(c.BandLowUM, 6), quantity.Fixed(c.BandHighUM, 6)).WithHint("give --band 8um..14um")
	}
	checks := []struct {
		what      string
		v         *float64
		low, high float64
		unit      string
	}{
		{"pixel pitch", &c.PitchUM, 1, 1000, "µm"},
		{"lower band edge", &c.BandLowUM, 0.5, 50, "µm"},
		{"upper band edge", &c.BandHighUM, 0.5, 50, "µm"},
		{"focal length", &c.FocalLengthMM.Value, 0.1, 5000, "mm"},
		{"f-number", &c.FNumber, 0.3, 100, ""},
		{"nearest focus", c.NearestFocusMM, 1, 1e6, "mm"},
		{"frame rate", c.FrameRateHz, 0.001, 1e6, "Hz"},
		{"noise-equivalent temperature difference", c.NETDK, 1e-4, 10, "K"},
		{"accuracy", c.AccuracyK, 1e-4, 100, "K"},
		{"accuracy", c.AccuracyFraction, 1e-5, 1, "of the reading"},
	}
	for _, k := range checks {
		if k.v == nil {
			continue
		}
		if err := within(k.what, *k.v, k.low, k.high, k.unit); err != nil {
			return err
		}
	}
	if c.NearestFocusMM != nil && *c.NearestFocusMM <= c.FocalLengthMM.Value {
		return fault.Invalidf("nearest focus %s mm lies within the focal length %s mm", quantity.Fixed(*c.NearestFocusMM, 6), quantity.Fixed(c.FocalLengthMM.Value, 6)).
			WithHint("give the distance from the lens to the nearest sharp object, for example --nearest-focus 150mm")
	}
	if err := CheckCondition(c.Condition); err != nil {
		return err
	}
	return texts("serial", c.Serial, "firmware", c.Firmware, "supplier", c.Supplier, "notes", c.Notes)
}

// CheckFocus reports whether the camera can focus at distanceMM from its lens;
// infinity is always possible. Fault Invalid when it cannot.
func (c Camera) CheckFocus(distanceMM float64) error {
	if math.IsInf(distanceMM, 1) {
		return nil
	}
	nearest, what := c.FocalLengthMM.Value, "its focal length"
	if c.NearestFocusMM != nil {
		nearest, what = *c.NearestFocusMM, "its nearest focus"
	}
	if !(distanceMM >= nearest && distanceMM > c.FocalLengthMM.Value) {
		return fault.Invalidf("the camera cannot focus at %s mm: %s is %s mm", quantity.Fixed(distanceMM, 6), what, quantity.Fixed(nearest, 6)).
			WithHint("give a distance from the camera's lens of at least %s mm, or infinity", quantity.Fixed(nearest, 6))
	}
	return nil
}
