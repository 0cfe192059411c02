# Least squares of a stack by numpy.linalg.lstsq, pixel by pixel, apart from the
# program: reads rate, frequency, trend terms, frames, pixels and the values from
# standard input, and writes in-phase, quadrature and their standard errors.
import sys
import numpy as np

rate, frequency, terms, frames, pixels = np.frombuffer(sys.stdin.buffer.read(40), "<f8")
frames, pixels, terms = int(frames), int(pixels), int(terms)
x = np.frombuffer(sys.stdin.buffer.read(), "<f8").reshape(frames, pixels)
t = np.arange(frames) / rate
u = 2 * t / t[-1] - 1
w = 2 * np.pi * frequency * t
harmonics = [g(k * w) for k in (2, 3) for g in (np.cos, np.sin)]
design = np.column_stack([np.cos(w), -np.sin(w)] + harmonics + [u**k for k in range(terms + 1)])
found, rss, _, _ = np.linalg.lstsq(design, x, rcond=None)
inverse = np.linalg.inv(design.T @ design)
variance = rss / (frames - design.shape[1])
out = np.vstack([found[0], found[1], np.sqrt(variance * inverse[0, 0]), np.sqrt(variance * inverse[1, 1])])
sys.stdout.buffer.write(out.astype("<f8").tobytes())
