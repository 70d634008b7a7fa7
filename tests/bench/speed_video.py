#!/usr/bin/python3
"""Times the waveform view against the clock and against numpy/scipy, in one run, each on one core.
usage: speed_video.py PROGRAM [--long]
--long: half a minute of 27 MS/s as well, for the memory it takes.
"""
import os
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
    """Seconds by the clock and of the processor (the machine may be doing other things), peak memory in MB, stdout."""
    t0 = time.perf_counter()
    with tempfile.TemporaryFile("w+") as out:
        p = subprocess.Popen(args, stdout=out, stderr=subprocess.DEVNULL, preexec_fn=one_core, env=env)
        # The kernel's own mark of the highest resident size. What wait() gives would count this process too, from
        # which the child was forked.
        peak = 0.0
        while True:
            pid, status, usage = os.wait4(p.pid, os.WNOHANG)
            if pid:
                break
            try:
                with open(f"/proc/{p.pid}/status") as text:
                    peak = max([peak] + [int(line.split()[1]) / 1024 for line in text if line.startswith("VmHWM")])
            except OSError:
                pass
            time.sleep(0.005)
        took = time.perf_counter() - t0
        p.returncode = os.waitstatus_to_exitcode(status)
        if p.returncode not in (0, 1):
            sys.exit(f"{args}: exit {p.returncode}")
        out.seek(0)
        return took, usage.ru_utime + usage.ru_stime, peak, out.read()


with tempfile.TemporaryDirectory() as tmp:
    path = os.path.join(tmp, "bars.raw")
    seconds = 2
    run([program, "signals", "write", "video-bars-75", "--out", path, "--seconds", str(seconds)])
    runs = [run([program, "measure", path, "--json"]) for _ in range(3)]
    own, cpu = min(r[0] for r in runs), min(r[1] for r in runs)
    other = [run(["/usr/bin/python3", os.path.join(here, "scipy_video.py"), path, "27e6", str(1.6384 / 32768)])
             for _ in range(2)]
    words = other[0][3].split()
    scipy = min(float(o[3].split()[0]) for o in other)
    scipy_cpu = min(o[1] for o in other)
    print(f"{seconds} s of 625 line bars, 27 MS/s 16 bit, one core; x real time by the processor's time in brackets")
    print(f"  linebench, every reading   {own:7.2f} s   {seconds / own:6.2f} ({seconds / cpu:.2f}) x real time, "
          f"{max(r[2] for r in runs):.0f} MB")
    print(f"  scipy, the plain readings  {scipy:7.2f} s   {seconds / scipy:6.2f} ({seconds / scipy_cpu:.2f}) x real "
          f"time, {max(o[2] for o in other):.0f} MB   ratio {scipy / own:.1f} ({scipy_cpu / cpu:.1f})")
    print(f"  (scipy reads sync {float(words[1]):.1f}, white {float(words[2]):.1f}, burst {float(words[3]):.1f} mV)")
    if "--long" in sys.argv:
        long = os.path.join(tmp, "long.raw")
        with open(path, "rb") as f, open(long, "wb") as g:
            piece = f.read()
            for _ in range(15):
                g.write(piece)
        os.replace(path.replace(".raw", ".json"), long.replace(".raw", ".json"))
        took, cpu, peak, _ = run([program, "measure", long, "--json"])
        print(f"  30 s of it: {took:.1f} s, {30 / took:.2f} ({30 / cpu:.2f}) x real time, peak memory {peak:.0f} MB")
