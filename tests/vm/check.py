#!/usr/bin/python3
"""Judges what the program said in the test machine (guest.sh). usage: check.py PROGRAM OUT; prints each check that fails.
Bars come from the kernel driver's own generator: colours nobody here made.
"""
import json
import os
import subprocess
import sys

import numpy as np
from scipy.io import wavfile

program, out = sys.argv[1], sys.argv[2]
passed, failed = 0, 0


def check(what, good, seen=""):
    global passed, failed
    if good:
        passed += 1
    else:
        failed += 1
        print(f"FAILED: {what}: {str(seen).strip()[:800]}")


def text(name):
    path = os.path.join(out, name)
    return open(path, errors="replace").read() if os.path.exists(path) else ""


def number(name):
    return float(text(name) or "nan")


def document(case):
    try:
        return json.loads(text(case + ".json"))
    except json.JSONDecodeError:
        return {"input": {}}


def status(case, wanted):
    check(f"{case}: exit status", number(case + ".status") == wanted, text(case + ".status") + text(case + ".err"))


def said(case, words):
    lines = text(case + ".err").replace("\r", "\n")
    check(f"{case}: says \"{words}\"", words in lines, lines)


def noted(case, words):
    notes = " ".join(document(case)["input"].get("notes", []))
    check(f"{case}: notes \"{words}\"", words in notes, notes)


def measured(case, wanted=0):
    r = subprocess.run([program, "measure", os.path.join(out, "frames", case + ".yuv"), "--json"], capture_output=True, text=True)
    check(f"{case}: measure ends with {wanted}", r.returncode == wanted, r.stderr)
    return {x["id"]: x for x in json.loads(r.stdout)["readings"]} if r.returncode == wanted else {}


def reading(case, readings, name, wanted, slack=None):
    v = readings.get(name, {}).get("value")
    good = v == wanted if slack is None else v is not None and abs(v - wanted) <= slack
    check(f"{case}: {name} is {wanted}", good, readings.get(name))


# The device as it is listed.
listed = [g for g in json.loads(text("devices.json") or "{}").get("video", []) if g["name"] == "vivid"]
check("devices: the grabber is listed", len(listed) == 1, text("devices.json") + text("devices.err"))
if listed:
    check("devices: sends YUYV", "YUYV" in listed[0]["formats"], listed[0])
    inputs = {i["name"]: i for i in listed[0]["inputs"]}
    check("devices: S-Video takes both standards", inputs.get("S-Video 0", {}).get("standards") == ["525", "625"], inputs)
    check("devices: S-Video has a signal", inputs.get("S-Video 0", {}).get("signal") == "present", inputs)

# Both standards, measured on the host.
for case, lines, height, frames, rate, order, pattern in (("pal", "625", 576, 25, 25, "top", "bars-75"),
                                                          ("ntsc", "525", 480, 30, 30000 / 1001, "bottom", "bars-100")):
    status(case, 0)
    side = json.loads(text(case + ".sidecar.json") or "{}")
    check(f"{case}: sidecar", (side.get("width"), side.get("height"), side.get("format"), side.get("standard"),
                               side.get("field_order")) == (720, height, "yuyv", lines, order), side)
    check(f"{case}: frame rate", abs(side.get("frame_rate", 0) - rate) < 1e-3, side)
    check(f"{case}: frames", document(case)["input"].get("frames") == frames, document(case))
    check(f"{case}: size", number(case + ".size") == frames * 720 * height * 2, text(case + ".size"))
    r = measured(case)
    reading(case, r, "picture.signal", "present")
    reading(case, r, "picture.pattern", pattern)
    # The driver makes full-range RGB colours into limited-range codes [BT.601].
    reading(case, r, "picture.luma.gain", 100, 1)
    reading(case, r, "picture.hue", 0, 1)
    reading(case, r, "picture.saturation", 1, 0.03)
status("asked", 0)
said("asked", "625 lines (PAL), 720x576")

# A calibration step by step: the wrong picture is said and asked for again.
status("guided", 0)
said("guided", "is it bars of 75 %")
said("guided", "learnt from bars of 75 %")
said("guided", "learnt from bars of 100 %")
own = json.loads(text("guided.json") or "{}").get("grabbers", [{}])[0]
check("guided: the input", own.get("device") == "V4L2: vivid, input S-Video 0" and own.get("lines") == 625, own)
check("guided: gain at both whites", [g["white"] for g in own.get("gain", [])] == [0.75, 1.0]
      and all(abs(g["value"] - 100) < 1 for g in own["gain"]), own)

# What is wrong on the wire is said, and the rest is kept.
status("none", 0)
noted("none", "no signal at the input")
reading("none", measured("none", 1), "picture.signal", "none")  # nothing was measured: passes nothing
status("nolock", 0)
noted("nolock", "the signal has no sync lock")
status("wire", 0)
noted("wire", "the wire carries 525 lines, the grabber is set to 625")
status("flicker", 0)
noted("flicker", "no signal at the input")
noted("flicker", "the signal is back")
check("flicker: all frames are kept", document("flicker")["input"].get("frames") == 150, document("flicker"))
notes = document("flicker")["input"].get("notes", [])
if notes and "input at " in notes[0]:
    after = float(notes[0].split("input at ")[1].split(" s")[0]) - number("flicker.event_frames") / 25
    check("flicker: told within 2 s", after < 2, after)

# Missing and damaged buffers are counted: 30 % of them, over 2 s.
status("dropped", 0)
lost = document("dropped")["input"].get("dropped", 0)
check("dropped: about 30 % are counted as lost", 8 <= lost <= 45, lost)
side = json.loads(text("dropped.sidecar.json") or "{}")
check("dropped: where, in the sidecar", sum(n for _, n in side.get("lost", [])) == lost, side)
said("dropped", "take it again before judging by it")
status("corrupt", 0)
check("corrupt: one frame marked in the sidecar", len(json.loads(text("corrupt.sidecar.json") or "{}").get("corrupt", [])) == 1,
      text("corrupt.sidecar.json"))
noted("corrupt", "1 frame was marked as damaged")

# The end of the stream: told within 2 s (the machine is emulated: one more), and what was taken is kept.
for case, words, most in (("stall", "no frames for 2.0 s", 4), ("fatal", "the device is gone", 3),
                          ("unbind", "the device is gone", 3), ("disconnect", "the device is gone", 3)):
    status(case, 3)
    said(case, words)
    said(case, "before are kept")
    took = number(case + ".end") - number(case + ".event")
    check(f"{case}: told in time", took < most, f"{took} s")
    frames = document(case)["input"].get("frames", 0)
    check(f"{case}: frames are kept", frames > 5 and number(case + ".size") == frames * 720 * 576 * 2, frames)
    check(f"{case}: marked as interrupted", document(case)["input"].get("interrupted") is True, document(case))
status("gone", 3)
said("gone", "no video grabber found")
check("gone: one line", text("gone.err").strip().count("\n") == 0, text("gone.err"))

# The sound card.
status("pulled", 3)
said("pulled", "what was taken is kept")
took = number("pulled.end") - number("pulled.event")
check("pulled: told in time", took < 4, f"{took} s")
try:
    rate, samples = wavfile.read(os.path.join(out, "pulled.wav"))
    left = samples[:, 0] / 2**31
    check("pulled: a second or more is kept", len(left) > 48000, len(left))
    half = left[len(left) // 4:len(left) // 4 + 24000]
    peak = np.argmax(np.abs(np.fft.rfft(half * np.hanning(len(half))))) * 2
    check("pulled: it is the tone", abs(peak - 1000) <= 2, peak)
except (OSError, ValueError) as e:
    check("pulled: the file can be read", False, e)

print(f"{passed} passed, {failed} failed")
sys.exit(1 if failed else 0)
