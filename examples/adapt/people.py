"""Readies the speech of people that Debian's packages carry: people.py PEOPLE

Sound prompts of a telephone exchange, descriptions of a painting program's stamps,
dialogues of a game, and letters and syllables for learners: most of it is not English, and
need not be, since nothing is learned of which words are likely. Each folder in PEOPLE comes
to be one language of one package, in pieces of 2 to 6 seconds.
"""

import pathlib
import random
import re
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor

import av
import numpy as np
import soundfile

RATE = 16000
SEED = 7
PACKAGES = [f"asterisk-core-sounds-{language}-g722" for language in "en es fr it ru".split()]
PACKAGES += ["fillets-ng-data", "fillets-ng-data-cs", "fillets-ng-data-nl"]
PACKAGES += ["klettres-data", "tuxpaint-stamps-default"]


def voice(file):
    """Whose speech a file is, as far as its name tells, or none where it is not speech."""
    name, folder, path = file.name, file.parent.name, str(file)
    if "/asterisk/" in path:
        silent = "/silence/" in path or "beep" in name
        return None if silent else "exchange-" + re.search(r"/sounds/(\w\w)", path)[1]
    if "/klettres/" in path:
        return "letters-" + file.parents[1].name
    if "/fillets-ng/" in path and folder in ("cs", "nl", "en"):
        # Two fishes speak most of it; the others are of everybody.
        who = re.search(r"-([mv])-", name)
        return f"fishes-{folder}-{who[1] if who else 'others'}"
    if told := re.search(r"_desc(?:_(\w\w))?\.ogg$|_(en_GB)\.ogg$", name):
        return f"stamps-{told[1] or told[2] or 'en'}"
    return None


def decoded(file):
    to_16k = av.AudioResampler("s16", "mono", RATE)
    try:
        with av.open(str(file)) as sound:
            frames = [it for frame in sound.decode(audio=0) for it in to_16k.resample(frame)]
    except av.FFmpegError:
        return np.zeros(0, "f4")
    samples = [it.to_ndarray()[0] for it in [*frames, *to_16k.resample(None)]]
    samples = np.concatenate(samples).astype("f4") if samples else np.zeros(0, "f4")
    loudest = np.abs(samples).max(initial=0)
    return samples * (16384 / loudest) if loudest > 500 else samples[:0]


def pieces(to, files):
    """Short sounds are joined, with a pause; long ones are cut."""
    rng = random.Random(SEED)
    rng.shuffle(files)
    piece, count = [], 0
    for file in files:
        for samples in np.array_split(found := decoded(file), 1 + len(found) // (5 * RATE)):
            piece += [samples, np.zeros(rng.randint(1000, 5000), "f4")]
            if sum(map(len, piece)) > 2 * RATE:
                whole = np.concatenate(piece).astype("<i2")
                soundfile.write(to / f"{count:04}.wav", whole, RATE, subtype="PCM_16")
                piece, count = [], count + 1
    return count


def main():
    to = pathlib.Path(sys.argv[1])
    packages = to.with_name("packages")
    packages.mkdir(parents=True, exist_ok=True)
    subprocess.run(["apt-get", "download", "-q", *PACKAGES], cwd=packages, check=True)
    for package in packages.glob("*.deb"):
        subprocess.run(["dpkg-deb", "-x", package, packages / "files"], check=True)
    voices = {}
    for file in sorted((packages / "files").rglob("*.*")):
        if file.suffix in (".ogg", ".g722") and (who := voice(file)):
            voices.setdefault(who, []).append(file)
    with ProcessPoolExecutor() as processes:
        for who, files in voices.items():
            (to / who).mkdir(parents=True, exist_ok=True)
            voices[who] = processes.submit(pieces, to / who, files)
    for who, count in voices.items():
        print(f"{who}: {count.result()} pieces")


if __name__ == "__main__":
    main()
