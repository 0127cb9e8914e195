"""How far people's speech that nothing was learned from comes to be from what the network
made of it in the quiet as it came, by the share of the change: unseen.py LEARNED TALK

Numbers and commands, and prose, from Debian's pocketsphinx-testdata, but for the prose
that speak.py takes; in the quiet, and at 8 dB in a noise and in TALK.
"""

import pathlib
import sys

import numpy as np
import soundfile
import torch
import torch.nn.functional as F
from features import mfcc
from network import Network
from train import MODEL, voice

DATA = pathlib.Path("/usr/share/pocketsphinx/test/data")
NUMBERS = ("numbers.raw", "tidigits/dhd.2934z.raw", "goforward.raw")
SHARES = (0, 0.35, 0.5, 0.6, 0.7, 0.85, 1)
DECIBELS = 8


def recordings():
    wavs = lambda folder: [soundfile.read(it)[0] for it in sorted((DATA / folder).glob("*.wav"))]
    numbers = [np.fromfile(DATA / it, "<i2") / 32768 for it in NUMBERS]
    return {"numbers": wavs("cards") + numbers, "prose": wavs("librivox")[3:]}


def seen(samples):
    frames = mfcc(samples)
    tensor = lambda it: torch.tensor(it[None].astype("f4"))
    return tensor(frames), tensor(voice().along(frames)[-1])


def noises(length, talk, rng):
    yield np.convolve(rng.standard_normal(length), np.ones(8) / 8, "same")
    rolled = [np.roll(talk[rng.integers(len(talk))], rng.integers(10**5)) for _ in range(6)]
    yield sum(np.resize(it, length) for it in rolled)


def streams(recordings, talk):
    rng = np.random.default_rng(0)
    for samples in recordings:
        samples = samples * (16384 / np.abs(samples).max())
        for noise in noises(len(samples), talk, rng):
            softer = 10 ** (-DECIBELS / 20) * np.sqrt((samples**2).mean()) / noise.std()
            yield seen(samples), seen(samples + softer * noise)


def apart(network, teacher, streams):
    """Kullback–Leibler divergences in the quiet and in noise, the mean of all streams."""
    found = []
    with torch.no_grad():
        for stream in streams:
            wanted = teacher(*stream[0]).log_softmax(2)
            scores = [network(*it).log_softmax(2) for it in stream]
            found.append([F.kl_div(it, wanted, log_target=True, reduction="none") for it in scores])
    return np.mean([[float(it.sum(2).mean()) for it in pair] for pair in found], 0)


def main():
    learned, talk = torch.load(sys.argv[1]), sorted(pathlib.Path(sys.argv[2]).glob("*.wav"))
    talk = [soundfile.read(it)[0] for it in talk]
    teacher, network = Network(MODEL / "am/final.mdl"), Network(MODEL / "am/final.mdl")
    base = teacher.state_dict()
    kinds = {kind: list(streams(it, talk)) for kind, it in recordings().items()}
    for share in SHARES:
        mixed = {name: base[name] + share * (learned[name] - base[name]) for name in base}
        network.load_state_dict(mixed)
        told = [
            f"{kind} {quiet:.4f} in the quiet, {noise:.4f} in noise"
            for kind, (quiet, noise) in ((it, apart(network, teacher, kinds[it])) for it in kinds)
        ]
        print(f"{share}: " + "; ".join(told), flush=True)


if __name__ == "__main__":
    main()
