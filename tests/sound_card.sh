#!/bin/bash
# Runs a command beside a virtual sound card: tests/sound_card.sh COMMAND [ARGUMENT...]
# The card is a JACK server of its own with the dummy driver, its output looped back to its input. It needs no hardware
# and no privileges, and is stopped by its own process id however the command ends. Exits with the command's status.
set -u
[ $# -gt 0 ] || { echo "usage: tests/sound_card.sh COMMAND [ARGUMENT...]" >&2; exit 2; }
command -v jackd > /dev/null || { echo "tests/sound_card.sh: jackd is not installed (package jackd2)" >&2; exit 3; }
rate=${LINEBENCH_TEST_RATE:-48000}
# A long period: without real-time priority a busy machine misses short ones, and the test is that none is missed.
period=${LINEBENCH_TEST_PERIOD:-4096}

export JACK_DEFAULT_SERVER="linebench-$$-$RANDOM"  # unique: several runs do not meet
export JACK_NO_START_SERVER=1 JACK_NO_AUDIO_RESERVATION=1 LINEBENCH_TEST_SOUND=1
# What runs broken off before left in the registry: it holds eight servers, and its own clean-up keeps dead ones of other
# names. An entry is a process id of four bytes and a name; ours carry the id of this script, which says whether it lives.
clear_dead() {
  local found at name owner
  [ -w /dev/shm/jack-shm-registry ] || return 0
  while read -r found; do
    at=${found%%:*} name=${found#*:}
    owner=${name#*linebench-} owner=${owner%-*}
    kill -0 "$owner" 2> /dev/null && continue
    dd if=/dev/zero of=/dev/shm/jack-shm-registry bs=1 seek=$((at - 4)) count=$((5 + ${#name})) conv=notrunc status=none
    rm -f /dev/shm/*"${name#*:}"*
  done < <(grep -obUaE 'jack-[0-9]+:linebench-[0-9]+-[0-9]+' /dev/shm/jack-shm-registry)
}
clear_dead
log=$(mktemp) server= child=
registry=/dev/shm/jack-shm-registry  # one for all servers of this machine: only removed when nobody else has one
[ -e "$registry" ] && registry=
stop() {
  trap '' INT TERM
  [ -n "$child" ] && kill "$child" 2> /dev/null
  if [ -n "$server" ] && kill "$server" 2> /dev/null; then
    for _ in $(seq 50); do kill -0 "$server" 2> /dev/null || break; sleep 0.1; done
    kill -9 "$server" 2> /dev/null
  fi
  wait 2> /dev/null
  # What a server that had to be killed would leave: its sockets and shared memory carry the unique name.
  rm -f /dev/shm/*"$JACK_DEFAULT_SERVER"* "$log"
  if [ -n "$registry" ] && ! compgen -G '/dev/shm/jack[-_]*[0-9]*' > /dev/null; then rm -f "$registry"; fi
}
trap stop EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

# The card and its clients' audio threads go before all other work, or root's before most; where that is not allowed,
# everything still runs.
real_time=--no-realtime
chrt -r 10 true 2> /dev/null && real_time="--realtime -P 10"
first=
[ "$(nice -n -15 nice 2> /dev/null)" = -15 ] && first="nice -n -15"
$first jackd $real_time -n "$JACK_DEFAULT_SERVER" -L 2 -d dummy -r "$rate" -p "$period" > "$log" 2>&1 &
server=$!
export LINEBENCH_TEST_SOUND_PID=$server  # for tests that pull the card
ready=
for _ in $(seq 100); do
  kill -0 "$server" 2> /dev/null || break
  if grep -q "driver is running" "$log" || { command -v jack_lsp > /dev/null && jack_lsp > /dev/null 2>&1; }; then ready=1; break; fi
  sleep 0.05
done
if [ -z "$ready" ]; then
  echo "tests/sound_card.sh: the virtual sound card did not start:" >&2
  cat "$log" >&2
  exit 3
fi
$first "$@" &
child=$!
wait "$child"
status=$?
child=
exit "$status"
