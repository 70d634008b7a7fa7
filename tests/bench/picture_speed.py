#!/usr/bin/python3
"""Times `measure` on frames against the clock and against ffmpeg's signalstats filter (which only counts levels) on the same
file, each on one core, and shows that memory does not grow with length. 720x576, 25 frames per second.
usage: picture_speed.py PROGRAM
"""
import json
import os
import resource
import subprocess
import sys
import tempfile

import numpy as np

program = sys.argv[1]
width, height = 720, 576


def one_core():
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})


def timed(args, repeats=3):
    """Processor time, best of several runs, seconds (the machine may be doing other things), and peak memory, MB."""
    best, peak = 1e9, 0
    for _ in range(repeats):
        p = subprocess.Popen(args, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, preexec_fn=one_core)
        err = p.stderr.read()
        _, status, usage = os.wait4(p.pid, 0)
        best = min(best, usage.ru_utime + usage.ru_stime)
        peak = max(peak, usage.ru_maxrss / 1024)
        if os.waitstatus_to_exitcode(status) not in (0, 1):
            sys.exit(f"{args}: {err.decode()}")
    return best, peak


def write(path, seconds, live):
    """Bars, or a smooth landscape with something crossing it; noise, a little hum."""
    rng = np.random.default_rng(1)
    luma = np.repeat(np.array([235, 162, 131, 112, 84, 65, 35, 16.0]), 90)
    frame = np.empty((height, width * 2), np.uint8)
    noise = rng.standard_normal((height + 64, width)) * 1.5
    rows = np.arange(height)
    t_row = np.where(rows % 2 == 0, 0, 0.02) + rows // 2 * 64e-6
    with open(path + ".yuv", "wb") as f:
        for n in range(int(25 * seconds)):
            y = np.broadcast_to(luma, (height, width)) if not live else (
                110 + 40 * np.sin(np.arange(width) / 37.0) + 30 * np.cos(rows / 23.0)[:, None])
            y = y + noise[n % 64:n % 64 + height] + np.sin(2 * np.pi * 50.3 * (n / 25 + t_row))[:, None]
            if live:
                y[200:300, 40 + 3 * n % 500:140 + 3 * n % 500] += 50
            frame[:, 0::2] = np.clip(np.round(y), 1, 254)
            frame[:, 1::4] = frame[:, 3::4] = 128
            f.write(frame.tobytes())
    with open(path + ".json", "w") as f:
        json.dump({"width": width, "height": height, "format": "yuyv", "standard": "625", "field_order": "top",
                   "frame_rate": 25}, f)


with tempfile.TemporaryDirectory() as tmp:
    print("10 s of 720x576x25, one core     linebench   x real time   peak MB   signalstats   ratio")
    for name, live in (("bars", False), ("live picture", True)):
        path = os.path.join(tmp, "in")
        write(path, 10, live)
        own, peak = timed([program, "measure", path + ".yuv", "--json"])
        other, _ = timed(["ffmpeg", "-v", "error", "-threads", "1", "-f", "rawvideo", "-pix_fmt", "yuyv422", "-s",
                          f"{width}x{height}", "-r", "25", "-i", path + ".yuv", "-threads", "1", "-vf",
                          "format=yuv422p,signalstats", "-f", "null", "-"])
        print(f"  {name:28s} {own:9.2f} s   {10 / own:8.1f} x   {peak:8.0f}   {other:9.2f} s   {other / own:6.2f} x")
        if not 10 / own > 8:
            print("  slower than 8 x real time")
    for seconds in (10, 40):
        write(path, seconds, False)
        _, peak = timed([program, "measure", path + ".yuv", "--json"], 1)
        print(f"peak memory for {seconds} s: {peak:.0f} MB")
