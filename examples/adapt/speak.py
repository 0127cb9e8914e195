"""Speaks the texts of `adapt texts`: speak.py TEXTS SEED SPEECH TALK PEOPLE [DIGITS]

Each folder in SPEECH is a stream of four texts by one voice, and TALK is sentences for
the babble. The voices are those of the bench's tune half and others that are nobody of
its test half. PEOPLE is what people.py has made; DIGITS are those of persons 1 and 2, as in
the bench. Prose is three of the recordings of Debian's pocketsphinx-testdata.
"""

import pathlib
import random
import re
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import soundfile

EACH = 4
PROSE = "/usr/share/pocketsphinx/test/data/librivox"
VARIANTS = (
    "m1 m3 m5 m6 m8 f2 f5 klatt2 klatt4 anika steph Alex Andrea grandma edward michael "
    "Annie david victor linda"
).split()
VOICES = [("flite", "slt")] * 3 + [("flite", "kal16")] * 2
VOICES += [("flite", "kal"), ("festival", "kal_diphone")]
for accent in ("en-us", "en-gb", "en-gb-x-rp", "en-029"):
    if accent != "en-gb":
        VOICES.append(("espeak", accent))
    VOICES += [("espeak", f"{accent}+{variant}") for variant in VARIANTS]
NUMBERS = (
    "one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
    "fifteen sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy "
    "eighty ninety hundred"
).split()


def sentences():
    """Any English: the licences that Debian carries, and this project's documents."""
    found = []
    files = sorted(pathlib.Path("/usr/share/common-licenses").glob("*"))
    for file in files + sorted(pathlib.Path("docs").glob("*.md")):
        text = re.sub(r"```.*?```|\|.*", "", file.read_text(errors="ignore"), flags=re.S)
        found += re.split(r"(?<=[.;:])\s+", re.sub(r"\s+", " ", text))
    found = [re.sub(r"[^A-Za-z' ]", "", it).strip() for it in found]
    return [it for it in found if 20 < len(it) < 90]


def say(voice, speed, text, file):
    program, name = voice
    if program == "flite":
        command = ["flite", "-voice", name, "-t", text, "-o", file]
    elif program == "festival":
        command = ["text2wave", "-eval", f"(voice_{name})", "-o", file]
    else:
        command = ["espeak-ng", "-v", name, "-s", str(speed), "-w", file, "--", text]
    given = text if program == "festival" else None
    subprocess.run(command, input=given, text=True, check=True, capture_output=True)


def digit(folder, person, which):
    clips = sorted(folder.glob(f"p{person}-{which}-*.flac"))
    samples, rate = soundfile.read(random.choice(clips))
    samples -= samples.mean()
    fade = np.linspace(0, 1, rate // 100)
    samples[: len(fade)] *= fade
    samples[-len(fade) :] *= fade[::-1]
    at = np.arange(0, len(samples), rate / 16000)
    samples = np.interp(at, np.arange(len(samples)), samples)
    return samples / np.abs(samples).max() / 2


def main():
    texts, seed = sys.argv[1:3]
    speech, talk = pathlib.Path(sys.argv[3]), pathlib.Path(sys.argv[4])
    random.seed(int(seed))
    any_talk = sentences()
    orders = []
    texts = pathlib.Path(texts).read_text().splitlines()
    for stream in range(len(texts) // EACH):
        voice, speed = VOICES[stream % len(VOICES)], random.randint(125, 190)
        folder = speech / f"s{seed}-{stream:04}-{voice[1]}"
        folder.mkdir(parents=True, exist_ok=True)
        for at, text in enumerate(texts[stream * EACH : (stream + 1) * EACH]):
            if text == "TALK":
                words = random.choice(any_talk).split()
                if random.random() < 0.4:
                    place = random.randrange(len(words))
                    words[place:place] = random.sample(NUMBERS, 2)
                text = " ".join(words)
            orders.append((voice, speed, text, str(folder / f"{at}.wav")))
    talk.mkdir(parents=True, exist_ok=True)
    for at in range(60):
        voice, speed = VOICES[at * 7 % len(VOICES)], random.randint(130, 180)
        orders.append((voice, speed, random.choice(any_talk), f"{talk}/{at:02}.wav"))
    with ThreadPoolExecutor() as threads:
        list(threads.map(lambda order: say(*order), orders))
    prose(seed, speech)
    people(pathlib.Path(sys.argv[5]), seed, speech, talk)
    if len(sys.argv) > 6:
        digits(pathlib.Path(sys.argv[6]), seed, speech)


def prose(seed, speech):
    """75 streams of four pieces of some two seconds."""
    pieces = []
    for file in sorted(pathlib.Path(PROSE).glob("*.wav"))[:3]:
        samples, rate = soundfile.read(file, dtype="int16")
        pieces += np.array_split(samples, max(1, round(len(samples) / rate / 2)))
    for stream in range(75):
        to = speech / f"people-{seed}-{stream:04}-prose"
        to.mkdir(parents=True, exist_ok=True)
        for at, samples in enumerate(random.sample(pieces, 4)):
            soundfile.write(to / f"{at}.wav", samples, 16000, subtype="PCM_16")


def people(folder, seed, speech, talk):
    """Streams of four pieces, of English three times as many; and 60 pieces of babble."""
    everybody = []
    for voice in sorted(folder.iterdir()):
        pieces = sorted(voice.glob("*.wav"))
        everybody += pieces
        count = min(16, len(pieces) // 8) * (3 if "-en" in voice.name else 1)
        for stream in range(count):
            to = speech / f"people-{seed}-{stream:04}-{voice.name}"
            to.mkdir(parents=True, exist_ok=True)
            for at, piece in enumerate(random.sample(pieces, 4)):
                shutil.copy(piece, to / f"{at}.wav")
    for at, piece in enumerate(random.sample(everybody, 60)):
        shutil.copy(piece, talk / f"people-{at:02}.wav")


def digits(folder, seed, speech):
    """80 streams of five numbers, of one to five digits."""
    noise = np.random.default_rng(int(seed))
    for stream in range(80):
        person = 1 + stream % 2
        to = speech / f"people-{seed}-{stream:04}-{person}"
        to.mkdir(parents=True, exist_ok=True)
        for at in range(5):
            parts = []
            for _ in range(random.randint(1, 5)):
                parts.append(digit(folder, person, random.randrange(10)))
                parts.append(np.zeros(random.randint(0, 2500)))
            samples = np.concatenate(parts)
            samples += noise.standard_normal(len(samples)) * 1e-3
            soundfile.write(to / f"{at}.wav", samples, 16000, subtype="PCM_16")


if __name__ == "__main__":
    main()
