package radiometry

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
)

// Element is something the radiation passes on its way from the object to the
// camera: a stretch of air, a window, a lens. What it does not transmit it is
// taken to emit at its own temperature. Where a good part of the loss is
// reflection (common practice, no source: below a transmission of about 0.9),
// the temperature has to be an effective one, between that of the element and
// of what it mirrors into the camera.
type Element struct {
	Name         string  // as it is to be called in an error: "path", "optics", "lens-4"
	Transmission float64 // in the band, above 0 and at most 1
	TempK        float64
}

// Scene is what stands between the temperature of an object and the signal of
// the camera. Elements are in order from the object to the camera: the air path
// first, the optics after it, none for a camera that looks at the object alone.
type Scene struct {
	Emissivity float64 // in the band, above 0 and at most 1
	ReflectedK float64 // of the surroundings that the object reflects
	Elements   []Element
}

// Equation is the measurement equation of one scene in one band:
//
//	L = tau_o { tau_p [ eps B(T_obj) + (1-eps) B(T_refl) ] + (1-tau_p) B(T_path) } + (1-tau_o) B(T_opt),
//
// with as many elements as the scene has. The three-term form with one path is
// that of M. Vollmer, K.-P. Möllmann, Infrared Thermal Imaging, and of
// W. Minkina, S. Dudzik, Infrared Thermography (Wiley, 2009); an element more is
// the same step once more. The camera's own reading is taken as that of a
// blackbody: its emissivity set to 1, its own corrections off.
type Equation struct {
	band          *Band
	scene         Scene
	transmission  float64 // of all elements together
	offsetWM2SR   float64 // what the elements send into the camera
	reflectsWM2SR float64 // B(T_refl)
}

// NewEquation prepares the equation. Fault Invalid naming the input that is
// outside its domain: emissivity and transmissions above 0 and at most 1,
// temperatures from 0 K to MaxK.
func NewEquation(b *Band, s Scene) (*Equation, error) {
	if err := checkEmissivity(s.Emissivity); err != nil {
		return nil, err
	}
	if err := checkTemperature("the reflected temperature", s.ReflectedK); err != nil {
		return nil, err
	}
	e := &Equation{band: b, scene: s, transmission: 1, reflectsWM2SR: b.Radiance(s.ReflectedK)}
	for i, el := range s.Elements {
		if err := el.validate(i); err != nil {
			return nil, err
		}
		e.offsetWM2SR = el.Transmission*e.offsetWM2SR + el.emits(b)
		e.transmission *= el.Transmission
	}
	return e, nil
}

func checkEmissivity(eps float64) error {
	switch {
	case eps > 0 && eps <= 1:
		return nil
	case eps == 0:
		return fault.Invalidf("the emissivity is 0: the object sends out nothing of its own, so its temperature has no part in the signal").
			WithHint("type the emissivity of the surface in the band, above 0 and at most 1, for example 0.6")
	}
	return fault.Invalidf("the emissivity is %g, not above 0 and at most 1", eps).WithHint("type the emissivity of the surface in the band, for example 0.6")
}

func (el Element) called(i int) string {
	if el.Name != "" {
		return el.Name
	}
	return fmt.Sprintf("element %d", i+1)
}

func (el Element) validate(i int) error {
	name := el.called(i)
	switch tau := el.Transmission; {
	case tau > 0 && tau <= 1:
	case tau == 0:
		return fault.Invalidf("the transmission of the %s is 0: nothing of the object reaches the camera", name).
			WithHint("type the transmission of the %s in the band, above 0 and at most 1, for example 0.9", name)
	default:
		return fault.Invalidf("the transmission of the %s is %g, not above 0 and at most 1", name, tau).
			WithHint("type the transmission of the %s in the band, for example 0.9", name)
	}
	return checkTemperature("the temperature of the "+name, el.TempK)
}

// emits is the radiance the element adds behind itself.
func (el Element) emits(b *Band) float64 {
	if el.Transmission == 1 {
		return 0
	}
	return (1 - el.Transmission) * b.Radiance(el.TempK)
}

// Band returns the band of the equation.
func (e *Equation) Band() *Band { return e.band }

// Scene returns the scene of the equation.
func (e *Equation) Scene() Scene { return e.scene }

// Transmission returns that of all elements together.
func (e *Equation) Transmission() float64 { return e.transmission }

// Signal is what reaches the camera, and the temperature of the blackbody that
// would send the same.
type Signal struct {
	RadianceWM2SR float64
	ApparentK     float64
}

// Apparent returns the signal of an object at objectK. Fault Invalid when that
// is outside 0 K to MaxK, or the signal is too small to have a temperature.
func (e *Equation) Apparent(objectK float64) (Signal, error) {
	if err := checkTemperature("the object's temperature", objectK); err != nil {
		return Signal{}, err
	}
	eps := e.scene.Emissivity
	l := e.transmission*(eps*e.band.Radiance(objectK)+(1-eps)*e.reflectsWM2SR) + e.offsetWM2SR
	k, err := e.band.Temperature(l)
	if err != nil {
		return Signal{}, fmt.Errorf("apparent temperature: %w", err)
	}
	return Signal{RadianceWM2SR: l, ApparentK: k}, nil
}

// Object returns the temperature in K of the object whose apparent temperature
// is apparentK. Fault Invalid, naming the input, when there is none.
func (e *Equation) Object(apparentK float64) (float64, error) {
	if err := checkTemperature("the apparent temperature", apparentK); err != nil {
		return math.NaN(), err
	}
	return e.ObjectFromRadiance(e.band.Radiance(apparentK))
}

// ObjectFromRadiance is Object for a signal given as radiance, W m⁻² sr⁻¹.
func (e *Equation) ObjectFromRadiance(radianceWM2SR float64) (float64, error) {
	k, reason := e.solve(radianceWM2SR, e.scene.Emissivity)
	if reason == Solved {
		return k, nil
	}
	return math.NaN(), e.refusal(radianceWM2SR, reason)
}

// Reason says why a pixel has no object temperature.
type Reason int

// The reasons, in the order they are looked for.
const (
	Solved         Reason = iota // the pixel has a temperature
	Missing                      // the pixel is missing, infinite, or no possible reading
	BadEmissivity                // the emissivity is missing, or not above 0 and at most 1
	BelowElements                // the signal is below what path and optics alone send
	BelowReflected               // the signal is below what path, optics and reflection together send
	TooHot                       // the temperature would lie above MaxK
	TooCold                      // the temperature would lie below MinK
	reasons                      // how many there are
)

// String returns the reason as a JSON key.
func (r Reason) String() string {
	names := [...]string{"solved", "missing", "bad_emissivity", "below_elements", "below_reflected", "too_hot", "too_cold"}
	if r < 0 || int(r) >= len(names) {
		return "unknown"
	}
	return names[r]
}

// solve inverts the equation for one radiance and emissivity, without allocation.
func (e *Equation) solve(l, eps float64) (float64, Reason) {
	if !(l >= 0) || math.IsInf(l, 1) {
		return math.NaN(), Missing
	}
	if !(eps > 0 && eps <= 1) {
		return math.NaN(), BadEmissivity
	}
	const rounding = 1e-14 // a difference this small is what rounding leaves of zero
	leaves := (l - e.offsetWM2SR) / e.transmission
	if !(leaves*e.transmission > rounding*l) {
		return math.NaN(), BelowElements
	}
	own := leaves - (1-eps)*e.reflectsWM2SR
	if !(own*e.transmission > rounding*l) {
		return math.NaN(), BelowReflected
	}
	k := e.band.invert(math.Log(own / eps))
	switch {
	case k > MaxK:
		return math.NaN(), TooHot
	case !(k >= MinK):
		return math.NaN(), TooCold
	}
	return k, Solved
}

// refusal words the reason for a person, with the element it lies with.
func (e *Equation) refusal(l float64, r Reason) error {
	apparent := "the signal"
	if k, err := e.band.Temperature(l); err == nil {
		apparent = fmt.Sprintf("the apparent temperature of %.6g K", k)
	}
	switch r {
	case BelowElements:
		return e.elementRefusal(l, apparent)
	case BelowReflected:
		return fault.Invalidf("%s is below what the reflected part alone gives, with emissivity %g and a reflected temperature of %g K", apparent, e.scene.Emissivity, e.scene.ReflectedK).
			WithHint("check the reflected temperature and the emissivity: one is too high a temperature or too low an emissivity for this reading")
	case TooHot:
		return fault.Invalidf("%s asks for an object above %g K, with emissivity %g and a transmission of %g", apparent, MaxK, e.scene.Emissivity, e.transmission).
			WithHint("check the emissivity and the transmission: one is too low for this reading")
	case TooCold:
		return fault.Invalidf("%s asks for an object below %g K", apparent, MinK).WithHint("check the reflected temperature, the emissivity and the temperatures of path and optics")
	}
	return fault.Invalidf("a radiance of %g W m⁻² sr⁻¹ is no reading", l).WithHint("give a finite radiance above zero")
}

// elementRefusal walks from the camera towards the object until what is left
// of the signal is used up.
func (e *Equation) elementRefusal(l float64, apparent string) error {
	at, left := 0, l
	for i := len(e.scene.Elements) - 1; i >= 0; i-- {
		el := e.scene.Elements[i]
		at = i
		if left = (left - el.emits(e.band)) / el.Transmission; !(left > 0) {
			break
		}
	}
	if len(e.scene.Elements) == 0 {
		return fault.Invalidf("%s is no radiation at all", apparent).WithHint("give an apparent temperature above 0 K")
	}
	el := e.scene.Elements[at]
	name := el.called(at)
	return fault.Invalidf("%s is not above what the %s alone gives, at %g K with a transmission of %g", apparent, name, el.TempK, el.Transmission).
		WithHint("check the temperature and the transmission of the %s: it is too warm, or passes more than stated", name)
}
