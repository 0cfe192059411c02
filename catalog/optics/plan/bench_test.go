package plan

import (
	"context"
	"math"
	"testing"

	"dieglow/catalog/optics"
)

// lens is a part of a made-up catalogue; index at the main wavelength and its
// change to either end of the band.
func lens(name string, n, dn, r1, r2, thickness, diameter, cost float64) Part {
	part := Part{Name: name, Cost: cost}
	at := func(n float64) optics.Element {
		return optics.Element{N: n, Radius1MM: r1, Radius2MM: r2, ThicknessMM: thickness, DiameterMM: diameter, SemiAperture1MM: 0.45 * diameter, SemiAperture2MM: 0.45 * diameter}
	}
	part.Element = at(n)
	for i := range 5 {
		index := n - dn*(float64(i)-2)/2
		part.Waves = append(part.Waves, at(index))
		r := optics.FresnelReflectance(index)
		part.Transmission = append(part.Transmission, (1-r)*(1-r)/(1-r*r))
	}
	return part
}

func bandOf() []Wave {
	var waves []Wave
	for i := range 5 {
		waves = append(waves, Wave{8.6 + 1.2*float64(i), 1})
	}
	return waves
}

// bench20 is a catalogue of 20 lenses of germanium and zinc selenide, stacks of up
// to 4 of them, 6 gaps each.
func bench20() Problem {
	p := Problem{
		Camera:       optics.Camera{FocalMM: 4, FNumber: 1, PitchXUM: 12, PitchYUM: 12, Width: 256, Height: 192, FocusMM: math.Inf(1)},
		WavelengthUM: 11, Waves: bandOf(), LightWeights: []float64{1, 1, 1, 1, 1}, GapsMM: []float64{0.5, 1, 2, 4, 7, 10}, LastGapsMM: []float64{3, 4, 5, 6, 8, 10}, MaxLenses: 4,
		Wishes: Wishes{ResolveUM: 50, FieldMM: 3, ClearanceMM: 8, Budget: 20000},
	}
	for i, f := range []float64{12, 15, 18, 20, 25, 30, 38, 50, 75, 100} {
		cost := float64(2000 + 300*i)
		p.Parts = append(p.Parts, lens("ge", 4.0033, 0.002, 3.0033*f, 0, 2.2, 12.7, 2*cost), lens("zn", 2.4, 0.02, 0.7*f, 1.4*f, 2.5, 12.7, cost))
	}
	return p
}

// BenchmarkScreen is stage 1 alone, on wishes that nothing survives, so that no
// stack is traced. A stack counts when its working distance and magnification have
// been held against the wishes: lenses, order, orientations and gaps. Nearly all
// are met in the innermost loop, where only the gap before the last lens changes.
func BenchmarkScreen(b *testing.B) {
	p, err := bench20().validate()
	if err != nil {
		b.Fatal(err)
	}
	s := newSpace(p)
	b.ReportAllocs()
	screened := int64(0)
	for b.Loop() {
		var r Result
		if got := s.screen(context.Background(), Wishes{ResolveUM: 1e-3}, &r, func(Progress) {}); len(got) > 0 {
			b.Fatal(len(got))
		}
		screened += r.Counts.Screened
	}
	b.ReportMetric(float64(screened)/b.Elapsed().Seconds(), "stacks/s")
}

// BenchmarkPlanLoose has one wish alone, so that far more survives the screening.
func BenchmarkPlanLoose(b *testing.B) {
	for b.Loop() {
		p := bench20()
		p.Wishes = Wishes{ResolveUM: 50}
		r, err := Search(context.Background(), p, nil)
		if err != nil || len(r.Options) == 0 {
			b.Fatal(err, len(r.Options))
		}
		b.ReportMetric(float64(r.Counts.Traced), "traced")
	}
}

// BenchmarkPlanNothing is a plan that nothing meets, with the advice what to relax.
func BenchmarkPlanNothing(b *testing.B) {
	for b.Loop() {
		p := bench20()
		p.Wishes.ClearanceMM = 40
		r, err := Search(context.Background(), p, nil)
		if err != nil || len(r.Options) > 0 {
			b.Fatal(err, len(r.Options))
		}
		b.Logf("%+v", r.Counts)
		for _, x := range r.Relax {
			b.Logf("%s %v %v", x.Wish, x.Reachable, x.Value)
		}
	}
}

// BenchmarkPlan20 is a whole plan over 20 lenses, up to 4 in a stack, 6 gaps each.
func BenchmarkPlan20(b *testing.B) {
	for b.Loop() {
		r, err := Search(context.Background(), bench20(), nil)
		if err != nil || len(r.Options) == 0 {
			b.Fatal(err, len(r.Options))
		}
		b.ReportMetric(float64(r.Counts.Screened), "stacks")
	}
}
