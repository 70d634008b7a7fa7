#!/usr/bin/python3
"""One table of what every path costs: times real time, times numpy/scipy or ffmpeg in the same run, times what cannot be
avoided, how time and memory grow with length, and each stage's share. Everything on one core; processor time.
usage: table.py PROGRAM FOLDER_OF_THE_BENCHES [--short]     --short: no more than a minute of anything
"""
import json
import os
import shutil
import subprocess
import sys
import tempfile

import material
from timing import ENV, best, one_core, once

sys.stdout.reconfigure(line_buffering=True)
program, benches = sys.argv[1], sys.argv[2]
short = "--short" in sys.argv
here = os.path.dirname(os.path.abspath(__file__))
python = "/usr/bin/python3"


def measured(name):
    """ms of each benchmark of a program."""
    out = subprocess.run([os.path.join(benches, "bench_" + name), "--benchmark_format=json", "--benchmark_min_time=0.5"],
                         check=True, capture_output=True, text=True, preexec_fn=one_core, env=ENV).stdout
    unit = {"ns": 1e-6, "us": 1e-3, "ms": 1.0, "s": 1e3}
    return {b["name"]: b["cpu_time"] * unit[b["time_unit"]] for b in json.loads(out)["benchmarks"]}


def line(name, seconds, took, peak, other=None, what=""):
    against = f"{other:9.2f} s  {other / took:7.1f} x  {what}" if other else ""
    print(f"  {name:34s}{took:8.3f} s {seconds / took:9.1f} x {peak:7.0f} MB {against}")


def scipy_seconds(script, *args):
    """Processor time of the computation, import and reading left out where the script says so."""
    return min(float(once([python, os.path.join(here, script), *args])[2].split()[0]) for _ in range(1 if short else 2))


def growth(name, lengths, make):
    print(f"  {name}: " + ", ".join(f"{s} s" for s in lengths))
    took, peaks = [], []
    for s in lengths:
        t, peak, _ = once([program, "measure", *make(s), "--json"])
        took.append(t)
        peaks.append(peak)
    print("    ms a second of it  " + "  ".join(f"{1e3 * t / s:8.2f}" for t, s in zip(took, lengths)))
    print("    peak memory, MB    " + "  ".join(f"{p:8.0f}" for p in peaks))


with tempfile.TemporaryDirectory() as tmp:
    wav, card = os.path.join(tmp, "in.wav"), os.path.join(tmp, "card.wav")
    raw, frames = os.path.join(tmp, "bars.raw"), os.path.join(tmp, "frames")
    print(f"start-up (linebench --help): {1e3 * best([program, '--help'], 10)[0]:.0f} ms\n")
    print("The program on one core               time  x real time     peak   counterpart    ratio")
    for name, make in (("sound, 60 s stereo 48 kHz, tone", material.tone), ("the same, programme", material.programme)):
        material.write_wav(wav, material.AUDIO_HZ, make(60))
        own, peak, _ = best([program, "measure", wav, "--json"])
        line(name, 60, own, peak, scipy_seconds("scipy_audio.py", wav), "scipy, the plain readings")
    once([program, "signals", "write", "video-bars-75", "--out", raw, "--seconds", "2"])
    own, peak, _ = best([program, "measure", raw, "--json"])
    line("waveform, 2 s of bars, 27 MS/s", 2, own, peak, scipy_seconds("scipy_video.py", raw, "27e6", str(1.6384 / 32768)),
         "scipy, the plain readings")
    material.write_wav(card, material.CARD_HZ, material.card(10))
    lowband = ["--view", "lowband"]
    own, peak, _ = best([program, "measure", card, *lowband, "--json"])
    line("low band, 10 s at 192 kHz", 10, own, peak, scipy_seconds("scipy_lowband.py", card), "scipy, the plain readings")
    for name, live in (("picture, 10 s of 720x576, bars", False), ("the same, a live picture", True)):
        material.write_frames(frames, 10, live)
        own, peak, _ = best([program, "measure", frames + ".yuv", "--json"])
        other = best(["ffmpeg", "-v", "error", "-threads", "1", "-f", "rawvideo", "-pix_fmt", "yuyv422", "-s", "720x576",
                      "-r", "25", "-i", frames + ".yuv", "-threads", "1", "-vf", "format=yuv422p,signalstats", "-f", "null",
                      "-"])[0]
        line(name, 10, own, peak, other, "ffmpeg signalstats, which only counts levels")

    print("\nGrowth with length")
    material_tone = material.tone(1)  # 997 Hz and its noise, over and over; hum's last period is cut

    def audio(s):
        material.write_wav(wav, material.AUDIO_HZ, material_tone, s)
        return [wav]
    growth("sound, stereo", [1, 10, 60] + ([] if short else [600, 3600]), audio)
    ten_fields = material.card(0.2)

    def sound_card(s):
        material.write_wav(card, material.CARD_HZ, ten_fields, 5 * s)
        return [card, *lowband]
    growth("low band", [1, 10, 60] + ([] if short else [600, 1800]), sound_card)
    piece = open(raw, "rb").read()

    def waveform(s):
        name = os.path.join(tmp, "long.raw")
        with open(name, "wb") as f:
            for _ in range(s // 2):
                f.write(piece)
        shutil.copy(raw.replace(".raw", ".json"), name.replace(".raw", ".json"))
        return [name]
    growth("waveform (an hour would fill 194 GB)", [2, 8] + ([] if short else [32]), waveform)

    def pictures(s):
        material.write_frames(frames, s, False)
        return [frames + ".yuv"]
    growth("picture (an hour would fill 75 GB)", [1, 10] + ([] if short else [60]), pictures)

results = {}
for name in ("floor", "audio", "video", "picture", "diagnosis", "live"):
    results[name] = measured(name)
floor, audio, video, picture, diagnosis = (results[n] for n in ("floor", "audio", "video", "picture", "diagnosis"))
print("\nTimes what cannot be avoided (its transforms and passes alone)   measured      alone   ratio")
for name, own, least in (
        ("sound, 60 s stereo, tone", audio["measure_stereo/1"], floor["floor_audio/1"]),
        ("sound, 60 s stereo, idle path", audio["measure_stereo/0"], floor["floor_audio/0"]),
        ("waveform, 1 s", video["measure_all"], floor["floor_waveform"]),
        ("low band, 5 s", video["lowband_192k/5"], floor["floor_lowband/5"]),
        ("low band, 60 s", video["lowband_192k/60"], floor["floor_lowband/60"]),
        ("picture, 2 s of bars", picture["all_together/0"], floor["floor_picture"]),
        ("picture, 2 s live", picture["all_together/1"], floor["floor_picture"]),
        ("diagnosis, six jobs", diagnosis["evidence_to_faults"], diagnosis["floor_diagnosis"])):
    print(f"  {name:60s}{own:9.1f} ms {least:9.1f} ms {own / least:6.1f}")

print("\nShare of each stage")
for title, whole, stages in (
        ("sound, tone", audio["measure_stereo/1"], {k: v for k, v in audio.items() if k.endswith("/1") and "stereo" not in k}),
        ("sound, idle path", audio["measure_stereo/0"], {k: v for k, v in audio.items() if k.endswith("/0") and "stereo" not in k}),
        ("waveform", video["measure_all"], {"finding the signal": video["find_the_signal"],
                                            "following its lines": video["find_and_follow_lines"] - video["find_the_signal"],
                                            "the meters": video["measure_all"] - video["find_and_follow_lines"]}),
        ("picture, bars", picture["all_together/0"], {k: v for k, v in picture.items() if k.endswith("/0") and "all" not in k}),
        ("picture, live", picture["all_together/1"], {k: v for k, v in picture.items() if k.endswith("/1") and "all" not in k}),
        ("diagnosis", diagnosis["evidence_to_faults"], {"ranking": diagnosis["ranking"],
                                                        "what to do next": diagnosis["evidence_to_faults"] - diagnosis["ranking"]})):
    parts = sorted(stages.items(), key=lambda kv: -kv[1])
    print(f"  {title}: " + ", ".join(f"{k.split('/')[0]} {100 * v / whole:.0f} %" for k, v in parts))

live = results["live"]
print("\nWatching, of one core: "
      f"stereo sound {live['watch_stereo'] / 100:.1f} %, 25 pictures a second {live['watch_pictures'] / 100:.1f} %")
