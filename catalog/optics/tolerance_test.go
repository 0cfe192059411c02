package optics_test

import (
	"math"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

// bench is two lenses before a camera, with tolerances of a lens bought blind.
func bench() (optics.Attachment, optics.Tolerances) {
	s := optics.Stack{{Element: thick(4.003, 0, -75, 3), GapAfterMM: 2}, {Element: optics.Thin(30)}}
	c := camera()
	c.FocusMM = 300
	return optics.Attachment{Stack: s, Camera: c, StandoffMM: 4, WavelengthUM: 10}, optics.Tolerances{
		Elements:      []optics.Tolerance{{Radius2MM: 0.4, ThicknessMM: 0.05, Index: 0.002, GapAfterMM: 0.1}, {FocalMM: 0.5, GapAfterMM: 0.2}},
		CameraFocalMM: 0.05, CameraFocusMM: 10, PitchUM: 0.02,
	}
}

func figureOf(t *testing.T, r optics.ToleranceReport, name string) optics.FigureUncertainty {
	t.Helper()
	for _, f := range r.Figures {
		if f.Name == name {
			return f
		}
	}
	t.Fatalf("no figure %q", name)
	return optics.FigureUncertainty{}
}

func TestToleranceByHand(t *testing.T) {
	t.Parallel()
	// One thin lens before a camera at infinity: s = fa, |M| = fc/fa, object pixel = p fa/fc. By hand u(s) = u(fa), and the
	// pixel's relative variance is the sum of those of p, fa and fc (JCGM 100:2008, 5.1.6).
	a := optics.Attachment{Stack: one(optics.Thin(25)), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	report, err := a.Tolerate(optics.Tolerances{Elements: []optics.Tolerance{{FocalMM: 0.5}}, CameraFocalMM: 0.04, PitchUM: 0.06}, optics.Trials{Count: 20000, Seed: 7}, optics.FirstOrder)
	if err != nil {
		t.Fatal(err)
	}
	s := figureOf(t, report, "working_distance_mm")
	// The standard deviation of 20000 normal trials has a standard deviation of 1/sqrt(2 x 20000) = 0.5 %.
	if s.Nominal != 25 || !within(s.Mean, 25, 3*0.5/25/math.Sqrt(20000)) || !within(s.U, 0.5, 0.02) || !within(s.FirstOrderU, 0.5, 1e-9) || s.Shares[0].Input != "lens 1, focal length" || !within(s.Shares[0].Share, 1, 1e-9) {
		t.Errorf("working distance %+v", s)
	}
	if !within(s.Low, 25-1.96*0.5, 3e-3) || !within(s.High, 25+1.96*0.5, 3e-3) {
		t.Errorf("95 %% of the trials from %v to %v", s.Low, s.High)
	}
	pixel := figureOf(t, report, "object_pixel_um")
	relative := []float64{0.02, 0.01, 0.005}
	want := 75 * math.Sqrt(relative[0]*relative[0]+relative[1]*relative[1]+relative[2]*relative[2])
	if !within(pixel.FirstOrderU, want, 1e-3) || !within(pixel.U, want, 0.02) {
		t.Errorf("object pixel %+v, want u %v", pixel, want)
	}
	for k, input := range []string{"lens 1, focal length", "camera, focal length", "camera, pixel pitch"} {
		if got := pixel.Shares[k]; got.Input != input || !within(got.U, 75*relative[k], 1e-3) || !within(got.Share, math.Pow(75*relative[k]/want, 2), 2e-3) {
			t.Errorf("share %d: %+v, want %s with u %v", k, got, input, 75*relative[k])
		}
	}
}

func TestToleranceOfSeveralInputs(t *testing.T) {
	t.Parallel()
	a, tolerances := bench()
	report, err := a.Tolerate(tolerances, optics.Trials{Count: 8000, Seed: 1}, optics.FirstOrder)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range report.Figures {
		total := 0.0
		for i, s := range f.Shares {
			total += s.Share
			if i > 0 && s.U > f.Shares[i-1].U {
				t.Errorf("%s: shares are not in order", f.Name)
			}
		}
		if !within(f.U, f.FirstOrderU, 0.05) || !within(total, 1, 1e-9) || len(f.Shares) != 9 {
			t.Errorf("%s: u %v, to first order %v, %d shares of %v", f.Name, f.U, f.FirstOrderU, len(f.Shares), total)
		}
	}
}

func TestTolerancesDoNotDependOnCores(t *testing.T) {
	a, tolerances := bench()
	run := func(seed uint64) optics.ToleranceReport {
		r, err := a.Tolerate(tolerances, optics.Trials{Count: 300, Seed: seed}, optics.FirstOrder)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	many := run(5)
	before := runtime.GOMAXPROCS(1)
	one := run(5)
	runtime.GOMAXPROCS(before)
	if !reflect.DeepEqual(many, one) {
		t.Error("one core and many give different figures")
	}
	if reflect.DeepEqual(many, run(6)) {
		t.Error("another seed gives the same figures")
	}
	nominal, _ := bench()
	if !reflect.DeepEqual(a, nominal) {
		t.Error("the attachment was changed")
	}
}

func TestClosedGapAndFailures(t *testing.T) {
	t.Parallel()
	a, _ := bench()
	a.Stack[0].GapAfterMM = 0
	report, err := a.Tolerate(optics.Tolerances{Elements: []optics.Tolerance{{GapAfterMM: 0.1}, {}}}, optics.Trials{Count: 4000}, optics.FirstOrder)
	if err != nil {
		t.Fatal(err)
	}
	s := figureOf(t, report, "working_distance_mm")
	// A gap that cannot close further opens in half of the trials: of max(0, x) the mean is u/sqrt(2 pi), by hand.
	if want := s.Nominal + s.Shares[0].Sensitivity*0.1/math.Sqrt(2*math.Pi); !within(s.Mean-s.Nominal, want-s.Nominal, 0.1) || report.Failed != 0 {
		t.Errorf("%+v, want a mean of %v", s, want)
	}
	// Focal lengths that may change sign: some trials have no figures, and are counted.
	wild := optics.Attachment{Stack: one(optics.Thin(25)), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	report, err = wild.Tolerate(optics.Tolerances{Elements: []optics.Tolerance{{FocalMM: 15}}}, optics.Trials{}, optics.FirstOrder)
	// A normal distribution lies below 0 at 25/15 standard deviations with 4.78 %.
	if err != nil || math.Abs(float64(report.Failed)/2000-0.0478) > 0.015 || report.Example == "" {
		t.Errorf("%d of %d fail (%q), %v", report.Failed, report.Trials, report.Example, err)
	}
	wildest := func(focal float64) error {
		_, err := wild.Tolerate(optics.Tolerances{Elements: []optics.Tolerance{{FocalMM: focal}}}, optics.Trials{}, func(a optics.Attachment) ([]optics.Figure, error) {
			if a.Stack[0].Element.FocalMM != 25 {
				return nil, fault.Invalidf("no")
			}
			return optics.FirstOrder(a)
		})
		return err
	}
	if err := wildest(1); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "no") {
		t.Errorf("no trial gives figures: %v", err)
	}
}

func TestImpossibleTolerances(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*optics.Attachment, *optics.Tolerances, *optics.Trials){
		"too few":          func(_ *optics.Attachment, t *optics.Tolerances, _ *optics.Trials) { t.Elements = t.Elements[:1] },
		"of a plane":       func(_ *optics.Attachment, t *optics.Tolerances, _ *optics.Trials) { t.Elements[0].Radius1MM = 1 },
		"index of thin":    func(_ *optics.Attachment, t *optics.Tolerances, _ *optics.Trials) { t.Elements[1].Index = 0.1 },
		"focal of a thick": func(_ *optics.Attachment, t *optics.Tolerances, _ *optics.Trials) { t.Elements[0].FocalMM = 0.1 },
		"negative":         func(_ *optics.Attachment, t *optics.Tolerances, _ *optics.Trials) { t.Elements[0].Index = -0.1 },
		"NaN":              func(_ *optics.Attachment, t *optics.Tolerances, _ *optics.Trials) { t.PitchUM = math.NaN() },
		"none": func(a *optics.Attachment, t *optics.Tolerances, _ *optics.Trials) {
			*t = optics.Tolerances{Elements: make([]optics.Tolerance, 2)}
		},
		"one trial": func(_ *optics.Attachment, _ *optics.Tolerances, n *optics.Trials) { n.Count = 1 },
		"no camera": func(a *optics.Attachment, _ *optics.Tolerances, _ *optics.Trials) { a.Camera.FocalMM = 0 },
	} {
		a, tolerances := bench()
		trials := optics.Trials{}
		change(&a, &tolerances, &trials)
		if _, err := a.Tolerate(tolerances, trials, optics.FirstOrder); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v, want Invalid with a hint", name, err)
		}
	}
}

func TestWarming(t *testing.T) {
	t.Parallel()
	// Thin lens: df/f = (a - dn/dT/(n-1)) dT (W. J. Smith, Modern Optical Engineering, thermal effects). Germanium dn/dT
	// 396e-6 /K (Crystran handbook); expansion 5.9e-6 /K, from memory, not verified.
	const n, dn, expansion = 4.003, 396e-6, 5.9e-6
	w := optics.Warming{DnDTPerK: pointer(dn), ExpansionPerK: pointer(expansion)}
	thin, thick1 := w, w
	thin.Index = n
	a := optics.Attachment{Stack: one(optics.Thin(25)), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	b := a
	b.Stack = one(thick(n, 0, -25*(n-1), 1e-6))
	for _, dT := range []float64{0.01, 10, -30} {
		for i, d := range []struct {
			a optics.Attachment
			w optics.Warming
		}{{a, thin}, {b, thick1}} {
			got, err := d.a.Drift(dT, []optics.Warming{d.w})
			if err != nil {
				t.Fatal(err)
			}
			want := 25 * (expansion - dn/(n-1)) * dT
			if !within(got.EFLShiftMM, want, 1e-4+2e-4*math.Abs(dT)) || !within(got.FocusShiftMM, want, 1e-4+2e-4*math.Abs(dT)) || len(got.Unknown) != 0 {
				t.Errorf("%d, %v K: %+v, want a shift of %v", i, dT, got, want)
			}
			// Camera at infinity: M = -fc/fa.
			if !within(got.MagnificationShare, 25/(25+want)-1, 1e-4+3e-4*math.Abs(dT)) {
				t.Errorf("%d, %v K: magnification by %v", i, dT, got.MagnificationShare)
			}
		}
	}
	// A mirror follows its expansion alone, and a mount moves the gap.
	s := optics.Stack{{Element: optics.Mirror(-100, 1), GapAfterMM: 10}, {Element: thick(n, 0, -60, 3)}}
	warmed, unknown, err := s.Warmed(20, []optics.Warming{{ExpansionPerK: pointer(23e-6), GapExpansionPerK: 23e-6}, {DnDTPerK: pointer(dn)}})
	if err != nil || !within(warmed[0].Element.FocalLengthMM(), 50*(1+20*23e-6), 1e-12) || !within(warmed[0].GapAfterMM, 10*(1+20*23e-6), 1e-12) ||
		!within(warmed[1].Element.N, n+20*dn, 1e-12) || warmed[1].Element.ThicknessMM != 3 || len(unknown) != 1 || !strings.Contains(unknown[0], "lens 2: expansion") {
		t.Errorf("%+v, %v, %v", warmed, unknown, err)
	}
	if s[0].GapAfterMM != 10 {
		t.Error("the stack was changed")
	}
	for name, try := range map[string]func() error{
		"none":     func() error { _, _, err := s.Warmed(1, nil); return err },
		"NaN":      func() error { _, _, err := s.Warmed(math.NaN(), make([]optics.Warming, 2)); return err },
		"no index": func() error { _, err := a.Drift(1, []optics.Warming{w}); return err },
	} {
		if err := try(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v, want Invalid with a hint", name, err)
		}
	}
}

func TestTraceDoesNotAllocate(t *testing.T) {
	sys := compiled(t, stacks()["thick and thin"])
	rays, outcomes := bundle(100, 1, 0.1), make([]optics.Outcome, 100)
	work := make([]optics.Ray, 100)
	if n := testing.AllocsPerRun(10, func() {
		copy(work, rays)
		sys.TraceAll(work, outcomes)
		sys.Trace(rays[0])
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
