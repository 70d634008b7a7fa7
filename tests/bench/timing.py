"""One program's time and memory on one core, for table.py."""
import os
import subprocess
import sys
import tempfile
import time

ENV = {k: v for k, v in os.environ.items() if not k.startswith("OPENBLAS_")}
ENV.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")


def one_core():
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})


def once(args):
    """Seconds of the processor (the machine may be doing other things), peak memory in MB, and what it printed."""
    with tempfile.TemporaryFile("w+") as out, tempfile.TemporaryFile("w+") as err:
        p = subprocess.Popen(args, stdout=out, stderr=err, preexec_fn=one_core, env=ENV)
        # The kernel's own mark of the highest resident size. What wait() gives would count this process too, from which
        # the child was forked.
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
            time.sleep(0.003)
        p.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        if p.returncode not in (0, 1):
            sys.exit(f"{args}: exit {p.returncode}: {err.read()}")
        return usage.ru_utime + usage.ru_stime, peak, out.read()


def best(args, repeats=3):
    """The least time and the highest memory of several runs."""
    runs = [once(args) for _ in range(repeats)]
    return min(r[0] for r in runs), max(r[1] for r in runs), runs[0][2]
