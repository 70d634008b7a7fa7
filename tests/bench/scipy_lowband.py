#!/usr/bin/python3
"""A straight numpy/scipy version of the sound-card view of video: line rate from a long spectrum, fields found by their
low vertical sync and laid on one another, sync height and mean level from that, hum from the low band.
usage: scipy_lowband.py FILE.wav   prints the seconds it took, reading left out
"""
import sys
import time

import numpy as np
from scipy import signal
from scipy.io import wavfile

fs, raw = wavfile.read(sys.argv[1])
t0 = time.process_time()
x = raw.astype(float) / 32768
f, p = signal.welch(x, fs, nperseg=int(0.2 * fs))
near = (f > 15390) & (f < 15970)
line_hz = f[near][np.argmax(p[near])]
tone = x * np.exp(-2j * np.pi * line_hz / fs * np.arange(len(x)))
block = int(fs / 50)
phase = np.unwrap(np.angle(tone[: len(x) // block * block].reshape(-1, block).sum(axis=1)))
line_hz += np.polyfit(np.arange(len(phase)) * block / fs, phase, 1)[0] / (2 * np.pi)
smooth = signal.oaconvolve(x, np.ones(int(1.5 * fs / line_hz)) / int(1.5 * fs / line_hz), mode="same")
lows = signal.find_peaks(-smooth, distance=int(0.9 * fs / 50))[0]
period = np.median(np.diff(lows))
n = int(period)
lows = lows[(lows > 200) & (lows + n + 1 < len(x))]
field = np.mean([x[i - 200:i - 200 + n] for i in lows], axis=0)
sync, level = field.min(), field.mean()
low = signal.decimate(signal.decimate(x, 8, ftype="fir"), 12, ftype="fir")
hum = np.abs(np.fft.rfft(low * np.hanning(len(low))))
print(time.process_time() - t0, line_hz, fs / period, sync, level, hum.max())
