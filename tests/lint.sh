#!/usr/bin/env bash
# clang-format and clang-tidy over the whole tree; both must be clean. Files given as arguments: only those.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
. "$root/src/setup.sh"
install_packages build tests lint
cd "$root"
(cd src && cmake --preset dev) >/dev/null
if [ $# -gt 0 ]; then files=("$@"); else mapfile -t files < <(git ls-files '*.cpp' '*.hpp'); fi
say "clang-format"
clang-format --dry-run -Werror "${files[@]}"
say "clang-tidy"
printf '%s\n' "${files[@]}" | sed -n '/\.cpp$/p' | xargs -r -P "$(nproc)" -n 4 clang-tidy -p build/dev --quiet
say "clean"
