package radiometry_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/radiometry"
)

// stageScene makes what a camera reads of a surface with emissivity eps.
func stageScene(b *radiometry.Band, eps []float64, objectK float64, noise func() float64) []float64 {
	out := make([]float64, len(eps))
	for i, e := range eps { // the measurement equation by hand, tau 0.88, lens at 299 K, surroundings at 296 K
		out[i] = 0.88*(e*b.Radiance(objectK)+(1-e)*b.Radiance(296)) + 0.12*b.Radiance(299) + noise()
	}
	return out
}

func lens() []radiometry.Element {
	return []radiometry.Element{{Name: "optics", Transmission: 0.88, TempK: 299}}
}

func still() float64 { return 0 }

func TestEmissivityIsRecovered(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	eps := []float64{0.05, 0.12, 0.5, 0.72, 0.95, 1}
	cold, hot, powered := stageScene(b, eps, 313.15, still), stageScene(b, eps, 353.15, still), stageScene(b, eps, 371.4, still)
	f := radiometry.Frames{In: radiometry.PixelRadiance, Elements: lens()}
	two, err := b.TwoTemperatures(cold, hot, 313.15, 353.15, f)
	if err != nil {
		t.Fatal(err)
	}
	one, err := b.OneTemperature(hot, 353.15, 296, f)
	if err != nil {
		t.Fatal(err)
	}
	patch, surfaceK, err := b.FromReference(hot, radiometry.Reference{Reading: hot[4], Emissivity: 0.95, ReflectedK: 296}, f)
	if err != nil || math.Abs(surfaceK-353.15) > 1e-6 {
		t.Fatalf("surface at %v K, %v, want 353.15", surfaceK, err)
	}
	for i, want := range eps {
		for name, m := range map[string]*radiometry.EmissivityMap{"two": two, "one": one, "patch": patch} {
			if math.Abs(m.Emissivity[i]-want) > 1e-7 || m.Trusted != len(eps) {
				t.Errorf("%s: emissivity %v, want %v; %d trusted", name, m.Emissivity[i], want, m.Trusted)
			}
		}
	}
	temps, _, tally, err := b.PoweredTemperatures(radiometry.Powered{Frame: powered, Cold: cold, ColdK: 313.15, Emissivity: two.Emissivity}, f)
	if err != nil || tally[radiometry.Solved] != len(eps) {
		t.Fatalf("powered: %v, %v", tally.Map(), err)
	}
	for i, k := range temps {
		if math.Abs(k-371.4) > 1e-5 {
			t.Errorf("powered pixel of emissivity %v: %v K, want 371.4", eps[i], k)
		}
	}
}

func TestNoiseOfAnEmissivityMap(t *testing.T) {
	t.Parallel()
	// Computed independently with scipy: NETD 60 mK at 300 K, 40/80 °C, transmission
	// 0.88 give 0.00185 an emissivity from single frames, printed to three digits for
	// a long-wave band not stated; the temperature of a single frame is uncertain by
	// 0.062 K at emissivity 0.72 and 0.37 K at 0.12, for 85 °C.
	b := band(t, 8, 14)
	eps := []float64{0.72, 0.12}
	f := radiometry.Frames{In: radiometry.PixelRadiance, Elements: lens(), NETDK: 0.06}
	cold, hot := stageScene(b, eps, 313.15, still), stageScene(b, eps, 353.15, still)
	m, err := b.TwoTemperatures(cold, hot, 313.15, 353.15, f)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(m.U[0]/0.00185-1) > 0.02 {
		t.Errorf("noise of the emissivity %v, want 0.00185", m.U[0])
	}
	_, u, _, err := b.PoweredTemperatures(radiometry.Powered{Frame: stageScene(b, eps, 358.15, still), Cold: cold, ColdK: 313.15, Emissivity: eps}, f)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.062, 0.37} {
		if got := u[i] / math.Sqrt2; math.Abs(got/want-1) > 0.03 { // of the powered frame alone
			t.Errorf("noise at emissivity %v: %v K, want %v", eps[i], got, want)
		}
	}
}

func TestNoiseIsAsPropagated(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	noise, err := b.NoiseRadiance(0.06, radiometry.NETDReferenceK)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(7, 7))
	eps := make([]float64, 20000)
	for i := range eps {
		eps[i] = 0.6
	}
	jitter := func() float64 { return noise * r.NormFloat64() }
	m, err := b.TwoTemperatures(stageScene(b, eps, 313.15, jitter), stageScene(b, eps, 353.15, jitter), 313.15, 353.15, radiometry.Frames{In: radiometry.PixelRadiance, Elements: lens(), NETDK: 0.06})
	if err != nil {
		t.Fatal(err)
	}
	var sum, squares float64
	for _, e := range m.Emissivity {
		sum, squares = sum+e-0.6, squares+(e-0.6)*(e-0.6)
	}
	n := float64(len(eps))
	if sd := math.Sqrt(squares / n); math.Abs(sd/m.U[0]-1) > 0.02 || math.Abs(sum/n) > 4*sd/math.Sqrt(n) {
		t.Errorf("mean off by %v, standard deviation %v, propagated %v", sum/n, sd, m.U[0])
	}
}

func TestWhatCannotBeTrustedIsMasked(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	cold, hot := stageScene(b, []float64{0.6, 0.6, 0.005, 1.5, 0.03, 1.002}, 313.15, still), stageScene(b, []float64{0.6, 0.6, 0.005, 1.5, 0.03, 1.002}, 353.15, still)
	hot[1] = math.NaN()
	m, err := b.TwoTemperatures(cold, hot, 313.15, 353.15, radiometry.Frames{In: radiometry.PixelRadiance, Elements: lens(), NETDK: 0.12})
	if err != nil {
		t.Fatal(err)
	}
	if m.Trusted != 2 || m.Missing != 1 || m.TooDark != 1 || m.AboveOne != 1 || m.TooNoisy != 1 || m.SetToOne != 1 {
		t.Errorf("mask %+v", m)
	}
	for i, masked := range []bool{false, true, true, true, true, false} {
		if math.IsNaN(m.Emissivity[i]) != masked || math.IsNaN(m.U[i]) != masked {
			t.Errorf("pixel %d: %v, u %v, masked %v", i, m.Emissivity[i], m.U[i], masked)
		}
	}
	if m.Emissivity[5] != 1 {
		t.Errorf("an emissivity within noise above 1 is %v, want 1", m.Emissivity[5])
	}
}

func TestEmissivityRefuses(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	frame := []float64{300, 310}
	f := radiometry.Frames{In: radiometry.PixelK, Elements: lens()}
	blind := f
	blind.Elements = []radiometry.Element{{Name: "optics", Transmission: 0, TempK: 299}}
	two := func(cold, hot []float64, c, h float64, f radiometry.Frames) error {
		_, err := b.TwoTemperatures(cold, hot, c, h, f)
		return err
	}
	_, oneErr := b.OneTemperature(frame, 296, 296, f)
	_, _, patchErr := b.FromReference(frame, radiometry.Reference{Reading: 280, Emissivity: 0.1, ReflectedK: 330}, f)
	for _, c := range []struct {
		name, want string
		err        error
	}{
		{"sizes", "2 and 1 pixels", two(frame, frame[:1], 313, 353, f)}, {"empty", "0 and 0 pixels", two(nil, nil, 313, 353, f)},
		{"order", "not above the cold one", two(frame, frame, 353, 313, f)}, {"same", "not above the cold one", two(frame, frame, 313, 313, f)},
		{"NaN", "hot stage temperature", two(frame, frame, 313, math.NaN(), f)}, {"transmission", "transmission of the optics is 0", two(frame, frame, 313, 353, blind)},
		{"as warm as what it reflects", "as warm as", oneErr}, {"patch", "reference patch", patchErr},
	} {
		if fault.KindOf(c.err) != fault.Invalid || fault.HintOf(c.err) == "" || !strings.Contains(c.err.Error(), c.want) {
			t.Errorf("%s: %v, want a fault with %q and a hint", c.name, c.err, c.want)
		}
	}
}

func TestTypicalEmissivitiesAreAssumptionsWithSources(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, e := range radiometry.TypicalEmissivities() {
		if e.Source == "" || e.Conditions == "" || e.Status != "assumption" || seen[e.Surface] {
			t.Errorf("%+v lacks its provenance, or is there twice", e)
		}
		if !(e.Low > 0 && e.Low <= e.High && e.High <= 1 && e.Middle()-e.HalfWidth() > 0) {
			t.Errorf("%s: %v to %v", e.Surface, e.Low, e.High)
		}
		if strings.Contains(e.Surface, "copper") && e.High < 0.5 {
			t.Errorf("%s: %v is a known misprint", e.Surface, e.High)
		}
		seen[e.Surface] = true
	}
}

func TestAveragedNETD(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		netd, floor float64
		n           int
		want        float64
	}{{0.06, 0, 1, 0.06}, {0.06, 0, 100, 0.006}, {0.06, 0.01, 100, 0.01}, {0.06, 0, 0, math.NaN()}, {-1, 0, 1, math.NaN()}} {
		if got := radiometry.AveragedNETD(c.netd, c.n, c.floor); !(math.Abs(got-c.want) < 1e-15 || math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("AveragedNETD(%v, %d, %v) = %v, want %v", c.netd, c.n, c.floor, got, c.want)
		}
	}
}
