# Sourced by src/first_run.sh and tests/run_all.sh: installs package sets and says what is done.

say() { printf '== %s\n' "$*"; }
fail() { printf 'linebench: %s\n' "$*" >&2; exit 1; }

# install_packages SET...: installs what is missing of these sets of src/packages.txt. Does nothing when all is there.
install_packages() {
  local list="$root/src/packages.txt" sets="$*" missing=() p
  command -v dpkg-query >/dev/null || fail "this script needs a Debian 12 system (no dpkg here); on another system install the packages named in src/packages.txt by hand and run cmake --preset release in src"
  for p in $(awk -v sets=" $sets " '$1 !~ /^#/ && index(sets, " " $1 " ") {print $2}' "$list" | sort -u); do
    [ "$(dpkg-query -W -f='${db:Status-Status}' "$p" 2>/dev/null)" = installed ] || missing+=("$p")
  done
  if [ ${#missing[@]} -eq 0 ]; then
    say "packages ($sets): all there"
    return
  fi
  local as_root=()
  if [ "$(id -u)" -ne 0 ]; then
    command -v sudo >/dev/null || fail "packages are missing (${missing[*]}) and there is no sudo; run this once as root"
    as_root=(sudo)
  fi
  say "packages ($sets): installing ${missing[*]}"
  local log; log=$(mktemp)
  if ! { "${as_root[@]}" apt-get -o DPkg::Lock::Timeout=300 -q update &&
         "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -o DPkg::Lock::Timeout=300 -q install -y \
           --no-install-recommends "${missing[@]}"; } >"$log" 2>&1; then
    tail -n 20 "$log" >&2; rm -f "$log"
    fail "the packages could not be installed (above: what apt-get said); put that right and run this again"
  fi
  rm -f "$log"
}

# build_preset NAME [TARGET...]: configures and builds a preset of src/CMakePresets.json.
build_preset() {
  say "configuring and building ($1)"
  local log="$root/build/$1.configure.log"
  mkdir -p "$root/build"
  (cd "$root/src" && cmake --preset "$1") >"$log" 2>&1 || { cat "$log" >&2; fail "cmake could not configure the preset $1"; }
  local preset=$1; shift
  cmake --build "$root/build/$preset" --parallel "$(nproc)" ${1:+--target "$@"} || fail "the build failed"
}
