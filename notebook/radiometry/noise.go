package radiometry

import (
	"math"

	"dieglow/catalog/fault"
)

// AveragingCaveat says what AveragedNETD leaves out; it goes wherever the
// figure is shown.
const AveragingCaveat = "averaging N readings divides noise by the root of N only where it is uncorrelated from reading to reading; " +
	"slow (1/f) noise and the fixed pattern of the detector set a floor that has to be measured"

// NETDReferenceK is the temperature of the scene that an NETD is taken to be
// stated for: 300 K (common practice, no source; ASTM E1543 takes 295 K).
const NETDReferenceK = 300.0

// AveragedNETD returns netdK/sqrt(n), in K, and not less than floorK, the floor
// that was measured (0 when it was not). NaN for n below 1 or a negative figure.
// See AveragingCaveat.
func AveragedNETD(netdK float64, n int, floorK float64) float64 {
	if n < 1 || !(netdK >= 0) || !(floorK >= 0) {
		return math.NaN()
	}
	return math.Max(netdK/math.Sqrt(float64(n)), floorK)
}

// NoiseRadiance returns the standard deviation of the radiance read, in
// W m⁻² sr⁻¹, of a camera whose NETD holds for a scene at referenceK: sigma_S =
// NETD dS/dT, the definition of ASTM E1543 turned round. It is the same for any
// scene, so that the noise in K grows towards colder ones. Fault Invalid for a
// negative NETD or a reference outside MinK to MaxK.
func (b *Band) NoiseRadiance(netdK, referenceK float64) (float64, error) {
	if !(netdK >= 0) || math.IsInf(netdK, 0) {
		return 0, fault.Invalidf("an NETD of %g K", netdK).WithHint("state the NETD as a temperature difference, for example 50mK")
	}
	f, err := b.At(referenceK)
	if err != nil {
		return 0, err
	}
	return netdK * f.DerivativeWM2SRK, nil
}
