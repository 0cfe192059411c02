# Tikhonov inversion of a plate's rise by scipy.fft.dctn, apart from the program.
import sys
import numpy as np
from scipy.fft import dctn, idctn

a = np.frombuffer(sys.stdin.buffer.read(), "<f8")
w, h, pixel, t, k, film, fwhm, alpha = a[:8]
w, h = int(w), int(h)
rise = a[8:].reshape(h, w)
kx = np.pi * np.arange(w) / (w * pixel)
ky = np.pi * np.arange(h) / (h * pixel)
kappa = np.hypot(kx[None, :], ky[:, None])
kappa[0, 0] = 1
th = np.tanh(kappa * t)
g = (k * kappa + film * th) / (k * kappa * th + film) / (k * kappa)
g[0, 0] = 1 / film + t / k
kappa[0, 0] = 0
g *= np.exp(-((kappa * fwhm) ** 2) / (16 * np.log(2)))
c = dctn(rise, norm="ortho")
q = g * c / (g**2 + alpha * kappa**2)
q[0, 0] = c[0, 0] / g[0, 0]
sys.stdout.buffer.write(idctn(q, norm="ortho").astype("<f8").tobytes())
