#!/usr/bin/env bash
# Benchmarks: the whole program against real time and against numpy/scipy and ffmpeg, then each stage. Takes about five minutes.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
. "$root/src/setup.sh"
install_packages build bench
build_preset bench
/usr/bin/python3 "$root/tests/bench/speed.py" "$root/build/bench/linebench/linebench" --hour
/usr/bin/python3 "$root/tests/bench/speed_video.py" "$root/build/bench/linebench/linebench" --long
/usr/bin/python3 "$root/tests/bench/picture_speed.py" "$root/build/bench/linebench/linebench"
for b in "$root"/build/bench/linebench/tests/bench/bench_*; do
  [ -x "$b" ] && [ -f "$b" ] && "$b"
done
