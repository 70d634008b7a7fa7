#!/usr/bin/env bash
# Benchmarks: one table of every path, then a long run as a card feeds it. About ten minutes; --short: three.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
. "$root/src/setup.sh"
install_packages build bench
build_preset bench
benches="$root/build/bench/linebench/tests/bench"
/usr/bin/python3 "$root/tests/bench/table.py" "$root/build/bench/linebench/linebench" "$benches" "$@"
"$benches/bench_soak"
