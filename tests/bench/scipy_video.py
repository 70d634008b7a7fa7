#!/usr/bin/python3
"""A straight numpy/scipy version of the line-locked measurement: find sync at its 50 % points, clamp every line, and
measure levels, widths, burst, bars and noise on the mean line. usage: scipy_video.py FILE.raw RATE SCALE
Prints the seconds it took (import and reading left out), then sync, white and burst in mV.
"""
import sys
import time

import numpy as np
from scipy import signal

path, fs, scale = sys.argv[1], float(sys.argv[2]), float(sys.argv[3])
raw = np.fromfile(path, "<i2")
t0 = time.process_time()
x = raw * (scale * 1000)
# Sync: low-passed, cut half way between its tip and blanking.
b = signal.firwin(31, 1.5e6, fs=fs)
low = signal.oaconvolve(x, b, mode="same")
tip = np.percentile(low, 1)
blank = np.median(low[low < tip + 400])
cut = (tip + blank) / 2
below = low < cut
falls = np.flatnonzero(~below[:-1] & below[1:])
rises = np.flatnonzero(below[:-1] & ~below[1:])
rises = rises[rises > falls[0]][: len(falls)]
falls = falls[: len(rises)]
width = (rises - falls) / fs * 1e6
line = falls[(width > 4) & (width < 5.5)]
# Sub-sample edges, line rate, jitter.
edge = line + (low[line] - cut) / (low[line] - low[line + 1])
period = np.median(np.diff(edge))
index = np.round((edge - edge[0]) / period)
slope, start = np.polyfit(index, edge, 1)
jitter = np.std(edge - start - slope * index) / fs * 1e9
line_hz = fs / slope
# Every line resampled to its own edge and clamped.
n = int(1.05 * slope)
whole = np.floor(edge).astype(int)
keep = (whole > 100) & (whole + n + 100 < len(x))
whole, frac = whole[keep], (edge - np.floor(edge))[keep]
offsets = np.arange(-60, n)
noise2 = burst = sync = white = apl = 0.0
subcarrier = 4433618.75
lines = len(whole)
mean = np.zeros(len(offsets))
for i in range(0, lines, 512):
    at = whole[i:i + 512, None] + offsets[None, :]
    f = frac[i:i + 512, None]
    y = (1 - f) * x[at] + f * x[at + 1]
    us = offsets / fs * 1e6
    porch = (us > 8.2) & (us < 10)
    y -= y[:, porch].mean(axis=1, keepdims=True)
    sync += -y[:, (us > 1) & (us < 3.8)].mean(axis=1).sum()
    gate = (us > 6) & (us < 7.4)
    phase = np.exp(-2j * np.pi * subcarrier / fs * (whole[i:i + 512, None] + offsets[None, gate]))
    burst += np.abs((y[:, gate] * phase).mean(axis=1) * 4).sum()
    white += y[:, (us > 12) & (us < 16)].mean(axis=1).sum()
    apl += y[:, (us > 10.5) & (us < 62.5)].mean()
    mean += y.sum(axis=0)
    noise2 += (y[:, (us > 1) & (us < 3.8)].std(axis=1) ** 2).sum()
mean /= lines
spectrum = np.fft.rfft(mean * np.hanning(len(mean)))
hum = np.abs(np.fft.rfft(x[whole + 230] - np.mean(x[whole + 230])))
print(time.process_time() - t0, sync / lines, white / lines, burst / lines, line_hz, jitter, np.sqrt(noise2 / lines))
