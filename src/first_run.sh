#!/usr/bin/env bash
# Sets up everything on a bare Debian 12 (as root, or with sudo) and shows the demo. Safe to run again.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
. "$root/src/setup.sh"

install_packages build
build_preset release
program="$root/build/release/linebench/linebench"
say "demo"
"$program" demo --out "$root/build/demo"
say "ready: $program"
