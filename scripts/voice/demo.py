"""Speaks testdata/demo/script.txt into a WAV file: demo.py CACHE SCRIPT CASE OUT."""
import json
import random
import re
import sys
import wave

import numpy as np

from kokoro import OUT_RATE, Speaker

VOICES = {"nurse": "af_heart", "patient": "am_michael"}
# The patient sits further from the nurse's microphone.
GAIN = {"nurse": 1.0, "patient": 0.5}
PAUSE = (0.4, 0.9)  # seconds between sentences
PEAK = 0.7
NOISE = 0.0008  # root mean square of the room, about -62 dB of full scale
LIMIT = 12 * 1000 * 1000  # bytes


def read_script(path):
    """[(speaker, words)]; a pause is ("pause", seconds)."""
    lines = []
    with open(path, encoding="utf-8") as f:
        for number, line in enumerate(f, 1):
            line = line.strip()
            if not line or line.startswith("#"):
                continue
            m = re.fullmatch(r"(nurse|patient|pause): (.+)", line)
            if not m:
                sys.exit(f"{path}:{number}: want nurse:, patient: or pause:")
            lines.append((m[1], float(m[2]) if m[1] == "pause" else m[2]))
    return lines


def main():
    cache, script, case, out = sys.argv[1:]
    lines = read_script(script)
    spoken = " ".join(words for who, words in lines if who != "pause")
    with open(case, encoding="utf-8") as f:
        if json.load(f)["text"] != spoken:
            sys.exit(f"{case}: text differs from the words of {script}")

    chance, speaker = random.Random(9), Speaker(cache)
    parts, wait, number = [np.zeros(int(0.8 * OUT_RATE))], 0.0, 0
    for who, what in lines:
        if who == "pause":
            wait = what
            continue
        if number and not wait:
            wait = chance.uniform(*PAUSE)
        parts.append(np.zeros(int(wait * OUT_RATE)))
        wait, number = 0.0, number + 1
        parts.append(GAIN[who] * speaker.speak(what, VOICES[who], seed=number))
        print(f"\r{number} sentences", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    parts.append(np.zeros(int(0.8 * OUT_RATE)))

    sound = np.concatenate(parts)
    sound *= PEAK / np.max(np.abs(sound))
    sound += np.random.Generator(np.random.PCG64(9)).normal(0, NOISE, len(sound))
    pcm = np.clip(np.round(sound * 32767), -32768, 32767).astype("<i2")
    if pcm.nbytes > LIMIT:
        sys.exit(f"the recording would be {pcm.nbytes} bytes, more than {LIMIT}")
    with wave.open(out, "wb") as w:
        w.setnchannels(1)
        w.setsampwidth(2)
        w.setframerate(OUT_RATE)
        w.writeframes(pcm.tobytes())
    print(f"recording: {len(pcm) / OUT_RATE:.1f} s, {pcm.nbytes + 44} bytes", file=sys.stderr)


if __name__ == "__main__":
    main()
