package radiometry

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
)

// MaskRule says where an emissivity is not to be trusted. Each limit has its
// default when 0.
type MaskRule struct {
	// MaxRelativeU is the largest standard uncertainty that the noise of the
	// frames may leave, as a share of the emissivity: 0.10.
	MaxRelativeU float64
	// MinEmissivity masks what is so dark that reflections rule: 0.02.
	MinEmissivity float64
}

const (
	defaultMaxRelativeU  = 0.10
	defaultMinEmissivity = 0.02
)

func (m MaskRule) withDefaults() MaskRule {
	if m.MaxRelativeU == 0 {
		m.MaxRelativeU = defaultMaxRelativeU
	}
	if m.MinEmissivity == 0 {
		m.MinEmissivity = defaultMinEmissivity
	}
	return m
}

// String states the rule in a sentence.
func (m MaskRule) String() string {
	m = m.withDefaults()
	return fmt.Sprintf("masked where a frame has no reading, where the emissivity is below %g or above 1 by more than two standard uncertainties, and where noise leaves more than %g %% of it", m.MinEmissivity, 100*m.MaxRelativeU)
}

// EmissivityMap is an emissivity for each pixel, NaN where it is masked.
type EmissivityMap struct {
	Emissivity []float64
	U          []float64 // standard uncertainty from the noise of the frames alone, where not masked
	Rule       MaskRule

	Trusted   int     // pixels with an emissivity
	Missing   int     // masked: no reading in one of the frames
	TooDark   int     // masked: below Rule.MinEmissivity
	AboveOne  int     // masked: above 1 by more than two standard uncertainties
	TooNoisy  int     // masked: by Rule.MaxRelativeU
	SetToOne  int     // trusted, and set to 1 from less than two standard uncertainties above
	CommonRel float64 // relative standard uncertainty all pixels share: stage temperatures, transmission
}

// newEmissivityMap applies the rule to what value returns for each pixel.
func newEmissivityMap(n int, rule MaskRule, value func(i int) (eps, u float64)) *EmissivityMap {
	rule = rule.withDefaults()
	m := &EmissivityMap{Emissivity: make([]float64, n), U: make([]float64, n), Rule: rule}
	for i := range n {
		eps, u := value(i)
		reason := &m.Trusted
		switch {
		case math.IsNaN(eps) || math.IsInf(eps, 0):
			reason = &m.Missing
		case eps < rule.MinEmissivity:
			reason = &m.TooDark
		case eps > 1+2*u+1e-12: // the last term is for rounding where no noise is stated
			reason = &m.AboveOne
		case u > rule.MaxRelativeU*eps:
			reason = &m.TooNoisy
		case eps > 1:
			m.SetToOne++
			eps = 1
		}
		*reason++
		if reason != &m.Trusted {
			eps, u = math.NaN(), math.NaN()
		}
		m.Emissivity[i], m.U[i] = eps, u
	}
	return m
}

// Frames says how the frames of an emissivity measurement were taken.
type Frames struct {
	In        PixelUnit
	Elements  []Element // between object and camera, as in Scene; TwoTemperatures needs their transmissions only
	NETDK     float64   // of one pixel in one frame for a scene at 300 K; 0: not known, and no pixel is masked for noise
	Averaged  int       // frames averaged into one, 0 counts as 1
	Rule      MaskRule
	StageUK   float64 // standard uncertainty of each stage temperature, 0: not stated
	RelativeU float64 // relative standard uncertainty of the transmission of all elements together, 0: not stated
}

// setup is what all variants need of Frames.
type setup struct {
	frames       Frames
	band         *Band
	transmission float64
	offset       float64
	noise        float64 // standard deviation of a radiance read
	readings     *Table
}

func (b *Band) setup(f Frames) (*setup, error) {
	s := &setup{frames: f, band: b, transmission: 1}
	for i, el := range f.Elements {
		if err := el.validate(i); err != nil {
			return nil, err
		}
		s.transmission *= el.Transmission
		s.offset = el.Transmission*s.offset + el.emits(b)
	}
	if f.Averaged < 0 || !(f.StageUK >= 0) || !(f.RelativeU >= 0) || !(f.Rule.MaxRelativeU >= 0) || !(f.Rule.MinEmissivity >= 0) {
		return nil, fault.Invalidf("a negative figure of the frames of an emissivity map").WithHint("state uncertainties, limits and numbers of frames of zero or more")
	}
	noise, err := b.NoiseRadiance(f.NETDK, NETDReferenceK)
	if err != nil {
		return nil, err
	}
	s.noise = noise / math.Sqrt(math.Max(float64(f.Averaged), 1))
	s.readings, err = b.Table(defaultLowK, defaultHighK)
	return s, err
}

// radiance turns a reading into radiance, NaN when it is none.
func (s *setup) radiance(reading float64) float64 {
	if s.frames.In == PixelRadiance {
		if reading < 0 || math.IsInf(reading, 0) {
			return math.NaN()
		}
		return reading
	}
	return s.readings.Radiance(reading + s.frames.In.zeroK())
}

// slope is dL/dT at tempK, by a difference: good enough for an uncertainty.
func (s *setup) slope(tempK float64) float64 {
	const h = 0.05
	return (s.readings.Radiance(tempK+h) - s.readings.Radiance(tempK-h)) / (2 * h)
}

// leaves is the radiance that leaves the object towards the camera.
func (s *setup) leaves(reading float64) float64 {
	return (s.radiance(reading) - s.offset) / s.transmission
}

// TwoTemperatures makes an emissivity map from two frames of an unpowered
// object on a stage at coldK and hotK,
//
//	eps = (S_hot - S_cold) / (tau (B(hotK) - B(coldK))),
//
// in which what is reflected and what the elements send cancels as long as it
// stays the same. The frames have to be aligned first: see Register. Fault
// Invalid for frames of different sizes or none, temperatures that are not
// apart, and elements outside their domain.
func (b *Band) TwoTemperatures(cold, hot []float64, coldK, hotK float64, f Frames) (*EmissivityMap, error) {
	s, err := b.setup(f)
	if err != nil {
		return nil, err
	}
	if err := sameSize(cold, hot); err != nil {
		return nil, err
	}
	for _, stage := range []struct {
		what  string
		tempK float64
	}{{"the cold stage temperature", coldK}, {"the hot stage temperature", hotK}} {
		if err := checkTemperature(stage.what, stage.tempK); err != nil {
			return nil, err
		}
	}
	rise := b.Radiance(hotK) - b.Radiance(coldK)
	if !(hotK > coldK) || !(rise > 0) {
		return nil, fault.Invalidf("the hot stage at %g K is not above the cold one at %g K", hotK, coldK).WithHint("state the lower temperature as the cold one, and check that the frames are in the same order")
	}
	full := s.transmission * rise
	u := math.Sqrt2 * s.noise / full
	m := newEmissivityMap(len(cold), f.Rule, func(i int) (float64, float64) {
		return (s.radiance(hot[i]) - s.radiance(cold[i])) / full, u
	})
	m.CommonRel = math.Hypot(f.RelativeU, f.StageUK*math.Hypot(b.Derivative(hotK), b.Derivative(coldK))/rise)
	return m, nil
}

func sameSize(frames ...[]float64) error {
	for _, f := range frames {
		if len(f) == 0 || len(f) != len(frames[0]) {
			return fault.Invalidf("frames of %d and %d pixels", len(frames[0]), len(f)).WithHint("use frames of one size, taken with one camera")
		}
	}
	return nil
}

// OneTemperature makes an emissivity map from one frame of an unpowered object
// on a stage at stageK, with the reflected temperature known:
//
//	eps = (S' - B(reflectedK)) / (B(stageK) - B(reflectedK)),
//
// S' being the signal less what the elements take and add. What TwoTemperatures
// cancels has to be right here. Fault Invalid as there, and when the stage is as
// warm as what is reflected.
func (b *Band) OneTemperature(frame []float64, stageK, reflectedK float64, f Frames) (*EmissivityMap, error) {
	s, err := b.setup(f)
	if err != nil {
		return nil, err
	}
	if err := sameSize(frame); err != nil {
		return nil, err
	}
	if err := checkTemperature("the stage temperature", stageK); err != nil {
		return nil, err
	}
	return s.against(frame, stageK, reflectedK)
}

func (s *setup) against(frame []float64, surfaceK, reflectedK float64) (*EmissivityMap, error) {
	if err := checkTemperature("the reflected temperature", reflectedK); err != nil {
		return nil, err
	}
	r := s.band.Radiance(reflectedK)
	rise := s.band.Radiance(surfaceK) - r
	if !(math.Abs(rise) > 1e-9*r) || rise == 0 {
		return nil, fault.Invalidf("the surface at %g K is as warm as what it reflects", surfaceK).WithHint("heat the stage: at one temperature everything looks alike, whatever its emissivity")
	}
	u := s.noise / (s.transmission * math.Abs(rise))
	m := newEmissivityMap(len(frame), s.frames.Rule, func(i int) (float64, float64) {
		return (s.leaves(frame[i]) - r) / rise, u
	})
	m.CommonRel = s.frames.StageUK * s.band.Derivative(surfaceK) / math.Abs(rise)
	return m, nil
}

// Reference is a patch of known emissivity, tape or paint, in thermal contact
// with the surface that is looked for.
type Reference struct {
	Reading    float64 // mean over the patch, in the unit of the frame
	Emissivity float64
	ReflectedK float64
}

// FromReference makes an emissivity map from one frame in which everything is
// at the temperature of the patch, which it also returns, in K. Fault Invalid
// where the patch has no temperature, and as OneTemperature.
func (b *Band) FromReference(frame []float64, p Reference, f Frames) (*EmissivityMap, float64, error) {
	s, err := b.setup(f)
	if err != nil {
		return nil, 0, err
	}
	if err := sameSize(frame); err != nil {
		return nil, 0, err
	}
	e, err := NewEquation(b, Scene{p.Emissivity, p.ReflectedK, f.Elements})
	if err != nil {
		return nil, 0, fmt.Errorf("reference patch: %w", err)
	}
	surfaceK, err := e.ObjectFromRadiance(s.radiance(p.Reading))
	if err != nil {
		return nil, 0, fmt.Errorf("reference patch: %w", err)
	}
	m, err := s.against(frame, surfaceK, p.ReflectedK)
	return m, surfaceK, err
}

// Powered is a frame of the powered object, with the cold one to compare with.
type Powered struct {
	Frame      []float64
	Cold       []float64 // unpowered, at ColdK
	ColdK      float64
	Emissivity []float64
	Out        PixelUnit // PixelK or PixelDegC
}

// PoweredTemperatures returns the temperature of each pixel of the powered
// object,
//
//	T = B⁻¹[ (S - S_cold) / (tau eps) + B(coldK) ],
//
// in which again reflections and the elements' own radiation cancel, and the
// standard uncertainty that the noise of both frames leaves. Pixels without a
// solution are NaN and counted. Fault Invalid as TwoTemperatures.
func (b *Band) PoweredTemperatures(p Powered, f Frames) (temperatures, u []float64, tally Tally, err error) {
	s, err := b.setup(f)
	if err != nil {
		return nil, nil, Tally{}, err
	}
	if err := sameSize(p.Frame, p.Cold, p.Emissivity); err != nil {
		return nil, nil, Tally{}, err
	}
	if err := checkTemperature("the cold stage temperature", p.ColdK); err != nil {
		return nil, nil, Tally{}, err
	}
	base := b.Radiance(p.ColdK)
	temperatures, u = make([]float64, len(p.Frame)), make([]float64, len(p.Frame))
	for i := range p.Frame {
		eps := p.Emissivity[i]
		k, reason := s.powered(s.radiance(p.Frame[i])-s.radiance(p.Cold[i]), eps, base)
		tally[reason]++
		temperatures[i], u[i] = k-p.Out.zeroK(), math.NaN()
		if reason == Solved && s.noise > 0 {
			u[i] = math.Sqrt2 * s.noise / (s.transmission * eps * s.slope(k))
		}
	}
	return temperatures, u, tally, nil
}

func (s *setup) powered(rise, eps, base float64) (float64, Reason) {
	if math.IsNaN(rise) {
		return math.NaN(), Missing
	}
	if !(eps > 0 && eps <= 1) {
		return math.NaN(), BadEmissivity
	}
	own := rise/(s.transmission*eps) + base
	if !(own > 0) {
		return math.NaN(), BelowReflected
	}
	switch k := s.readings.kelvin(math.Log(own)); {
	case k > MaxK:
		return math.NaN(), TooHot
	case !(k >= MinK):
		return math.NaN(), TooCold
	default:
		return k, Solved
	}
}
