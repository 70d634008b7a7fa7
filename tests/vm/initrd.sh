#!/usr/bin/env bash
# Makes the small system the test machine starts with: a shell, the drivers, and the way into the host's own files.
# usage: initrd.sh KERNEL_ROOT VERSION OUT
set -euo pipefail
kernel=$1 version=$2 out=$3
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
mkdir -p "$dir"/{bin,mod,proc,sys,dev,host}
cp "$(command -v busybox)" "$dir/bin/busybox"
for a in sh mount insmod cat echo chroot mkdir sed; do ln -s busybox "$dir/bin/$a"; done
[ -e "$kernel/lib/modules/$version/modules.dep.bin" ] || depmod -b "$kernel" "$version"
for m in virtio_pci 9pnet_virtio 9p vivid snd-aloop; do
  modprobe -d "$kernel" -S "$version" --show-depends "$m" | awk '$1 == "insmod" {print $2}' | while read -r file; do
    cp -n "$file" "$dir/mod/"
    basename "$file"
  done > "$dir/mod/$m.list"
done
cat > "$dir/init" <<'INIT'
#!/bin/sh
export PATH=/bin
mount -t proc proc /proc; mount -t sysfs sys /sys; mount -t devtmpfs dev /dev
load() { # MODULE [PARAMETER...]: with what it needs
  wanted=$(echo "$1" | sed s/-/_/g); list=/mod/$1.list; shift
  for file in $(cat "$list"); do
    name=$(echo "${file%.ko}" | sed s/-/_/g)
    [ -d "/sys/module/$name" ] && continue
    if [ "$name" = "$wanted" ]; then insmod "/mod/$file" "$@"; else insmod "/mod/$file"; fi || echo "cannot load $file"
  done
}
for m in virtio_pci 9pnet_virtio 9p; do load $m; done
options=trans=virtio,version=9p2000.L,msize=524288
mount -t 9p -o $options,ro,cache=loose hostroot /host && mount -t 9p -o $options work /host/mnt || echo "no host files"
for k in proc sysfs devtmpfs; do
  case $k in proc) at=proc;; sysfs) at=sys;; devtmpfs) at=dev;; esac
  mount -t $k $k /host/$at
done
mkdir -p /host/dev/shm /host/dev/pts
for at in dev/shm run tmp; do mount -t tmpfs tmpfs /host/$at; done
load vivid n_devs=1; load snd-aloop pcm_substreams=1
chroot /host /bin/bash /mnt/guest.sh
echo "GUEST_RC=$?"
busybox sync; busybox poweroff -f
INIT
chmod +x "$dir/init"
(cd "$dir" && find . | cpio -o -H newc --quiet | gzip -1) > "$out"
