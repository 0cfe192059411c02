"""Feder's trace through spheres and planes, vectorised over the rays.

Reads from standard input: the number of surfaces, the number of rays, the
surfaces as (distance from the vertex in front, curvature, index before over
index behind, clear semi-aperture squared), the rays as x y z l m n columns, all
float64. Writes the seconds of the fastest of five traces, then the traced rays
as columns, NaN for those that did not pass.
"""
import sys
import time

import numpy as np


def trace(surfaces, x, y, z, l, m, n):
    alive = np.ones(x.shape, bool)
    for before, c, mu, clear2 in surfaces:
        p = (before - z) / n
        x = x + p * l
        y = y + p * m
        g = n - c * (x * l + y * m)
        q = c * (x * x + y * y)
        under = g * g - c * q
        alive &= (under >= 0) & (g > 0)
        cos_i = np.sqrt(under)
        along = q / (g + cos_i)
        x = x + along * l
        y = y + along * m
        z = along * n
        alive &= (c * z < 1) & (x * x + y * y <= clear2)
        cos2 = 1 - mu * mu * (1 - under)
        alive &= cos2 >= 0
        turn = mu * cos_i - np.sqrt(cos2)
        l, m, n = mu * l + turn * c * x, mu * m + turn * c * y, mu * n + turn * (c * z - 1)
    return alive, x, y, z, l, m, n


data = np.frombuffer(sys.stdin.buffer.read())
count, rays = int(data[0]), int(data[1])
surfaces = data[2 : 2 + 4 * count].reshape(count, 4)
columns = data[2 + 4 * count :].reshape(6, rays)
best = np.inf
with np.errstate(all="ignore"):
    for _ in range(5):
        start = time.perf_counter()
        alive, *out = trace(surfaces, *columns)
        best = min(best, time.perf_counter() - start)
out = np.array(out)
out[:, ~alive] = np.nan
sys.stdout.buffer.write(np.array([best]).tobytes() + out.tobytes())
