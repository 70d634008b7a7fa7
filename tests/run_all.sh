#!/usr/bin/env bash
# Installs what the tests need, builds, starts a virtual sound card of its own, runs every test and stops the card.
#   bash tests/run_all.sh               optimised build
#   bash tests/run_all.sh --sanitize    with address and undefined sanitizers
#   bash tests/run_all.sh --long        also 60 s of each fuzz target, 200 kills, 24 h of stream, the whole accuracy card
#   bash tests/run_all.sh -R hum        anything else goes to ctest
# The last line is the count.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
. "$root/src/setup.sh"

preset=test
long=
if [ "${1:-}" = --sanitize ]; then preset=dev; shift; fi
if [ "${1:-}" = --long ]; then long=1; shift; fi

install_packages build tests
build_preset "$preset"

say "tests"
log="$root/build/$preset.tests.log"
status=0
LINEBENCH_TEST_SOUND=1 bash "$root/tests/sound_card.sh" \
  ctest --test-dir "$root/build/$preset" --output-on-failure --parallel "$(($(nproc) + 1))" "$@" 2>&1 | tee "$log" || status=$?

# CTest's own summary says how many failed of how many; no summary means that no test ran, which is a failure too.
summary=$(grep -E 'tests passed, [0-9]+ tests failed out of [0-9]+' "$log" | tail -n 1 || true)
[ -n "$summary" ] || fail "ctest ran no test"
failed=$(sed -E 's/.*passed, ([0-9]+) tests failed.*/\1/' <<<"$summary")
total=$(sed -E 's/.*out of ([0-9]+).*/\1/' <<<"$summary")
[ "$total" -gt 0 ] || fail "ctest ran no test"

# Real kernel drivers in a virtual machine; not with sanitizers, whose start-up alone takes minutes under emulation, and not
# when single tests were asked for.
vm=0
if [ "$preset" = test ] && [ $# -eq 0 ]; then
  bash "$root/tests/vm/run.sh" "$root/build/$preset/linebench/linebench" | tee "$root/build/vm.log" || vm=${PIPESTATUS[0]}
  if [ "$vm" -ne 77 ]; then
    count=$(grep -E '^[0-9]+ passed, [0-9]+ failed$' "$root/build/vm.log" | tail -n 1 || true)
    [ -n "$count" ] || count="0 passed, 1 failed"
    total=$((total + ${count%% *} + $(cut -d ' ' -f 3 <<<"$count")))
    failed=$((failed + $(cut -d ' ' -f 3 <<<"$count")))
  fi
fi

# adds COMMAND...: runs it, shows what it says, and adds the count in its last line to ours.
adds() {
  local log="$root/build/long.log" count
  "$@" 2>&1 | tee "$log" || true
  count=$(grep -E '^[0-9]+ passed, [0-9]+ failed$' "$log" | tail -n 1 || true)
  [ -n "$count" ] || count="0 passed, 1 failed"
  total=$((total + ${count%% *} + $(cut -d ' ' -f 3 <<<"$count")))
  failed=$((failed + $(cut -d ' ' -f 3 <<<"$count")))
}
# long_test PROGRAM FILTER: tests that run for hours of stream or thousands of trials, too long for ctest's own limit.
long_test() {
  if LINEBENCH_TEST_LONG=1 "$root/build/$preset/linebench/tests/test_$1" --gtest_filter="$2" --gtest_brief=1; then
    echo "1 passed, 0 failed"
  else
    echo "0 passed, 1 failed"
  fi
}
if [ -n "$long" ]; then
  say "200 kills, 24 h of stream, the accuracy card, every trial and combination"
  adds long_test faults '*'
  adds long_test faultsim '*'
  adds long_test app 'Demo.*'
  adds long_test live 'LiveCost.*'
  adds long_test cost '*'
  adds long_test check '*Soak.*'
  adds long_test accuracy '*'
  for part in lowband measure picture published video; do adds long_test "$part" '*'; done
  adds long_test live '*Coverage*:*Uncert*:*Claim*'
  adds bash "$root/tests/fuzz/run.sh" 60
fi
echo "$((total - failed)) passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$status" -eq 0 ] && { [ "$vm" -eq 0 ] || [ "$vm" -eq 77 ]; } || exit 1
