"""What table.py measures: files of any length from a short piece that is repeated, so that an hour is made in seconds."""
import json

import numpy as np
from scipy import signal
from scipy.io import wavfile

AUDIO_HZ = 48000
CARD_HZ = 192000


def tone(seconds):
    n = AUDIO_HZ * seconds
    t = np.arange(n) / AUDIO_HZ
    rng = np.random.default_rng(1)
    x = 0.1 * np.sin(2 * np.pi * 997 * t) + 0.001 * np.sin(2 * np.pi * 50.02 * t)
    return x[:, None] + 0.0005 * rng.standard_normal((n, 2))


def programme(seconds):
    """Music-like: band-limited noise with a wandering level, both sides sharing most of it."""
    n = AUDIO_HZ * seconds
    rng = np.random.default_rng(2)
    b, a = signal.butter(1, 1500 / (AUDIO_HZ / 2))
    x = signal.lfilter(b, a, rng.standard_normal(n))
    t = np.arange(n) / AUDIO_HZ
    x *= 0.2 + 0.15 * np.sin(2 * np.pi * 2.3 * t) + 0.1 * np.sin(2 * np.pi * 0.31 * t)
    side = 0.02 * rng.standard_normal(n)
    return 0.5 * np.column_stack([x + side, x - side])


def write_wav(path, rate, x, times=1):
    x = np.clip(np.round(x * 32767), -32768, 32767).astype(np.int16)
    wavfile.write(path, rate, np.tile(x, (times, 1) if x.ndim == 2 else times))


def card(seconds):
    """625 lines as a sound card takes them in: sync and a grey picture [BT.470], low-passed, with hum; `seconds` of them."""
    fine = 20  # samples a half line at 625 kHz, then down to the card's rate
    half = np.zeros((625, fine))
    half[:, :] = 0.35
    half[0::2, :3] = -0.3  # line sync, every second half line
    for first, broad in ((0, False), (5, True), (10, False)):
        half[first:first + 5] = -0.3 if broad else 0.0
        if broad:
            half[first:first + 5, -3:] = 0.0
        else:
            half[first:first + 5, :2] = -0.3
    field = half.reshape(-1)
    n = int(seconds * 50)
    x = signal.resample_poly(np.tile(field, n), CARD_HZ, 625 * 50 * fine)
    t = np.arange(len(x)) / CARD_HZ
    rng = np.random.default_rng(3)
    return 0.5 * x + 0.01 * np.sin(2 * np.pi * 50.3 * t) + 0.001 * rng.standard_normal(len(x))


def write_frames(path, seconds, live):
    """720x576, 25 a second, yuyv: bars, or a smooth landscape with something crossing it; noise, a little hum."""
    width, height = 720, 576
    rng = np.random.default_rng(1)
    luma = np.repeat(np.array([235, 162, 131, 112, 84, 65, 35, 16.0]), 90)
    frame = np.empty((height, width * 2), np.uint8)
    noise = rng.standard_normal((height + 64, width)) * 1.5
    rows = np.arange(height)
    t_row = np.where(rows % 2 == 0, 0, 0.02) + rows // 2 * 64e-6
    with open(path + ".yuv", "wb") as f:
        for n in range(int(25 * seconds)):
            y = np.broadcast_to(luma, (height, width)) if not live else (
                110 + 40 * np.sin(np.arange(width) / 37.0) + 30 * np.cos(rows / 23.0)[:, None])
            y = y + noise[n % 64:n % 64 + height] + np.sin(2 * np.pi * 50.3 * (n / 25 + t_row))[:, None]
            if live:
                y[200:300, 40 + 3 * n % 500:140 + 3 * n % 500] += 50
            frame[:, 0::2] = np.clip(np.round(y), 1, 254)
            frame[:, 1::4] = frame[:, 3::4] = 128
            f.write(frame.tobytes())
    with open(path + ".json", "w") as f:
        json.dump({"width": width, "height": height, "format": "yuyv", "standard": "625", "field_order": "top",
                   "frame_rate": 25}, f)
