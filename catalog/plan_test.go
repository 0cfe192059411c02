package catalog_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/optics/plan"
	"dieglow/catalog/quantity"
)

func planCamera() catalog.Camera {
	return catalog.Camera{PixelsX: 256, PixelsY: 192, PitchUM: 12, BandLowUM: 8, BandHighUM: 14, FocalLengthMM: quantity.Exactly(4), FNumber: 1, Condition: catalog.Usable}
}

func planLens(handle string, change func(*catalog.Lens)) catalog.PlanLens {
	r, thickness, have := quantity.Exactly(75), quantity.Exactly(2), 2
	l := catalog.Lens{Form: catalog.Thick, Material: "germanium", Radius1MM: &r, ThicknessMM: &thickness, DiameterMM: 12.7, OnHand: &have,
		Cost: &quantity.Money{Minor: 3000, Currency: "EUR"}, Condition: catalog.Usable}
	if change != nil {
		change(&l)
	}
	return catalog.PlanLens{Ref: catalog.Ref{Handle: handle, Revision: 1}, Lens: l}
}

func planRequest(lenses ...catalog.PlanLens) catalog.PlanRequest {
	resolve := 50.0
	return catalog.PlanRequest{Camera: planCamera(), Lenses: lenses, GapsMM: []float64{0.5, 2}, LastGapsMM: []float64{3}, MaxLenses: 2, Keep: 3,
		Wishes: catalog.PlanWishes{ResolveUM: &resolve}, Weigh: func(float64) float64 { return 1 }}
}

func TestPlanLeavesOut(t *testing.T) {
	t.Parallel()
	none := 0
	r := planRequest(
		planLens("lens-1", nil),
		planLens("lens-2", func(l *catalog.Lens) { l.Condition = catalog.Damaged }),
		planLens("lens-3", func(l *catalog.Lens) { l.Cost = nil }),
		planLens("lens-4", func(l *catalog.Lens) { l.Cost.Currency = "USD" }),
		planLens("lens-5", func(l *catalog.Lens) { l.OnHand = &none }),
		planLens("lens-6", func(l *catalog.Lens) { l.OnHand = nil }),
		planLens("lens-7", func(l *catalog.Lens) { l.Material = "CaF2" }), // known to 12 µm
	)
	leftOut := func(r catalog.PlanRequest) []string {
		t.Helper()
		p, err := r.Prepare()
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, l := range p.LeftOut {
			out = append(out, strings.TrimPrefix(l.Lens, "lens-"))
			if l.Why == "" {
				t.Errorf("%s is left out without a reason", l.Lens)
			}
		}
		return out
	}
	for _, k := range []struct {
		name   string
		change func(*catalog.PlanRequest)
		want   []string
	}{
		{"all", func(*catalog.PlanRequest) {}, []string{"2", "7"}},
		{"on hand", func(r *catalog.PlanRequest) { r.OnHand = true }, []string{"2", "5", "6", "7"}},
		{"budget", func(r *catalog.PlanRequest) { r.Wishes.Budget = &quantity.Money{Minor: 9000, Currency: "EUR"} }, []string{"2", "3", "4", "7"}},
	} {
		with := r
		k.change(&with)
		if got := leftOut(with); !slices.Equal(got, k.want) {
			t.Errorf("%s: left out %q, want %q", k.name, got, k.want)
		}
	}
	if _, err := planRequest().Prepare(); fault.KindOf(err) != fault.NotFound || fault.HintOf(err) == "" {
		t.Errorf("an empty catalogue: %v", err)
	}
	if _, err := planRequest(r.Lenses[1]).Prepare(); fault.KindOf(err) != fault.NotFound || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("no lens of use: %v", err)
	}
}

// TestPlannedSetup: an option as a setup has the figures that the setup itself
// computes, and its stack reads back as it was.
func TestPlannedSetup(t *testing.T) {
	t.Parallel()
	p, err := planRequest(planLens("lens-1", nil)).Prepare()
	if err != nil {
		t.Fatal(err)
	}
	found, err := plan.Search(t.Context(), p.Problem, nil)
	if err != nil || len(found.Options) == 0 {
		t.Fatalf("%d options, %v", len(found.Options), err)
	}
	for i, o := range found.Options {
		shown, setup := p.Option(i+1, o), p.Setup(o)
		terms, err := catalog.ParseStack(shown.Stack)
		if err != nil || len(terms) != len(setup.Stack) {
			t.Fatalf("%q: %v", shown.Stack, err)
		}
		parts := catalog.Parts{Camera: planCamera()}
		for k, term := range terms {
			parts.Lenses = append(parts.Lenses, planLens("lens-1", nil).Lens)
			if term.Lens != "lens-1" || term.Flipped != setup.Stack[k].Flipped || term.GapAfterMM.Value != setup.Stack[k].GapAfterMM.Value {
				t.Errorf("%q does not read back: %+v", shown.Stack, term)
			}
		}
		light, err := setup.Light(parts, func(float64) float64 { return 1 })
		if err != nil || math.Abs(light.Transmission/shown.Transmission-1) > 1e-9 {
			t.Errorf("transmission %g, that of the setup %g, %v", shown.Transmission, light.Transmission, err)
		}
		ask, err := setup.Prediction(parts, func(float64) float64 { return 1 })
		if err != nil {
			t.Fatal(err)
		}
		sharp, err := ask.Sharpness()
		if err != nil || sharp.WorkingDistanceMM != shown.WorkingDistanceMM || max(sharp.Points[0].Tangential.SmallestBarUM, sharp.Points[0].Sagittal.SmallestBarUM) != shown.SmallestBarUM {
			t.Errorf("%q: bar %g µm is not that of the setup, %v", shown.Stack, shown.SmallestBarUM, err)
		}
		if cost := shown.Costs; len(cost) != 1 || cost[0].Minor != 3000*int64(len(terms)) {
			t.Errorf("%q costs %v", shown.Stack, cost)
		}
	}
}

func TestGapSteps(t *testing.T) {
	t.Parallel()
	for _, k := range []struct {
		low, high float64
		want      []float64
	}{{0, 10, []float64{0, 0.4, 1.6, 3.6, 6.4, 10}}, {2, 2, []float64{2}}, {0.5, 0.51, []float64{0.5, 0.51}}} {
		if got := catalog.GapSteps(k.low, k.high); !slices.Equal(got, k.want) {
			t.Errorf("GapSteps(%g, %g) = %v, want %v", k.low, k.high, got, k.want)
		}
	}
}

func TestPlanWishes(t *testing.T) {
	t.Parallel()
	zero, one := 0.0, 1.0
	for _, k := range []struct {
		w    catalog.PlanWishes
		fine bool
	}{
		{catalog.PlanWishes{ResolveUM: &one}, true}, {catalog.PlanWishes{ResolveUM: &zero}, false}, {catalog.PlanWishes{FieldMM: &zero}, false},
		{catalog.PlanWishes{ClearanceMM: &zero}, false}, {catalog.PlanWishes{Budget: &quantity.Money{Currency: "EUR"}}, false},
	} {
		if err := k.w.Validate(); (err == nil) != k.fine {
			t.Errorf("%+v: %v", k.w, err)
		}
	}
}
