#!/usr/bin/env bash
# What the README tells a newcomer to type, typed in a root that holds nothing but a minimal Debian 12: a fresh clone,
# the first command, then every line of the block that makes the guided jobs.
#   bash tests/clean_root.sh            in a folder of its own, removed afterwards
# Needs root and debootstrap; takes some ten minutes and 3 GB. The last line is the count; exit 77: cannot be run here.
set -euo pipefail
source=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
skip() { printf 'clean_root: SKIPPED: %s\n' "$*" >&2; exit 77; }
[ "$(id -u)" -eq 0 ] || skip "must be root to make a root"
command -v debootstrap > /dev/null || apt-get -q install -y --no-install-recommends debootstrap > /dev/null ||
  skip "debootstrap cannot be installed"
mirror=$(apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' 'Codename: bookworm' | head -n 1)
[ -n "$mirror" ] || skip "this machine's package lists name no bookworm; run apt-get update"

place=$(mktemp -d)
trap 'rm -rf --one-file-system "$place"' EXIT
echo "== a clean root"
debootstrap --variant=minbase bookworm "$place" "$mirror" > "$place.log" 2>&1 || { tail -n 5 "$place.log"; skip "no root could be made"; }
rm -f "$place.log"
# How packages and names are found from here is this machine's business, not the newcomer's.
cp -r /etc/apt/apt.conf.d /etc/apt/sources.list* "$place/etc/apt/"
cp /etc/resolv.conf /etc/hosts "$place/etc/"
git clone -q "file://$source" "$place/root/linebench"

# block WORDS: the README's block that holds these words, comments cut.
block() {
  awk -v words="$1" '/^```/ {if (inside && index(text, words)) printf "%s", text; inside = !inside; text = ""; next}
                     inside {sub(/ +#.*/, ""); text = text $0 "\n"}' "$source/README.md"
}
block 'bash src/first_run.sh' | head -n 1 > "$place/root/first"
block 'demo --jobs ferry' > "$place/root/jobs"
[ -s "$place/root/first" ] && [ "$(wc -l < "$place/root/jobs")" -ge 5 ] || { echo "the README's blocks were not found"; echo "0 passed, 1 failed"; exit 1; }

cat > "$place/root/type_it" <<'T'
passed=0 failed=0
mount -t proc proc /proc
cd /root/linebench
typed() {
  echo "\$ $1"
  local status=0
  bash -c "$1" < /dev/null > /root/said 2>&1 || status=$?
  # 1 is a verdict: something is out of limits.
  if [ "$status" -le 1 ]; then passed=$((passed + 1)); tail -n 3 /root/said; else failed=$((failed + 1)); tail -n 30 /root/said; echo "exit $status"; fi
}
typed "$(cat /root/first)"
export PATH=$PATH:/root/linebench/build/release/linebench
while read -r line; do typed "$line"; done < /root/jobs
for paper in ferry/*.html; do
  if [ -s "$paper" ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "$paper is missing"; fi
done
ls -l ferry
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
T
# Mounts and processes of its own, gone with it; nothing of this session's environment.
env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root TERM=dumb unshare --mount --pid --fork chroot "$place" bash /root/type_it
