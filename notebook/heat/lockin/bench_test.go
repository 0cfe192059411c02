package lockin

import (
	"math"
	"testing"
)

func BenchmarkOverlay(b *testing.B) { benchmark(b, 1.25) }
func BenchmarkFit(b *testing.B)     { benchmark(b, 1.31) }

// benchmark analyses 1,000 frames of 256 x 192.
func benchmark(b *testing.B, f float64) {
	path := asCounts(b, 256, 192, 1000, 25, func(i, n int, at float64) float64 { return 30000 + 100*math.Cos(2*math.Pi*f*at) })
	b.SetBytes(1000 * 256 * 192 * 2)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := analyse(path, Options{FrequencyHz: f, RateHz: 25}); err != nil {
			b.Fatal(err)
		}
	}
}
