#!/usr/bin/python3
"""Times the program against the clock and against numpy/scipy, in one run, each on one core.
usage: speed.py PROGRAM [--hour]
Prints a table: 60 s stereo 48 kHz measured in full, ratio to real time and to scipy; start-up; with --hour, one hour of
stereo and the memory it took.
"""
import os
import subprocess
import sys
import tempfile
import time

import numpy as np
from scipy import signal
from scipy.io import wavfile

program = sys.argv[1]
here = os.path.dirname(os.path.abspath(__file__))
fs = 48000


def one_core():
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})


env = {k: v for k, v in os.environ.items() if not k.startswith("OPENBLAS_")}
env.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")


def timed(args, repeats=5):
    """Best of several runs (the machine may be doing other things), seconds; and the peak memory, MB."""
    best, peak = 1e9, 0.0
    for _ in range(repeats):
        t0 = time.perf_counter()
        p = subprocess.Popen(args, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, preexec_fn=one_core, env=env)
        # The kernel's own mark of the highest resident size. What wait() gives would count this process too, from
        # which the child was forked.
        while p.poll() is None:
            try:
                with open(f"/proc/{p.pid}/status") as status:
                    marks = [line for line in status if line.startswith("VmHWM")]
                peak = max([peak] + [int(line.split()[1]) / 1024 for line in marks])
            except OSError:
                pass
            time.sleep(0.002)
        best = min(best, time.perf_counter() - t0)
        if p.returncode not in (0, 1):
            sys.exit(f"{args}: exit {p.returncode}: {p.stderr.read().decode()}")
    return best, peak


def tone(seconds):
    n = fs * seconds
    t = np.arange(n) / fs
    rng = np.random.default_rng(1)
    x = 0.1 * np.sin(2 * np.pi * 997 * t) + 0.001 * np.sin(2 * np.pi * 50.02 * t)
    return x[:, None] + 0.0005 * rng.standard_normal((n, 2))


def programme(seconds):
    """Music-like: band-limited noise with a wandering level, both sides sharing most of it."""
    n = fs * seconds
    rng = np.random.default_rng(2)
    b, a = signal.butter(1, 1500 / (fs / 2))
    x = signal.lfilter(b, a, rng.standard_normal(n))
    t = np.arange(n) / fs
    x *= 0.2 + 0.15 * np.sin(2 * np.pi * 2.3 * t) + 0.1 * np.sin(2 * np.pi * 0.31 * t)
    side = 0.02 * rng.standard_normal(n)
    return 0.5 * np.column_stack([x + side, x - side])


def write(path, x):
    wavfile.write(path, fs, np.clip(np.round(x * 32767), -32768, 32767).astype(np.int16))


with tempfile.TemporaryDirectory() as tmp:
    start, _ = timed([program, "--help"], 20)
    print(f"start-up (linebench --help): {start * 1000:.1f} ms")
    print("60 s stereo 48 kHz, one core     linebench   x real time   scipy      ratio to scipy")
    for name, make in (("1 kHz tone, hum, noise", tone), ("programme", programme)):
        path = os.path.join(tmp, "in.wav")
        write(path, make(60))
        own, _ = timed([program, "measure", path, "--json"])
        other = float(subprocess.run(["/usr/bin/python3", os.path.join(here, "scipy_audio.py"), path], check=True,
                                     capture_output=True, text=True, preexec_fn=one_core, env=env).stdout)
        print(f"  {name:30s} {own:7.3f} s   {60 / own:8.0f} x   {other:6.2f} s   {other / own:8.0f} x")
    if "--hour" in sys.argv:
        path = os.path.join(tmp, "hour.wav")
        minute = np.clip(np.round(tone(60) * 32767), -32768, 32767).astype(np.int16)
        wavfile.write(path, fs, np.tile(minute, (60, 1)))
        del minute
        own, peak = timed([program, "measure", path, "--json"], 1)
        print(f"one hour of stereo: {own:.1f} s ({3600 / own:.0f} x real time), peak memory {peak:.0f} MB")
