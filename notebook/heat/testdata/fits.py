"""Fits warm-ups with scipy and evaluates Bessel functions: an independent reference.

Reads JSON lines from standard input, prints one JSON answer a line.
"""
import json
import sys

import numpy as np
from scipy.optimize import curve_fit
from scipy.special import i0, i1, k0, k1


def model(t, final, *p):
    n = len(p) // 2
    out = np.full_like(t, final)
    for a, tau in zip(p[:n], p[n:]):
        out = out - a * np.exp(-t / tau)
    return out


for line in sys.stdin:
    q = json.loads(line)
    if q["what"] == "fit":
        t, y = np.array(q["t"], dtype=float), np.array(q["y"], dtype=float)
        u = np.array(q["u"]) if q.get("u") else None
        p, c = curve_fit(model, t, y, q["start"], sigma=u, absolute_sigma=u is not None, xtol=1e-14, ftol=1e-14, gtol=1e-14, maxfev=100000)
        r = y - model(t, *p)
        print(json.dumps({"p": list(p), "u": list(np.sqrt(np.diag(c))), "sd": float(np.sqrt(r @ r / (len(t) - len(p))))}))
    elif q["what"] == "plate":
        length = np.sqrt(q["k"] * q["t_mm"] * 1e-3 / q["h"]) * 1e3
        x, b = q["r_mm"] / length, q["a_mm"] / length
        flux = q["p"] / (np.pi * (q["a_mm"] * 1e-3) ** 2) / q["h"]
        rise = flux * (1 - b * k1(b) * i0(x)) if x <= b else flux * b * i1(b) * k0(x)
        print(json.dumps({"rise": float(rise)}))
