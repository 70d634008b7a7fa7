#!/usr/bin/python3
"""A 1 kHz tone at -12 dBFS, 48 kHz stereo, 30 s, for the sound card that is pulled. usage: tone.py FILE.wav"""
import sys

import numpy as np
from scipy.io import wavfile

x = 0.2512 * np.sin(2 * np.pi * 1000 * np.arange(30 * 48000) / 48000)
wavfile.write(sys.argv[1], 48000, np.round(32767 * np.column_stack([x, x])).astype(np.int16))
