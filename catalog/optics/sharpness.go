package optics

import (
	"encoding/json"
	"math"
	"math/cmplx"
)

// Sharpness is what an attachment is predicted to resolve. Lengths and
// frequencies are those at the specimen.
//
// Modulation is a product: of the diffraction at the pupil as the specimen sees
// it, vignetting included, of the Fourier transform of the spots that exact rays
// of the whole band make about their centroid, and of the pixels' footprint.
// Wavelengths add up with their weights before the modulus is taken, so that
// colour across the field counts. The camera's lens is taken as perfect.
//
// The product counts a wavefront error of less than about a wave twice, once in
// diffraction and once in the spots, and is pessimistic there: a defocus of a
// quarter wave leaves a modulation of 0.29 at half the cut-off frequency, and
// the product says 0.07; at a tenth of it 0.84 and 0.83 (wave theory integrated
// independently with numpy). With several waves of error it is close at low
// frequencies and may be optimistic near the first zero. Where the spots vanish
// it is exact. It is optimistic in what it leaves out: the camera's own lens,
// scatter, lenses off their axis, cross-talk between pixels, and noise.
type Sharpness struct {
	WorkingDistanceMM float64          `json:"working_distance_mm"` // first vertex to best focus: least rms blur of the whole band on the axis
	FocusShiftMM      float64          `json:"focus_shift_mm"`      // less the paraxial one at the main wavelength
	DefocusMM         float64          `json:"defocus_mm"`          // how far beyond best focus the specimen stands
	RMSBlurUM         float64          `json:"rms_blur_um"`         // radius at best focus on the axis
	Magnification     float64          `json:"magnification"`
	ObjectPixelUM     float64          `json:"object_pixel_um"`
	NAObject          float64          `json:"na_object"`
	Stop              string           `json:"stop"`
	DepthOfField      DepthOfField     `json:"depth_of_field"`
	Contrast          float64          `json:"contrast"`
	FillFactor        float64          `json:"fill_factor"`
	Points            []PointSharpness `json:"points"` // centre, 0.7, corner
}

// PointSharpness is the sharpness of one point of the field. The directions are
// null where the beam is cut entirely, and where it is scattered so widely that
// the middle of its spots sends no light to the camera's pupil.
type PointSharpness struct {
	Name       string              `json:"name"`
	ObjectMM   float64             `json:"object_mm"`  // from the axis at the specimen
	Passed     float64             `json:"passed"`     // share of the pupil's beam, over the band
	Tangential *DirectionSharpness `json:"tangential"` // detail that changes along the line to the corner
	Sagittal   *DirectionSharpness `json:"sagittal"`   // detail that changes across it
}

// DirectionSharpness is the sharpness of detail that changes along one direction.
//
// A bar is half a period. It counts as resolved while the sine modulation
// exceeds the contrast and it is no narrower than a pixel's share of the
// specimen (Nyquist): the narrowest such bar is SmallestBarUM. Black and white
// bars keep more contrast than a sine; SquareBarUM is for those.
type DirectionSharpness struct {
	Curves        Curves   `json:"curves"`
	SmallestBarUM float64  `json:"smallest_bar_um"`
	ContrastBarUM float64  `json:"contrast_bar_um"` // by the sine modulation alone
	SquareBarUM   float64  `json:"square_bar_um"`   // by the contrast of black and white bars alone
	EdgeWidthUM   *float64 `json:"edge_width_um"`   // 10 % to 90 %; null where the blur has no end within the curve
	NearBarUM     float64  `json:"near_bar_um"`     // SmallestBarUM at the near end of the depth of field
	FarBarUM      float64  `json:"far_bar_um"`      // and at the far end
	Without       Causes   `json:"without"`         // SmallestBarUM if a cause were away
	Limit         string   `json:"limit"`           // the cause whose absence would help most
}

// Curves are modulations over frequency, for plots.
type Curves struct {
	FrequencyLPPerMM []float64 `json:"frequency_lp_per_mm"`
	Modulation       []float64 `json:"modulation"`  // of all together
	Diffraction      []float64 `json:"diffraction"` // of the pupil alone
	Geometrical      []float64 `json:"geometrical"` // of the spots alone
	Detector         []float64 `json:"detector"`    // of the pixels alone
}

// Causes holds one figure for each cause of blur.
type Causes struct {
	Diffraction float64 `json:"diffraction"`
	Aberration  float64 `json:"aberration"` // of the main wavelength at its own best focus, curvature of field included
	Colour      float64 `json:"colour"`     // what the other wavelengths add, focus and height included
	Pixels      float64 `json:"pixels"`
	Defocus     float64 `json:"defocus"`
}

// The causes of blur, as DirectionSharpness.Limit names them.
const (
	LimitDiffraction = "diffraction"
	LimitAberration  = "aberration"
	LimitColour      = "colour"
	LimitPixels      = "pixels"
	LimitDefocus     = "defocus"
	LimitSeveral     = "several causes alike"
)

// limit names the cause whose absence makes the bar smallest. An improvement of
// less than 1 % singles out none.
func (c Causes) limit(bar float64) string {
	causes := []struct {
		name string
		bar  float64
	}{{LimitDiffraction, c.Diffraction}, {LimitAberration, c.Aberration}, {LimitColour, c.Colour}, {LimitPixels, c.Pixels}, {LimitDefocus, c.Defocus}}
	const alike = 0.01
	name, best := LimitSeveral, (1-alike)*bar
	for _, k := range causes {
		if k.bar < best {
			name, best = k.name, k.bar
		}
	}
	for _, k := range causes {
		if name != LimitSeveral && k.name != name && k.bar <= (1+alike)*best {
			return LimitSeveral // the absence of either helps as much
		}
	}
	return name
}

// Sharpness predicts the modulation at the centre, at 0.7 of the field and at
// the corner, and what follows from it.
//
// Faults of Attachment.Figures and CheckFit; Invalid when the band, the fill
// factor or the contrast is not possible, or no ray passes along the axis.
func (p Prediction) Sharpness() (Sharpness, error) {
	s, err := p.stage()
	if err != nil {
		return Sharpness{}, err
	}
	out := Sharpness{
		WorkingDistanceMM: s.workingMM, FocusShiftMM: s.workingMM - s.firstMM, DefocusMM: s.DefocusMM, RMSBlurUM: 1000 * s.rmsMM,
		Magnification: s.figures.Magnification, ObjectPixelUM: s.figures.ObjectPixelUM, NAObject: s.figures.NAObject, Stop: s.figures.Stop,
		DepthOfField: s.figures.DepthOfField, Contrast: s.Contrast, FillFactor: s.FillFactor,
	}
	for _, h := range p.Attachment.Camera.fieldHeights() {
		out.Points = append(out.Points, s.sharpnessAt(h))
	}
	return out, nil
}

// sharpnessAt works one point of the field out.
func (s *scene) sharpnessAt(h fieldHeight) PointSharpness {
	out := PointSharpness{Name: h.name}
	tangential, sagittal := line{scene: s, height: h, tangential: true}, line{scene: s, height: h}
	object, light := 0.0, 0.0
	for i := range s.waves {
		w := &s.waves[i]
		spots := s.spots(w, h.heightMM)
		window, x, y, ok := w.outline(h.heightMM, s.workingMM, spots)
		if !ok {
			continue
		}
		a := aperture{w.forward, x, y, -s.workingMM, w.standoffMM, w.pupilMM}
		share := w.weight * float64(len(spots)) / float64(len(s.points))
		object, light = object+share*math.Abs(y), light+share
		along, across := a.strips(window, true), a.strips(window, false)
		if width(along) == 0 || width(across) == 0 {
			continue
		}
		tangential.waves = append(tangential.waves, lineWave{w.wavelengthUM, share, along, spots})
		sagittal.waves = append(sagittal.waves, lineWave{w.wavelengthUM, share, across, spots})
	}
	if light == 0 {
		return out
	}
	out.Passed, out.ObjectMM = light, object/light
	if len(tangential.waves) == 0 {
		return out
	}
	out.Tangential, out.Sagittal = tangential.sharpness(), sagittal.sharpness()
	return out
}

// line is one direction at one point of the field, with all that blurs detail
// that changes along it.
type line struct {
	*scene
	height     fieldHeight
	tangential bool
	waves      []lineWave
	stepLP     float64 // between frequencies
}

type lineWave struct {
	wavelengthUM float64
	share        float64
	pupil        []strip
	spots        []spot
}

// frequencies is how many a curve has, from 0 to its end.
const frequencies = 193

// blur says which parts of the spots count.
type blur struct {
	aberration, colour bool
	defocusMM          float64
}

// sharpness works the direction out. Frequencies go to the cut-off of
// diffraction, or to four times the one where little is left, whichever is less.
func (l line) sharpness() *DirectionSharpness {
	cutoff := 0.0
	for _, w := range l.waves {
		cutoff = max(cutoff, width(w.pupil)/(w.wavelengthUM/1000))
	}
	l.stepLP = cutoff / (frequencies - 1)
	all := blur{true, true, l.DefocusMM}
	diffraction := l.diffraction()
	detector := l.detector()
	if f, _ := l.combine(diffraction, l.spread(all), detector).FirstBelow(0.02); 4*f < cutoff {
		l.stepLP = 4 * f / (frequencies - 1)
		diffraction, detector = l.diffraction(), l.detector()
	}
	spread := l.spread(all)
	curve := l.combine(diffraction, spread, detector)
	bar := func(b blur) float64 { return l.bar(l.combine(diffraction, l.spread(b), detector)) }
	d := &DirectionSharpness{Curves: l.curves(curve, diffraction, spread, detector)}
	d.SmallestBarUM, d.ContrastBarUM = l.bar(curve), halfPeriod(curve.FirstBelow(l.Contrast))
	d.SquareBarUM = halfPeriod(curve.FirstSquareBelow(l.Contrast))
	if w := curve.EdgeWidthUM(0.1, 0.9); !math.IsInf(w, 1) {
		d.EdgeWidthUM = &w
	}
	reach := l.figures.DepthOfField.TotalUM / 2000
	d.NearBarUM, d.FarBarUM = bar(blur{true, true, l.DefocusMM - reach}), bar(blur{true, true, l.DefocusMM + reach})
	d.Without = Causes{
		Diffraction: l.bar(l.combine(nil, spread, detector)), Aberration: bar(blur{false, true, l.DefocusMM}), Colour: bar(blur{true, false, l.DefocusMM}),
		Pixels: halfPeriod(l.combine(diffraction, spread, nil).FirstBelow(l.Contrast)), Defocus: d.SmallestBarUM,
	}
	if l.DefocusMM != 0 {
		d.Without.Defocus = bar(blur{true, true, 0})
	}
	d.Limit = d.Without.limit(d.SmallestBarUM)
	return d
}

// halfPeriod is the bar at a frequency, in µm. A curve that does not fall that
// far ends the search: the bar is then at most this wide.
func halfPeriod(lpPerMM float64, _ bool) float64 { return 500 / lpPerMM }

// bar is the narrowest bar that keeps the contrast and fills a pixel.
func (l line) bar(c Curve) float64 {
	return max(halfPeriod(c.FirstBelow(l.Contrast)), l.figures.ObjectPixelUM)
}

// diffraction returns every wave's modulation by the pupil alone.
func (l line) diffraction() [][]float64 {
	curves := make([][]float64, len(l.waves))
	for i, w := range l.waves {
		curves[i] = make([]float64, frequencies)
		for k := range curves[i] {
			curves[i][k] = overlap(w.pupil, w.wavelengthUM/1000*l.stepLP*float64(k))
		}
	}
	return curves
}

// detector returns the modulation by the pixels, rectangles whose sides follow
// the array's and not the line.
func (l line) detector() []float64 {
	c, cos, sin := l.Attachment.Camera, l.height.cos, l.height.sin
	if !l.tangential {
		cos, sin = -sin, cos
	}
	side := math.Sqrt(l.FillFactor) / math.Abs(l.figures.Magnification) / 1000
	curve := make([]float64, frequencies)
	for k := range curve {
		f := l.stepLP * float64(k)
		curve[k] = DetectorMTF(f*cos, c.PitchXUM*side) * DetectorMTF(f*sin, c.PitchYUM*side)
	}
	return curve
}

// spread returns every wave's Fourier transform of its spots, about a common
// origin. Phasors of all rays turn by one step a frequency.
func (l line) spread(b blur) [][]complex128 {
	curves := make([][]complex128, len(l.waves))
	for i, w := range l.waves {
		turn, phasor := make([]complex128, len(w.spots)), make([]complex128, len(w.spots))
		for k, q := range w.spots {
			sin, cos := math.Sincos(-2 * math.Pi * l.stepLP * l.offset(q, b))
			turn[k], phasor[k] = complex(cos, sin), 1
		}
		curve := make([]complex128, frequencies)
		for f := range curve {
			var sum complex128
			for k, p := range phasor {
				sum += p
				phasor[k] = p * turn[k]
			}
			curve[f] = sum / complex(float64(len(phasor)), 0)
		}
		curves[i] = curve
	}
	return curves
}

// offset is where a ray meets the specimen along the line, with the parts of
// its blur that count, from a point common to all rays of the line.
func (l line) offset(q spot, b blur) float64 {
	at, alone, slope, zero := q.x, q.aloneX, q.tx, l.waves[0].spots[0].aloneX
	if l.tangential {
		at, alone, slope, zero = q.y, q.aloneY, q.ty, l.waves[0].spots[0].aloneY
	}
	out := b.defocusMM * slope
	if b.colour {
		out += at - alone
	}
	if b.aberration {
		out += alone - zero
	}
	return out
}

// combine adds the waves up by their shares. A nil part does not count.
func (l line) combine(diffraction [][]float64, spread [][]complex128, detector []float64) Curve {
	curve := Curve{l.stepLP, make([]float64, frequencies)}
	total := 0.0
	for _, w := range l.waves {
		total += w.share
	}
	for k := range curve.Modulation {
		var sum complex128
		for i, w := range l.waves {
			part := complex(w.share/total, 0)
			if diffraction != nil {
				part *= complex(diffraction[i][k], 0)
			}
			if spread != nil {
				part *= spread[i][k]
			}
			sum += part
		}
		curve.Modulation[k] = cmplx.Abs(sum)
		if detector != nil {
			curve.Modulation[k] *= detector[k]
		}
	}
	return curve
}

func (l line) curves(all Curve, diffraction [][]float64, spread [][]complex128, detector []float64) Curves {
	c := Curves{
		FrequencyLPPerMM: make([]float64, frequencies), Modulation: all.Modulation, Detector: detector,
		Diffraction: l.combine(diffraction, nil, nil).Modulation, Geometrical: l.combine(nil, spread, nil).Modulation,
	}
	for k := range c.FrequencyLPPerMM {
		c.FrequencyLPPerMM[k] = l.stepLP * float64(k)
	}
	return c
}

// MarshalJSON writes a bar that is nowhere resolved as null: JSON has no infinity.
func (d DirectionSharpness) MarshalJSON() ([]byte, error) {
	type plain DirectionSharpness
	return json.Marshal(struct {
		plain
		SmallestBarUM *float64 `json:"smallest_bar_um"`
		ContrastBarUM *float64 `json:"contrast_bar_um"`
		SquareBarUM   *float64 `json:"square_bar_um"`
		NearBarUM     *float64 `json:"near_bar_um"`
		FarBarUM      *float64 `json:"far_bar_um"`
	}{plain(d), finite(d.SmallestBarUM), finite(d.ContrastBarUM), finite(d.SquareBarUM), finite(d.NearBarUM), finite(d.FarBarUM)})
}

// MarshalJSON writes a bar that is nowhere resolved as null.
func (c Causes) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Diffraction *float64 `json:"diffraction"`
		Aberration  *float64 `json:"aberration"`
		Colour      *float64 `json:"colour"`
		Pixels      *float64 `json:"pixels"`
		Defocus     *float64 `json:"defocus"`
	}{finite(c.Diffraction), finite(c.Aberration), finite(c.Colour), finite(c.Pixels), finite(c.Defocus)})
}

// finite is nil for a value that JSON cannot hold.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
