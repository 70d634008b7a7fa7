#!/usr/bin/env bash
# Runs the program against real kernel drivers in a small virtual machine: video capture (the kernel's vivid: PAL, NTSC, lost
# signal, damaged and missing frames, unplugging) and a sound card that is pulled (snd-aloop). Software emulation, no hardware.
#   bash tests/vm/run.sh [PROGRAM]      default: build/test/linebench/linebench
# Everything is kept in build/vm; the kernel package is fetched once. Exit 0: all checks hold; 77: skipped, because qemu or the
# kernel cannot be installed. The last line is the count of checks.
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
. "$root/src/setup.sh"
here="$root/tests/vm"
program=${1:-$root/build/test/linebench/linebench}
vm="$root/build/vm"
skip() { say "SKIPPED: virtual machine tests: $*"; exit 77; }

[ -x "$program" ] || fail "$program: not built"
( install_packages vm ) || skip "the packages of the set vm (src/packages.txt) could not be installed"

# The newest full kernel of the distribution; the cloud one has no video drivers.
kernel_package() { apt-cache depends linux-image-amd64 2>/dev/null | sed -n 's/.*Depends: \(linux-image-[0-9][^ ]*-amd64\)$/\1/p' | head -n 1; }
package=$(kernel_package)
mkdir -p "$vm/kernel"
if ! version=$(ls "$vm/kernel/lib/modules" 2>/dev/null | head -n 1) || [ -z "$version" ]; then
  [ -n "$package" ] || skip "apt-cache knows no kernel package"
  say "fetching $package (70 MB, once)"
  (cd "$vm" && apt-get -q download "$package" > fetch.log 2>&1 && dpkg -x "$package"_*.deb kernel && rm -f "$package"_*.deb) ||
    { tail -n 3 "$vm/fetch.log" >&2; skip "$package could not be fetched"; }
  version=$(ls "$vm/kernel/lib/modules" | head -n 1)
fi
bash "$here/initrd.sh" "$vm/kernel" "$version" "$vm/initrd.gz"

# The guest sees the host's / read-only, and this folder at /mnt.
work="$vm/work"
rm -rf "$work"; mkdir -p "$work/out"
cp "$program" "$work/linebench"
cp "$(dirname "$program")"/linebench_opencv.so "$work/"
cp -r "$root/signals" "$work/signals"
cp "$here/guest.sh" "$work/"
/usr/bin/python3 "$here/tone.py" "$work/tone.wav"

say "virtual machine: kernel $version under software emulation"
began=$(date +%s)
status=0
timeout 900 qemu-system-x86_64 -accel tcg,thread=multi -cpu max -m 1024 -smp 2 -nodefaults -no-user-config -display none \
  -serial stdio -no-reboot -kernel "$vm/kernel/boot/vmlinuz-$version" -initrd "$vm/initrd.gz" \
  -append "console=ttyS0 panic=-1 quiet loglevel=1" \
  -fsdev local,id=r,path=/,security_model=none,readonly=on,multidevs=remap -device virtio-9p-pci,fsdev=r,mount_tag=hostroot \
  -fsdev local,id=w,path="$work",security_model=none -device virtio-9p-pci,fsdev=w,mount_tag=work \
  < /dev/null > "$vm/console.log" 2>&1 || status=$?
say "the machine ran for $(($(date +%s) - began)) s"
# qemu's own status says nothing of the guest.
grep -q '^GUEST_RC=0' "$vm/console.log" || { tail -n 30 "$vm/console.log" >&2; fail "the guest did not come to its end (qemu: $status)"; }
/usr/bin/python3 "$here/check.py" "$program" "$work/out"
