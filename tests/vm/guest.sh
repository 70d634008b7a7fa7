# Runs as root in the test machine: puts each case before the program and keeps what it says in /mnt/out. Judges nothing.
export PATH=/usr/bin:/bin:/usr/sbin:/sbin HOME=/tmp/home LINEBENCH_HOME=/tmp/home LINEBENCH_SHARE=/mnt
out=/mnt/out program=/tmp/linebench
mkdir -p /tmp/home "$out/frames"; cd /tmp
cp /mnt/linebench /mnt/linebench_opencv.so /tmp/
exec 2>&1
now() { cut -d ' ' -f 1 /proc/uptime; }
camera() { v4l2-ctl -d /dev/video0 "$@" > /dev/null || echo "v4l2-ctl $* failed"; }
ctl() { camera -c "$1"; }

# take CASE SECONDS [OPTION...]: one capture; its output, status and end time.
take() {
  local name=$1 seconds=$2; shift 2
  $program capture picture --from vivid --input S-Video --seconds "$seconds" --out "/tmp/$name.yuv" --json "$@" \
    > "$out/$name.json" 2> "$out/$name.err"
  echo $? > "$out/$name.status"
  now > "$out/$name.end"
  cp "/tmp/$name.json" "$out/$name.sidecar.json" 2> /dev/null
  stat -c %s "/tmp/$name.yuv" > "$out/$name.size" 2> /dev/null
  echo "[$(now)] $name: status $(cat "$out/$name.status")"
}
# show CASE: the frames are measured on the host.
show() { cp "/tmp/$1.yuv" "/tmp/$1.json" "$out/frames/"; }
# started CASE: waits until frames come.
started() {
  for _ in $(seq 200); do
    [ "$(stat -c %s "/tmp/$1.yuv" 2> /dev/null || echo 0)" -gt 8000000 ] && return
    sleep 0.1
  done
  echo "$1: no frames came"
}
# answers: sends what the guided calibration asks for, as it asks: at first bars of 100 % where it wants 75 %. It asks
# again where a busy machine lost frames.
answers() {
  local seen=0 asked
  for _ in $(seq 3000); do
    sleep 0.2
    asked=$(grep -o '[1-4][.] Send' "$out/guided.err" 2> /dev/null | wc -l)
    [ "$asked" -gt "$seen" ] || continue
    seen=$asked
    case $(grep -o '[1-4][.] Send' "$out/guided.err" | tail -n 1) in
      1*) [ "$seen" -eq 1 ] || ctl test_pattern=0 >&2; echo ;;
      2*) ctl test_pattern=1 >&2; echo ;;
      *) echo s; return ;;
    esac
  done
  echo "guided: it did not come to an end" >&2
}
drop() { rm -f "/tmp/$1.yuv" "/tmp/$1.json"; }

echo "[$(now)] begin"
camera -i 2
ctl osd_text_mode=2
$program devices --json > "$out/devices.json" 2> "$out/devices.err"; echo $? > "$out/devices.status"
echo "[$(now)] devices"

camera -s pal; ctl test_pattern=0
take pal 1; show pal; drop pal
# Its own calibration, step by step, a second of each picture (measuring takes its time in emulation): bars of 75 % when others are sent, then the right ones; the multiburst is
# left out, which the driver does not have.
ctl test_pattern=1
rm -f "$out/guided.err"
answers | $program calibrate --grabber vivid --input S-Video --standard 625 --seconds 1 --json > "$out/guided.json" 2> "$out/guided.err"
echo $? > "$out/guided.status"
echo "[$(now)] guided"
camera -s ntsc; ctl test_pattern=1
take ntsc 1 --standard 525; show ntsc; drop ntsc
# Set to the other standard than asked for: the program puts it right.
take asked 1 --standard 625; drop asked

ctl standard_signal_mode=1
take none 1 --standard 625; show none; drop none
ctl standard_signal_mode=2
take nolock 1 --standard 625; drop nolock
ctl standard_signal_mode=4; ctl standard=0
take wire 1 --standard 625; drop wire
ctl standard_signal_mode=0; camera -s pal

ctl percentage_of_dropped_buffers=30
take dropped 2 --standard 625; drop dropped
ctl percentage_of_dropped_buffers=0

take corrupt 4 --standard 625 & job=$!
started corrupt; ctl inject_v4l2_buf_flag_error=1
wait $job; drop corrupt

# The signal goes and comes back while frames are taken; how many there were then.
take flicker 6 --standard 625 & job=$!
started flicker; ctl standard_signal_mode=1; echo $(($(stat -c %s /tmp/flicker.yuv) / 829440)) > "$out/flicker.event_frames"; sleep 2; ctl standard_signal_mode=0
wait $job; drop flicker

take stall 15 --standard 625 & job=$!
started stall; ctl percentage_of_dropped_buffers=100; now > "$out/stall.event"
wait $job; drop stall
ctl percentage_of_dropped_buffers=0

take fatal 15 --standard 625 & job=$!
started fatal; now > "$out/fatal.event"; ctl inject_fatal_streaming_error=1
wait $job; drop fatal

# The driver's "disconnect" lasts until it is loaded again: the unbinding comes first and is undone.
take unbind 15 --standard 625 & job=$!
started unbind; now > "$out/unbind.event"; echo vivid.0 > /sys/bus/platform/drivers/vivid/unbind
wait $job; drop unbind
take gone 1; drop gone
echo vivid.0 > /sys/bus/platform/drivers/vivid/bind
for _ in $(seq 50); do [ -e /dev/video0 ] && break; sleep 0.1; done
take disconnect 15 --standard 625 & job=$!
started disconnect; now > "$out/disconnect.event"; ctl disconnect=1
wait $job; drop disconnect

# A sound card that is pulled: what one side of the loopback plays, the other takes in.
aplay -q -D hw:Loopback,0,0 /mnt/tone.wav > "$out/aplay.log" 2>&1 & player=$!
$program capture audio --from "hw:0,1" --seconds 20 --out /tmp/pulled.wav --json > "$out/pulled.json" 2> "$out/pulled.err" & job=$!
for _ in $(seq 200); do
  [ "$(stat -c %s /tmp/pulled.wav 2> /dev/null || echo 0)" -gt 400000 ] && break
  sleep 0.1
done
now > "$out/pulled.event"
echo snd_aloop.0 > /sys/bus/platform/drivers/snd_aloop/unbind
wait $job; echo $? > "$out/pulled.status"; now > "$out/pulled.end"
kill $player 2> /dev/null
cp /tmp/pulled.wav "$out/" 2> /dev/null
echo "[$(now)] end"
exit 0
