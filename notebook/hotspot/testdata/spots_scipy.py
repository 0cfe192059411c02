#!/usr/bin/python3
"""Finds spots with scipy, written apart from the Go code, for comparison.

spots_scipy.py find FRAME REFERENCE WIDTH HEIGHT THRESHOLD   raw little-endian f8 in, JSON out
spots_scipy.py line FRAME WIDTH HEIGHT X Y X Y N             N values along a line by map_coordinates, order 1
"""
import json, sys, time
import numpy as np
from scipy import ndimage, optimize


def read(path, w, h):
    return np.fromfile(path, '<f8').reshape(h, w)


def gaussian(p, x, y):
    a, cx, cy, sx, sy, theta, c = p
    u = (x - cx) * np.cos(theta) + (y - cy) * np.sin(theta)
    v = (y - cy) * np.cos(theta) - (x - cx) * np.sin(theta)
    return a * np.exp(-u * u / 2 / sx**2 - v * v / 2 / sy**2) + c


def detect(f, r, threshold):
    d = f - r
    k = np.outer([1, -2, 1], [1, -2, 1])
    second = ndimage.convolve(d, k)[1:-1, 1:-1]
    sd = 1.482602218505602 * np.median(np.abs(second)) / 6
    level = np.median(d)
    for _ in range(30):
        kept = np.abs(d - level) <= 3 * max(sd, 1.482602218505602 * np.median(np.abs(d - level)))
        new = d[kept].mean()
        if new == level:
            break
        level = new
    rise = d - level
    labels, n = ndimage.label(rise > threshold * sd, np.ones((3, 3)))
    index = np.arange(1, n + 1)
    area = ndimage.sum_labels(np.ones_like(d), labels, index)
    index = index[area >= 4]
    return d, rise, labels, dict(sd=sd, level=level, area=ndimage.sum_labels(np.ones_like(d), labels, index).tolist(),
        centre=ndimage.center_of_mass(rise, labels, index), peak=ndimage.maximum_position(rise, labels, index),
        rise=ndimage.maximum(d, labels, index).tolist(), mean=ndimage.mean(d, labels, index).tolist()), index


def fits(rise, labels, index, found):
    out = []
    y, x = np.mgrid[:rise.shape[0], :rise.shape[1]]
    for k, i in enumerate(index):
        py, px = found['peak'][k]
        s = max(1, np.sqrt(found['area'][k] / np.pi) / 2)
        near = np.hypot(x - px, y - py) <= 5 * s
        p = optimize.leastsq(lambda p: gaussian(p, x[near], y[near]) - rise[near], [rise[py, px], px, py, s, s, 0, 0])[0]
        out.append(dict(x=p[1], y=p[2], height=p[0] + p[6], fwhm=2.3548200450309493 * np.sqrt(abs(p[3] * p[4]))))
    return out


def find(frame, reference, w, h, threshold):
    f, r = read(frame, w, h), read(reference, w, h)
    best = best_fit = np.inf
    for _ in range(7):
        start = time.perf_counter()
        d, rise, labels, found, index = detect(f, r, threshold)
        best = min(best, time.perf_counter() - start)
        start = time.perf_counter()
        found['fits'] = fits(rise, labels, index, found)
        best_fit = min(best_fit, time.perf_counter() - start)
    found.update(seconds=best, fit_seconds=best_fit, centre=[list(map(float, c)) for c in found['centre']], peak=[list(map(int, c)) for c in found['peak']])
    print(json.dumps(found))


def line(frame, w, h, x0, y0, x1, y1, n):
    f = read(frame, w, h)
    t = np.linspace(0, 1, n)
    print(json.dumps(ndimage.map_coordinates(f, [y0 + t * (y1 - y0), x0 + t * (x1 - x0)], order=1).tolist()))


a = sys.argv
if a[1] == 'find':
    find(a[2], a[3], int(a[4]), int(a[5]), float(a[6]))
else:
    line(a[2], int(a[3]), int(a[4]), *map(float, a[5:9]), int(a[9]))
