#!/usr/bin/python3
"""Times the waveform view against the clock and against numpy/scipy, in one run, each on one core.
usage: speed_video.py PROGRAM [--long]
--long: half a minute of 27 MS/s as well, for the memory it takes.
"""
import os
import resource
import subprocess
import sys
import tempfile
import time

program = sys.argv[1]
here = os.path.dirname(os.path.abspath(__file__))
env = dict(os.environ, OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")


def one_core():
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})


def run(args):
    t0 = time.perf_counter()
    r = subprocess.run(args, capture_output=True, text=True, preexec_fn=one_core, env=env)
    took = time.perf_counter() - t0
    if r.returncode not in (0, 1):
        sys.exit(f"{args}: exit {r.returncode}: {r.stderr}")
    return took, r.stdout


with tempfile.TemporaryDirectory() as tmp:
    path = os.path.join(tmp, "bars.raw")
    seconds = 2
    run([program, "signals", "write", "video-bars-75", "--out", path, "--seconds", str(seconds)])
    own = min(run([program, "measure", path, "--json"])[0] for _ in range(3))
    other = [run(["/usr/bin/python3", os.path.join(here, "scipy_video.py"), path, "27e6", str(1.6384 / 32768)])
             for _ in range(2)]
    words = other[0][1].split()
    scipy = min(float(o[1].split()[0]) for o in other)
    print(f"{seconds} s of 625 line bars, 27 MS/s 16 bit, one core")
    print(f"  linebench, every reading   {own:7.2f} s   {seconds / own:6.2f} x real time")
    print(f"  scipy, the plain readings  {scipy:7.2f} s   {seconds / scipy:6.2f} x real time   ratio {scipy / own:.1f}")
    print(f"  (scipy reads sync {float(words[1]):.1f}, white {float(words[2]):.1f}, burst {float(words[3]):.1f} mV)")
    if "--long" in sys.argv:
        long = os.path.join(tmp, "long.raw")
        with open(path, "rb") as f, open(long, "wb") as g:
            piece = f.read()[: 27_000_000 * 2 * 2 // 54_000_000 * 54_000_000]
            for _ in range(15):
                g.write(piece)
        os.replace(path.replace(".raw", ".json"), long.replace(".raw", ".json"))
        took, _ = run([program, "measure", long, "--json"])
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"  30 s of it: {took:.1f} s ({30 / took:.2f} x real time), peak memory {peak:.0f} MB (scipy's included)")
