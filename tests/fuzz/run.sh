#!/usr/bin/env bash
# Builds the fuzzer (clang, preset fuzz) and runs its targets one after the other, from their corpus.
#   bash tests/fuzz/run.sh [SECONDS [TARGET...]]      default: 60 s each, all
# An input that finds a defect is kept in build/fuzz/found; with the defect fixed it belongs into
# tests/fuzz/corpus/TARGET, where every run of the tests reads it. The last line is the count of targets.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
. "$root/src/setup.sh"
seconds=${1:-60}
[ $# -gt 0 ] && shift
targets=("$@")
[ ${#targets[@]} -gt 0 ] || mapfile -t targets < <(ls "$root/tests/fuzz/corpus")

install_packages build fuzz
build_preset fuzz linebench_fuzz
program="$root/build/fuzz/linebench/tests/fuzz/linebench_fuzz"
found="$root/build/fuzz/found"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir -p "$found"
# Scratch files in memory: a hundred thousand of them a minute.
[ -w /dev/shm ] && export TMPDIR=/dev/shm

passed=0 failed=0
for target in "${targets[@]}"; do
  mkdir -p "$work/$target"
  log="$found/$target.log"
  if LINEBENCH_FUZZ_TARGET=$target "$program" -max_total_time="$seconds" -timeout=20 -rss_limit_mb=2048 \
      -print_final_stats=1 -artifact_prefix="$found/$target-" "$work/$target" "$root/tests/fuzz/corpus/$target" > "$log" 2>&1; then
    passed=$((passed + 1))
    say "$target: $(sed -n 's/^stat::number_of_executed_units: *//p' "$log") inputs, nothing found"
  else
    failed=$((failed + 1))
    say "$target: FAILED, see $log"
    grep -E 'what\(\)|runtime error|ERROR|SUMMARY|Test unit written' "$log" | head -n 5 || true
  fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
