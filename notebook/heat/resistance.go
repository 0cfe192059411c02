package heat

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Powered is a temperature of a specimen at a stated power.
type Powered struct {
	Label    string // of the capture
	PowerW   quantity.Estimate
	TempK    quantity.Estimate // of the hottest point or the place read
	Apparent bool              // as the camera says, not the object's
	AmbientK quantity.Estimate // at this capture

	// What of the temperature's uncertainty belongs to this reading alone, in K, and
	// what it shares with the others by the name of the input: the signed change of
	// the temperature for one standard uncertainty of it. OwnU is 0 where nothing is
	// known.
	OwnUK   float64
	SharedK map[string]float64
}

// RiseK is the temperature above the ambient at the same capture.
func (p Powered) RiseK() float64 { return p.TempK.Value - p.AmbientK.Value }

// ownU is the uncertainty of the rise that no other capture shares; the ambient's
// is taken as such.
func (p Powered) ownU() float64 {
	ambient, _ := p.AmbientK.StandardU()
	return math.Hypot(p.OwnUK, ambient)
}

// sharedU is the uncertainty of the rise that other captures share.
func (p Powered) sharedU() float64 {
	sum := 0.0
	for _, name := range sortedNames(p.SharedK) {
		sum = math.Hypot(sum, p.SharedK[name])
	}
	return sum
}

// Resistance is how the rise of a specimen goes with its power.
type Resistance struct {
	RiseKPerW  quantity.Estimate `json:"rise_k_per_w"` // slope
	InterceptK quantity.Estimate `json:"intercept_k"`  // rise at no power, 0 where nothing else is amiss
	FitUKPerW  *float64          `json:"fit_u_k_per_w"`
	SharedU    *float64          `json:"shared_u_k_per_w"` // from what all captures share, such as the emissivity
	Points     []ResistancePoint `json:"points"`

	Linear          string             `json:"linear"`     // yes, no or not known
	Chi2            *float64           `json:"chi_square"` // null: no uncertainties, or two points
	Freedom         int                `json:"degrees_of_freedom"`
	LargestOffK     float64            `json:"largest_deviation_k"`   // of a point from the line
	CurvatureKPerW2 *quantity.Estimate `json:"curvature_k_per_w2"`    // of a parabola; null: fewer than four points
	AmbientDriftK   float64            `json:"ambient_drift_k"`       // highest less lowest ambient
	Apparent        bool               `json:"apparent_temperatures"` // some are not the object's
	HighestPowerW   float64            `json:"highest_power_w"`
	Notes           []string           `json:"notes"`
	WhatItIs        string             `json:"what_it_is"`
	WhatItIsNot     string             `json:"what_it_is_not"`
	line            Line
	points          []Powered
	curve           [3]float64 // parabola in W, where CurvatureKPerW2 is
	weighted        bool
}

// ResistancePoint is a point of the line.
type ResistancePoint struct {
	Capture  string            `json:"capture"`
	PowerW   quantity.Estimate `json:"power_w"`
	RiseK    quantity.Estimate `json:"rise_k"`
	OffLineK float64           `json:"off_line_k"`
}

// What is measured here and what is not, in the terms of the JESD51 series: the
// terms in which a resistance is stated need the junction's temperature by an
// electrical method (JESD51-1), the standard's still air and board for theta-JA
// (JESD51-2), or all of the power through the case for theta-JC (JESD51-14).
const (
	whatItIs    = "rise per watt: the hottest point seen above the ambient, over the total power; a characterisation parameter of this part in this mounting, of the kind written psi (JESD51-2, 4, defines psi-JT so, with the total power)"
	whatItIsNot = "neither theta-JA nor theta-JC: the junction was not measured electrically (JESD51-1), the part does not stand in the standard's still air on its board (JESD51-2), and not all of the power leaves by one path (JESD51-14); do not compare it with a data sheet's theta, and do not carry it to another mounting"
)

// NewResistance fits the rise over each capture's own ambient against the power.
// What belongs to each reading alone is fitted by York's method; what the captures
// share moves all points together and is carried through to the slope by the law
// of propagation for inputs correlated with 1 (JCGM 100:2008, 5.2.2). Fault Invalid
// for a negative power, and fewer than two different powers.
func NewResistance(points []Powered) (Resistance, error) {
	points = slices.Clone(points)
	slices.SortStableFunc(points, func(a, b Powered) int { return cmp.Compare(a.PowerW.Value, b.PowerW.Value) })
	if err := checkPowers(points); err != nil {
		return Resistance{}, err
	}
	r := Resistance{points: points, Notes: []string{}, WhatItIs: whatItIs, WhatItIsNot: whatItIsNot, HighestPowerW: points[len(points)-1].PowerW.Value}
	fitted := r.linePoints()
	var err error
	if r.line, err = FitLine(fitted); err != nil {
		return r, err
	}
	r.slope()
	r.linearity(fitted)
	r.conditions()
	return r, nil
}

func checkPowers(points []Powered) error {
	if len(points) < 2 || points[0].PowerW.Value == points[len(points)-1].PowerW.Value {
		return fault.Invalidf("a rise per watt needs captures at two different powers").WithHint("add an unpowered reference, or a capture at another power")
	}
	if points[0].PowerW.Value < 0 {
		return fault.Invalidf("a power of %s W is below zero", quantity.Fixed(points[0].PowerW.Value, 4)).WithHint("give the power drawn, 0W or more")
	}
	return nil
}

// linePoints gives the points with their own uncertainties, or, where one has
// none, all without.
func (r *Resistance) linePoints() []Point {
	out := make([]Point, len(r.points))
	r.weighted = true
	for i, p := range r.points {
		u, _ := p.PowerW.StandardU()
		out[i] = Point{p.PowerW.Value, p.RiseK(), u, p.ownU()}
		r.weighted = r.weighted && out[i].UY > 0
	}
	if !r.weighted {
		for i := range out {
			out[i].UX, out[i].UY = 0, 0
		}
	}
	return out
}

// slope settles the slope and the intercept with their uncertainties.
func (r *Resistance) slope() {
	l := r.line
	r.RiseKPerW, r.InterceptK, r.Freedom = quantity.Exactly(l.B), quantity.Exactly(l.A), l.Freedom
	for _, p := range r.points {
		point := ResistancePoint{Capture: p.Label, PowerW: p.PowerW, RiseK: quantity.Exactly(p.RiseK()), OffLineK: p.RiseK() - l.A - l.B*p.PowerW.Value}
		if u := math.Hypot(p.ownU(), p.sharedU()); u > 0 {
			point.RiseK.U = &u
		}
		r.Points = append(r.Points, point)
		r.LargestOffK = math.Max(r.LargestOffK, math.Abs(point.OffLineK))
		r.Apparent = r.Apparent || p.Apparent
	}
	if math.IsNaN(l.UB) {
		r.Notes = append(r.Notes, "two points without uncertainties tell nothing of the slope's")
		return
	}
	widened := r.widened()
	fit, shared := l.UB*widened, r.sharedOf(func(k int) float64 { return l.Gain[k] })
	u, ua := math.Hypot(fit, shared), math.Hypot(l.UA*widened, r.sharedOf(func(k int) float64 { return l.gainA[k] }))
	r.FitUKPerW, r.SharedU = &fit, &shared
	if u > 0 {
		r.RiseKPerW.U = &u
	}
	if ua > 0 {
		r.InterceptK.U = &ua
	}
	if widened > 1.2 {
		r.Notes = append(r.Notes, fmt.Sprintf("the points scatter more than their own uncertainties: that of the line is widened by %s, the root of chi-square over its degrees of freedom", quantity.Fixed(widened, 3)))
	}
}

// widened is the root of chi-square over the degrees of freedom, where above 1.
func (r *Resistance) widened() float64 {
	if math.IsNaN(r.line.Chi2) || r.line.Freedom == 0 {
		return 1
	}
	return math.Max(1, math.Sqrt(r.line.Chi2/float64(r.line.Freedom)))
}

// sharedOf carries what the captures share through a figure that is linear in
// their rises, with the gain of each: contributions of one input add with their
// signs, those of different inputs in squares.
func (r *Resistance) sharedOf(gain func(i int) float64) float64 {
	sums := map[string]float64{}
	for i, p := range r.points {
		for name, c := range p.SharedK {
			sums[name] += gain(i) * c
		}
	}
	var each []float64
	for _, name := range sortedNames(sums) { // in one order, for the same rounding each time
		each = append(each, sums[name])
	}
	return quantity.RootSumSquare(each...)
}

func sortedNames(m map[string]float64) []string {
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// linearity judges the line by chi-square and, from four points, by a parabola.
func (r *Resistance) linearity(points []Point) {
	r.Linear = "not known"
	if r.Freedom < 1 {
		r.Notes = append(r.Notes, "two points make any line straight: a third power would tell")
		return
	}
	if !math.IsNaN(r.line.Chi2) {
		chi := r.line.Chi2
		r.Chi2 = &chi
		r.Linear = map[bool]string{true: "yes", false: "no"}[distuv.ChiSquared{K: float64(r.Freedom)}.Survival(chi) > 0.01]
	}
	if r.Freedom < 2 {
		return
	}
	c, u, ok := r.parabola(points)
	if !ok {
		return
	}
	e := quantity.Exactly(c)
	if u > 0 {
		e.U = &u
	}
	r.CurvatureKPerW2 = &e
	if r.Chi2 == nil && u > 0 {
		t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(r.Freedom - 1)}
		r.Linear = map[bool]string{true: "yes", false: "no"}[2*t.Survival(math.Abs(c/u)) > 0.01]
	}
	if r.Linear == "no" {
		way := map[bool]string{true: "rises", false: "falls"}[c > 0]
		r.Notes = append(r.Notes, fmt.Sprintf("the rise per watt %s with power, by %s K/W a watt: the slope is a mean over these powers", way, quantity.Fixed(2*math.Abs(c), 3)))
	}
}

// parabola fits a + b P + c P² with the line's weights and returns c with its
// standard uncertainty, from the uncertainties or else from the scatter.
func (r *Resistance) parabola(points []Point) (c, u float64, ok bool) {
	n, top := len(points), r.HighestPowerW
	a, b := mat.NewDense(n, 3, nil), mat.NewVecDense(n, nil)
	for i, p := range points {
		w := 1.0
		if r.weighted {
			w = 1 / math.Hypot(p.UY, r.line.B*p.UX)
		}
		x := p.X / top
		a.SetRow(i, []float64{w, w * x, w * x * x})
		b.SetVec(i, w*p.Y)
	}
	var qr mat.QR
	qr.Factorize(a)
	var v mat.VecDense
	if !(qr.Cond() < 1e8) || qr.SolveVecTo(&v, false, b) != nil {
		return 0, 0, false // three different powers are not there
	}
	r.curve = [3]float64{v.AtVec(0), v.AtVec(1) / top, v.AtVec(2) / (top * top)}
	left := 0.0
	for i := range n {
		d := b.AtVec(i) - a.At(i, 0)*v.AtVec(0) - a.At(i, 1)*v.AtVec(1) - a.At(i, 2)*v.AtVec(2)
		left += d * d
	}
	var upper mat.Dense
	qr.RTo(&upper)
	u = 1 / math.Abs(upper.At(2, 2)) / (top * top)
	if !r.weighted {
		u *= math.Sqrt(left / float64(n-3))
	}
	return r.curve[2], u, true
}

// conditions says what of the captures' conditions bears on the line.
func (r *Resistance) conditions() {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range r.points {
		low, high = math.Min(low, p.AmbientK.Value), math.Max(high, p.AmbientK.Value)
	}
	r.AmbientDriftK = high - low
	if r.AmbientDriftK > 0 {
		r.Notes = append(r.Notes, "the ambient differs by "+quantity.Fixed(r.AmbientDriftK, 3)+" K between the captures; each rise is taken over its own")
	}
	if r.Apparent {
		r.Notes = append(r.Notes, "WARNING: apparent temperatures, not the object's, went in: the true rise is larger where the emissivity is below 1, by an amount nobody worked out")
	}
	if !r.weighted {
		r.Notes = append(r.Notes, "not every rise carries an uncertainty: the points count alike, and their scatter is taken for the uncertainty")
	}
	if u := r.InterceptK.U; u != nil && math.Abs(r.InterceptK.Value) > 3*(*u) {
		r.Notes = append(r.Notes, "the line misses zero rise at no power by "+r.InterceptK.Format(quantity.KelvinStep)+": ambient or emissivity is off, or equilibrium was not reached")
	}
}

// Rise returns the rise by the line at a power, with its standard uncertainty,
// NaN where that is not known.
func (r *Resistance) Rise(powerW float64) (riseK, uK float64) {
	rise, u := r.line.At(powerW)
	return rise, math.Hypot(u*r.widened(), r.sharedOf(func(i int) float64 { return r.line.gainAt(powerW, i) }))
}

// bent is by how much the measured curvature lifts the rise above the line at a
// power; 0 where it was not measured or is chance.
func (r *Resistance) bent(powerW float64) float64 {
	if r.CurvatureKPerW2 == nil || r.Linear != "no" {
		return 0
	}
	c := r.curve
	return math.Max(0, c[0]+powerW*(c[1]+powerW*c[2])-r.line.A-r.line.B*powerW)
}
