package uncertainty

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/stat/distuv"

	"dieglow/catalog/fault"
)

// Bounds of the number of trials: the least that gives a 95 % interval at all,
// and what fits into memory, 8 bytes a trial.
const (
	minTrials = 1000
	maxTrials = 100_000_000
)

// DefaultFailedShare is the share of trials without a result that is accepted
// where none is stated.
const DefaultFailedShare = 0.05

// chunkTrials is how many trials share a stream of random numbers. Results
// depend on it, not on the number of processors.
const chunkTrials = 4096

// Trials says how to run a Monte Carlo evaluation.
type Trials struct {
	Count          int     // 1000 to 100,000,000
	Seed           uint64  // the same seed gives the same result on any machine
	Level          float64 // coverage probability, DefaultLevel when 0
	MaxFailedShare float64 // of trials without a result, DefaultFailedShare when 0
}

// MonteCarlo is the outcome of trials (JCGM 101:2008, 7.6 and 7.7).
type MonteCarlo struct {
	Trials       int
	Failed       int   // trials in which the model had no result; the figures are of the others
	FirstFailure error // of the earliest failed trial, nil when none failed
	Mean         float64
	SD           float64
	Symmetric    Interval // as much probability below as above
	Shortest     Interval
}

// RunMonteCarlo draws the inputs and evaluates the model Count times. Inputs
// that are correlated with each other must be normal; they are drawn together by
// Cholesky's method, and their degrees of freedom take no part (JCGM 101:2008,
// 6.4.8). Besides the results, 8 bytes a trial, memory does not grow with Count.
//
// Fault Invalid when an input, correlation or option is not possible, or more
// than MaxFailedShare of the trials had no result.
func RunMonteCarlo(ctx context.Context, f Model, inputs []Input, correlations []Correlation, t Trials) (MonteCarlo, error) {
	if t.Level == 0 {
		t.Level = DefaultLevel
	}
	if t.MaxFailedShare == 0 {
		t.MaxFailedShare = DefaultFailedShare
	}
	if t.Count < minTrials || t.Count > maxTrials {
		return MonteCarlo{}, fault.Invalidf("%d Monte Carlo trials", t.Count).WithHint("state %d to %d trials, for example 1000000", minTrials, maxTrials)
	}
	if err := checkLevel(t.Level); err != nil {
		return MonteCarlo{}, err
	}
	p, err := newProblem(f, inputs, correlations)
	if err != nil {
		return MonteCarlo{}, err
	}
	if err := p.drawable(); err != nil {
		return MonteCarlo{}, err
	}
	y := make([]float64, t.Count)
	first, err := p.run(ctx, y, t.Seed)
	if err != nil {
		return MonteCarlo{}, err
	}
	return summarise(y, first, t)
}

// drawable refuses correlated inputs for which there is no joint distribution.
func (p *problem) drawable() error {
	for i, in := range p.inputs {
		if in.Distribution == Normal || in.u() == 0 {
			continue
		}
		for j, other := range p.inputs {
			if i != j && p.correlated(i, j) != 0 && other.u() > 0 {
				return fault.Invalidf("%s is %v and correlated with %s", in.Name, in.Distribution, other.Name).
					WithHint("only normal inputs can be drawn together: state %s as normal, or write both in terms of what they share", in.Name)
			}
		}
	}
	return nil
}

// run fills y with results, NaN where there is none, and returns the earliest
// failure.
func (p *problem) run(ctx context.Context, y []float64, seed uint64) (first, err error) {
	chunks := (len(y) + chunkTrials - 1) / chunkTrials
	failures := make([]error, min(runtime.GOMAXPROCS(0), chunks))
	places := make([]int, len(failures))
	lower := p.lower()
	var next atomic.Int64
	var group sync.WaitGroup
	for w := range failures {
		group.Go(func() {
			d := newDrawer(p, lower)
			for ctx.Err() == nil {
				c := int(next.Add(1)) - 1
				if c >= chunks {
					return
				}
				from := c * chunkTrials
				at, failure := d.chunk(y[from:min(from+chunkTrials, len(y))], seed, uint64(c))
				if failures[w] == nil && failure != nil {
					failures[w], places[w] = failure, from+at
				}
			}
		})
	}
	group.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	place := len(y)
	for w, failure := range failures {
		if failure != nil && places[w] < place {
			first, place = failure, places[w]
		}
	}
	return first, nil
}

// drawer draws inputs for one goroutine.
type drawer struct {
	p       *problem
	lower   [][]float64
	partner []bool // correlated with another input
	x, z    []float64
	source  *rand.PCG
	random  *rand.Rand
}

func newDrawer(p *problem, lower [][]float64) *drawer {
	n := len(p.inputs)
	source := rand.NewPCG(0, 0)
	d := &drawer{p: p, lower: lower, partner: make([]bool, n), x: make([]float64, n), z: make([]float64, n), source: source, random: rand.New(source)}
	for i := range d.partner {
		for j := range n {
			d.partner[i] = d.partner[i] || i != j && p.correlated(i, j) != 0
		}
	}
	return d
}

// chunk runs the trials of one stream and returns the place and error of the
// first that failed.
func (d *drawer) chunk(y []float64, seed, stream uint64) (at int, first error) {
	d.source.Seed(seed, stream)
	for i := range y {
		d.draw()
		v, err := d.p.eval(d.x)
		if err != nil {
			if v = math.NaN(); first == nil {
				at, first = i, err
			}
		}
		y[i] = v
	}
	return at, first
}

func (d *drawer) draw() {
	if d.lower != nil {
		for i := range d.z {
			if d.partner[i] {
				d.z[i] = d.random.NormFloat64()
			}
		}
	}
	for i := range d.p.inputs {
		in := &d.p.inputs[i]
		switch {
		case in.u() == 0:
			d.x[i] = in.Value
		case d.partner[i]:
			var v float64
			for j, l := range d.lower[i] {
				v += l * d.z[j]
			}
			d.x[i] = in.Value + in.U*v
		case in.Distribution == Normal:
			d.x[i] = in.Value + in.U*d.standardNormal(in.dof())
		default:
			d.x[i] = in.Value + in.U*in.Distribution.halfWidths()*d.bounded(in)
		}
	}
}

func (d *drawer) standardNormal(dof float64) float64 {
	if math.IsInf(dof, 1) {
		return d.random.NormFloat64()
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof, Src: d.source}.Rand()
}

// bounded draws from -1 to 1, with limits that are themselves uncertain where
// the input has finite degrees of freedom.
func (d *drawer) bounded(in *Input) float64 {
	low, high := -1.0, 1.0
	if dof := in.dof(); !math.IsInf(dof, 1) {
		loose := min(1/math.Sqrt(2*dof), 1)
		low = -1 + loose*(2*d.random.Float64()-1)
		high = -low
	}
	mid, half := (low+high)/2, (high-low)/2
	switch in.Distribution {
	case Triangular:
		return mid + half*(d.random.Float64()-d.random.Float64())
	case Arcsine:
		return mid + half*math.Sin(math.Pi*(2*d.random.Float64()-1))
	default:
		return mid + half*(2*d.random.Float64()-1)
	}
}

// summarise sorts y in place.
func summarise(y []float64, first error, t Trials) (MonteCarlo, error) {
	out := MonteCarlo{Trials: len(y), FirstFailure: first}
	got := slices.DeleteFunc(y, math.IsNaN)
	out.Failed = out.Trials - len(got)
	if share := float64(out.Failed) / float64(out.Trials); share > t.MaxFailedShare {
		return out, fault.Invalidf("%d of %d Monte Carlo trials have no result, more than %.3g %%", out.Failed, out.Trials, 100*t.MaxFailedShare).
			Because(first).WithHint("the inputs' distributions reach where the model has no result: state a smaller uncertainty, or a rectangular distribution that stays inside")
	}
	var sum float64
	for _, v := range got {
		sum += v - got[0]
	}
	n := float64(len(got))
	out.Mean = got[0] + sum/n
	var squares float64
	for _, v := range got {
		squares += (v - out.Mean) * (v - out.Mean)
	}
	out.SD = math.Sqrt(squares / (n - 1))
	slices.Sort(got)
	out.Symmetric, out.Shortest = intervals(got, t.Level)
	if math.IsInf(out.SD, 0) || math.IsNaN(out.SD) {
		return out, fmt.Errorf("standard deviation of the trials is not finite")
	}
	return out, nil
}

// intervals follows JCGM 101:2008, 7.7, for sorted results.
func intervals(y []float64, level float64) (symmetric, shortest Interval) {
	m := len(y)
	q := min(int(level*float64(m)+0.5), m-1)
	r := (m - q) / 2
	symmetric = Interval{level, y[r], y[min(r+q, m-1)]}
	at := 0
	for i := 0; i+q < m; i++ {
		if y[i+q]-y[i] < y[at+q]-y[at] {
			at = i
		}
	}
	return symmetric, Interval{level, y[at], y[at+q]}
}
