package heat_test

import (
	"math"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/heat"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Abs(want)) {
		t.Errorf("%s = %.12g, want %.12g to %g", what, got, want, tol)
	}
}

func TestFosterIdentities(t *testing.T) {
	t.Parallel()
	f := threeStages()
	near(t, "Z after a long time", f.StepKPerW(100), 1.5, 1e-12)
	near(t, "slope of Z at 0", f.StepKPerW(1e-9)/1e-9, .15/1e-3+.45/.02+.9/.35, 1e-6)
	if f.StepKPerW(0) != 0 || f.StepKPerW(-1) != 0 {
		t.Error("Z is not 0 before the step")
	}
	always := heat.Train{PulseS: .05, PeriodS: .05, PowerW: 2}
	near(t, "peak of power left on", f.PeakK(always), 3, 1e-12)
	near(t, "one pulse", f.PeakK(heat.Train{PulseS: .01, PeriodS: .05, PowerW: 1, Pulses: 1}), f.StepKPerW(.01), 1e-12)

	train := heat.Train{PulseS: .01, PeriodS: .05, PowerW: 5}
	if peak, mean, valley := f.PeakK(train), f.MeanK(train), f.ValleyK(train); !(valley < mean && mean < peak) {
		t.Errorf("valley %g, mean %g, peak %g are out of order", valley, mean, peak)
	}
	near(t, "many pulses from cold", f.PeakK(heat.Train{PulseS: .01, PeriodS: .05, PowerW: 5, Pulses: 200}), f.PeakK(train), 1e-10)

	// Superposition written out: each edge of the train is a step on or off.
	edges := func(t float64, pulses int) float64 {
		sum := 0.0
		for k := range pulses {
			on := float64(k) * train.PeriodS
			sum += f.StepKPerW(t-on) - f.StepKPerW(t-on-train.PulseS)
		}
		return 5 * sum
	}
	for _, at := range []float64{.004, .01, .03, .05, .0501, .162, .2001} {
		near(t, "rise from cold", f.AtK(train, at), edges(at, 10), 1e-12)
		limited := train
		limited.Pulses = 3
		near(t, "rise after three pulses", f.AtK(limited, at), edges(at, 3), 1e-12)
	}
	// The mean over a late period is the duty factor times the resistance.
	sum, n := 0.0, 5000
	for i := range n {
		sum += f.AtK(train, 20+train.PeriodS*(float64(i)+.5)/float64(n))
	}
	near(t, "mean over a period", sum/float64(n), f.MeanK(train), 1e-6)
	for _, p := range f.Zth(.2) {
		if p.PulsedKPW < p.ZKPerW || p.PulsedKPW > 1.5 {
			t.Errorf("at %g s the train gives %g K/W beside %g of one pulse", p.TimeS, p.PulsedKPW, p.ZKPerW)
		}
	}
}

func TestPlateIdentities(t *testing.T) {
	t.Parallel()
	p := heat.Plate{ConductivityWK: 148, ThicknessMM: .5, FilmWM2K: 5000}
	length := must[float64](t)(p.LengthMM())
	near(t, "length", length, math.Sqrt(148*.5e-3/5000)*1e3, 1e-14)
	rise := func(a, r float64) float64 { return must[float64](t)(p.RiseK(2, a, r)) }
	for _, a := range []float64{1e-5, 3e-4, .01, 1, 30} {
		near(t, "continuity at the rim", rise(a, a*(1+1e-9)), rise(a, a), 1e-6)
	}
	near(t, "a far point does not see the size", rise(.02, 10), rise(0, 10), 1e-5)
	near(t, "a wide source", rise(100*length, 0), 2/(math.Pi*math.Pow(100*length*1e-3, 2))/5000, 1e-9)
	// All power leaves through the film: the integral of h times the rise is P.
	for _, a := range []float64{.2, 1, 8} {
		sum, step := 0.0, .002
		for r := step / 2; r < 120; r += step {
			sum += rise(a, r) * 2 * math.Pi * r * step
		}
		near(t, "power through the film", sum*1e-6*5000, 2, 2e-5)
	}
}

func TestSpreadIdentities(t *testing.T) {
	t.Parallel()
	for _, shape := range []string{heat.Disk, heat.Square} {
		f := must[heat.SpreadFigures](t)(heat.Spread{Shape: shape, SizeMM: .3, ConductivityWK: 35}.Figures())
		if !(f.IsothermalKPerW < f.IsofluxMeanKPerW && f.IsofluxMeanKPerW < f.IsofluxCentreKPerW) {
			t.Errorf("%s: %+v is out of order", shape, f)
		}
		twice := must[heat.SpreadFigures](t)(heat.Spread{Shape: shape, SizeMM: .6, ConductivityWK: 35}.Figures())
		near(t, shape+" of twice the size", twice.IsofluxCentreKPerW, f.IsofluxCentreKPerW/2, 1e-14)
	}
	// The mean of an even disk lies between the isothermal one and 8 % above (ratio 32/(3 pi²)).
	d := must[heat.SpreadFigures](t)(heat.Spread{Shape: heat.Disk, SizeMM: 1, ConductivityWK: 1}.Figures())
	near(t, "mean over isothermal", d.IsofluxMeanKPerW/d.IsothermalKPerW, 32/(3*math.Pi*math.Pi), 1e-14)
	near(t, "centre over mean", d.IsofluxCentreKPerW/d.IsofluxMeanKPerW, 3*math.Pi/8, 1e-14)
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for name, err := range map[string]error{
		"negative size":     second(heat.Spread{Shape: heat.Disk, SizeMM: -1, ConductivityWK: 148}.Figures()),
		"no conductivity":   second(heat.Spread{Shape: heat.Disk, SizeMM: 1}.Figures()),
		"no shape":          second(heat.Spread{Shape: "star", SizeMM: 1, ConductivityWK: 1}.Figures()),
		"tiny":              second(heat.Spread{Shape: heat.Disk, SizeMM: 1e-300, ConductivityWK: 1e-300}.Figures()),
		"film of 0":         second(heat.Plate{ConductivityWK: 1, ThicknessMM: 1}.LengthMM()),
		"thickness of 0":    second(heat.Plate{ConductivityWK: 1, FilmWM2K: 1}.LengthMM()),
		"negative distance": second(heat.Plate{ConductivityWK: 1, ThicknessMM: 1, FilmWM2K: 1}.RiseK(1, 0, -1)),
		"too wide":          second(heat.Plate{ConductivityWK: 1, ThicknessMM: 1, FilmWM2K: 1e6}.RiseK(1, 1e5, 0)),
		"frequency of 0":    second(heat.DiffusionLengthMM(88, 0)),
		"diffusivity NaN":   second(heat.DiffusionLengthMM(nan, 1)),
		"no stage":          heat.Foster{}.Validate(),
		"negative R":        heat.Foster{{-1, 1}}.Validate(),
		"infinite tau":      heat.Foster{{1, inf}}.Validate(),
		"pulse over period": heat.Train{PulseS: 2, PeriodS: 1, PowerW: 1}.Validate(),
		"no power":          heat.Train{PulseS: 1, PeriodS: 2}.Validate(),
		"negative power":    heat.Train{PulseS: 1, PeriodS: 2, PowerW: -1}.Validate(),
		"derating of 0":     second(heat.Derating{FromK: 298}.At(1, 300)),
		"one point":         second(heat.FitLine([]heat.Point{{X: 1, Y: 1}})),
		"one x":             second(heat.FitLine([]heat.Point{{X: 1, Y: 1}, {X: 1, Y: 2}})),
		"some uncertain":    second(heat.FitLine([]heat.Point{{X: 1, Y: 1, UY: 1}, {X: 2, Y: 2}})),
		"blur drowns":       second(heat.HiddenByBlur(1, 100)),
	} {
		if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: error %v, hint %q, want Invalid with a hint", name, err, fault.HintOf(err))
		}
	}
}

func second[T any](_ T, err error) error { return err }

// Computed with numpy: the steps on and off of 2000 pulses superposed one by one.
func TestFosterTrainsAgainstSuperposition(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ pulseS, periodS, peakK, valleyK float64 }{
		{0.01, 0.05, 0.533317959511, 0.195969445965},
		{0.001, 0.1, 0.127245810521, 0.00794305784737},
		{0.005, 0.01, 0.855189728811, 0.644810271189},
		{0.05, 0.1, 1.04795212274, 0.452047877259},
		{0.18, 0.2, 1.43130026169, 0.950695118002},
		{0.001, 0.02, 0.175769227031, 0.0572164192048},
		{0.5, 2, 1.28657875116, 0.00944992350648},
	} {
		for _, pulses := range []int{0, 2000} {
			train := heat.Train{PulseS: tt.pulseS, PeriodS: tt.periodS, PowerW: 1, Pulses: pulses}
			near(t, "peak", threeStages().PeakK(train), tt.peakK, 1e-10)
			near(t, "valley", threeStages().ValleyK(train), tt.valleyK, 1e-10)
		}
	}
}

// Computed with scipy: the point source's K0 integrated over the disk, around and
// outwards, by adaptive quadrature.
func TestPlateAgainstSuperposedPoints(t *testing.T) {
	t.Parallel()
	p := heat.Plate{ConductivityWK: 20, ThicknessMM: 1.6, FilmWM2K: 20}
	for _, tt := range []struct{ radiusMM, atMM, riseK float64 }{
		{1, 0, 21.4123374408}, {1, 0.5, 20.7914688}, {5, 2, 13.04963}, {5, 5, 11.0025013},
		{5, 20, 4.60666897}, {40, 0, 3.95990202}, {40, 60, 1.20195962},
	} {
		near(t, "rise", must[float64](t)(p.RiseK(1, tt.radiusMM, tt.atMM)), tt.riseK, 2e-8)
	}
}
