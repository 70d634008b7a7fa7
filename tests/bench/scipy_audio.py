#!/usr/bin/python3
"""The audio measurement's main computations, straight in numpy/scipy: the yardstick for speed, not for accuracy.
Measures the same things from the same file: levels, spectrum, tone fit, harmonics, weighted noise, hum by least squares,
clicks, clipping, loudness (K filter, gated), true peak (4 x oversampling), left/right delay.
usage: scipy_audio.py FILE.wav   prints the seconds it took, reading the file included
"""
import sys
import time

import numpy as np
from scipy import signal
from scipy.io import wavfile


def a_weight(f):
    f2 = f * f
    r = 12194.217**2 * f2 * f2 / ((f2 + 20.598997**2) * np.sqrt((f2 + 107.65265**2) * (f2 + 737.86223**2))
                                  * (f2 + 12194.217**2))
    return 1.2589 * r


def bs468(f):
    h1 = -4.737338981378384e-24 * f**6 + 2.043828333606125e-15 * f**4 - 1.363894795463638e-7 * f**2 + 1
    h2 = 1.306612257412824e-19 * f**5 - 2.118150887518656e-11 * f**3 + 5.559489023498642e-4 * f
    return 8.17 * 1.246332637532143e-4 * f / np.sqrt(h1 * h1 + h2 * h2)


def channel(x, fs):
    out = {"rms": np.sqrt(np.mean(x**2)), "peak": np.max(np.abs(x)), "dc": np.mean(x)}
    n = 32768
    f, p = signal.welch(x, fs, window="blackmanharris", nperseg=n, noverlap=n // 2, scaling="density")
    k = int(np.argmax(p[3:])) + 3
    f0 = f[k]
    t = np.arange(len(x)) / fs
    for _ in range(4):  # four-parameter sine fit [IEEE 1057]
        c, s = np.cos(2 * np.pi * f0 * t), np.sin(2 * np.pi * f0 * t)
        if "a" in out:
            d = 2 * np.pi * t * (out["b"] * c - out["a"] * s)
            m = np.column_stack([c, s, np.ones_like(t), d])
        else:
            m = np.column_stack([c, s, np.ones_like(t)])
        sol = np.linalg.solve(m.T @ m, m.T @ x)
        out["a"], out["b"] = sol[0], sol[1]
        if len(sol) == 4:
            f0 += sol[3]
    res = x - m @ sol
    _, pr = signal.welch(res, fs, window="blackmanharris", nperseg=n, noverlap=n // 2, scaling="density")
    band = (f >= 20) & (f <= 20000)
    df = f[1]
    out["noise"] = np.sqrt(np.sum(pr[band]) * df)
    out["noise_a"] = np.sqrt(np.sum(pr[band] * a_weight(f[band])**2) * df)
    out["noise_468"] = np.sqrt(np.sum(pr[band] * bs468(f[band])**2) * df)
    q = 20
    low = signal.decimate(signal.decimate(x, 4, ftype="fir"), 5, ftype="fir")
    tl = np.arange(len(low)) * q / fs
    best = None
    for step, lo, hi in ((0.05, 45, 65), (0.002, None, None)):  # mains comb, frequency searched
        if lo is None:
            lo, hi = best[1] - 0.05, best[1] + 0.05
        for fm in np.arange(lo, hi, step):
            e = np.exp(2j * np.pi * fm * tl)
            power = sum(abs(np.vdot(e**h, low))**2 for h in (1, 2, 3, 4, 5))
            if best is None or power > best[0]:
                best = (power, fm)
    m = np.column_stack([g(2 * np.pi * best[1] * h * tl) for h in range(1, 21) for g in (np.cos, np.sin)])
    out["hum"] = np.linalg.lstsq(m, low, rcond=None)[0]
    d2 = np.abs(np.diff(x, 2))
    out["clicks"] = int(np.sum(d2 > 20 * np.median(d2)))
    out["clipped"] = int(np.sum(np.abs(x) >= out["peak"] * 0.9999))
    out["true_peak"] = np.max(np.abs(signal.resample_poly(x, 4, 1)))
    return out


def loudness(x, fs):
    b1, a1 = [1.53512485958697, -2.69169618940638, 1.19839281085285], [1, -1.69065929318241, 0.73248077421585]
    b2, a2 = [1, -2, 1], [1, -1.99004745483398, 0.99007225036621]
    y = signal.lfilter(b2, a2, signal.lfilter(b1, a1, x, axis=0), axis=0)
    block, hop = int(0.4 * fs), int(0.1 * fs)
    cs = np.concatenate([[0], np.cumsum(np.sum(y**2, axis=1))])
    z = np.array([(cs[i + block] - cs[i]) / block for i in range(0, len(y) - block, hop)])
    gate = z[-0.691 + 10 * np.log10(z + 1e-20) > -70]
    rel = gate[10 * np.log10(gate) > 10 * np.log10(np.mean(gate)) - 10]
    return -0.691 + 10 * np.log10(np.mean(rel))


def pair(l, r):
    n = 65536
    acc = 0
    for i in range(0, len(l) - n, n):
        acc = acc + np.conj(np.fft.rfft(l[i:i + n])) * np.fft.rfft(r[i:i + n])
    g = np.fft.irfft(acc / (np.abs(acc) + 1e-20))
    return int(np.argmax(np.abs(g)))


t0 = time.process_time()
fs, x = wavfile.read(sys.argv[1])
x = x.astype(float) / (32768.0 if x.dtype == np.int16 else 1.0)
for c in range(x.shape[1]):
    channel(np.ascontiguousarray(x[:, c]), fs)
loudness(x, fs)
pair(x[:, 0], x[:, 1])
print(f"{time.process_time() - t0:.3f}")
