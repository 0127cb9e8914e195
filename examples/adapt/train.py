"""Teaches the network to say of noisy speech what it says of the same speech without.

    train.py features MIX FEATURES         once for each mix
    train.py learn FEATURES STEPS OUT
    train.py write LEARNED CHANGES         the file that is built into Sayback
"""

import argparse
import functools
import hashlib
import math
import multiprocessing
import pathlib

import numpy as np
import torch
import torch.nn.functional as F
from features import PERIOD, Voice, mfcc
from network import AFTER, BEFORE, Network
from safetensors.numpy import save_file

MODEL = pathlib.Path("assets/model-en-us")
# Streams at a time, and how many outputs of each.
BATCH, OUTPUTS = 16, 120
# How many of them are people's.
PEOPLE = 7
FRAMES = 3 * OUTPUTS + BEFORE + AFTER
# The steps of a weight are whole numbers up to this.
STEPS = 7
# How much of what was learned is kept: chosen for people who are not among those learned
# from (docs/hearing-adapted.md).
SHARE = 0.7


def features(mix, to):
    to.mkdir(parents=True, exist_ok=True)
    with multiprocessing.Pool() as pool:
        jobs = [(it, to / f"{it.stem}.npz") for it in sorted(mix.glob("*.clean"))]
        pool.starmap(features_of, jobs)


@functools.cache
def voice():
    """Read once in each process: it is 8 MB, and much is computed of it."""
    return Voice(MODEL / "ivector")


def features_of(clean, to):
    found = {}
    for file in sorted(clean.parent.glob(f"{clean.stem}.*")):
        frames = mfcc(np.fromfile(file, "<i2"))
        kind = file.suffix[1:]
        found["frames " + kind] = frames.astype("f2")
        found["voice " + kind] = voice().along(frames)
    np.savez(to, **found)


class Streams:
    def __init__(self, folder):
        files = sorted(folder.glob("*.npz"))
        kept = [it for at, it in enumerate(files) if at % 40 != 7]
        people = [it for it in kept if it.stem.startswith("people-")]
        voices = [it for it in kept if it not in people]
        read = lambda files: [dict(np.load(it)) for it in files]
        self.held_out = read(files[7::40])
        self.people, self.voices = read(people), read(voices)

    def draw(self, rng):
        people = rng.integers(len(self.people), size=PEOPLE)
        voices = rng.integers(len(self.voices), size=BATCH - PEOPLE)
        streams = [self.people[it] for it in people] + [self.voices[it] for it in voices]
        return self.batch(streams, rng)

    def batch(self, streams, rng):
        pieces = [self._piece(it, rng) for it in streams]
        return [torch.tensor(np.stack(it)) for it in zip(*pieces)]

    def _piece(self, stream, rng):
        """Clean frames, the voice they have; noisy frames, and what may be known of the
        voice by then: nothing, or an estimate from any moment before."""
        copies = sum(it.startswith("frames") for it in stream) - 1
        copy = rng.integers(copies)
        clean, noisy = stream["frames clean"], stream[f"frames {copy}"]
        begin = int(rng.integers(max(1, len(clean) - FRAMES)))
        cut = lambda frames: np.pad(
            frames[begin : begin + FRAMES].astype("f4"),
            ((0, max(0, begin + FRAMES - len(frames))), (0, 0)),
            "edge",
        )
        voices = stream[f"voice {copy}"]
        known = rng.integers(min(len(voices), (begin + FRAMES) // PERIOD + 1))
        voice = voices[known - 1] if known else np.zeros(30, "f4")
        return cut(clean), stream["voice clean"][-1], cut(noisy), voice


def loss(teacher, student, batch):
    clean, voice, noisy, known = batch
    with torch.no_grad():
        wanted = teacher(clean, voice)
    found = student(noisy, known)
    shares = (found.log_softmax(2), wanted.log_softmax(2))
    apart = F.kl_div(*shares, log_target=True, reduction="none").sum(2).mean()
    centred = lambda scores: scores - scores.mean(2, keepdim=True)
    return apart, F.mse_loss(centred(found), centred(wanted))


def learn(folder, steps, out):
    torch.manual_seed(1)
    rng, streams = np.random.default_rng(1), Streams(folder)
    teacher, student = Network(MODEL / "am/final.mdl"), Network(MODEL / "am/final.mdl")
    optimiser = torch.optim.Adam(student.parameters(), lr=3e-4)
    for step in range(steps + 1):
        if step % 100 == 0:
            with torch.no_grad():
                batch = streams.batch(streams.held_out, np.random.default_rng(9))
                apart, squares = loss(teacher, student, batch)
            print(f"{step} steps, held out: {apart:.4f} {squares:.4f}", flush=True)
        if step == steps:
            break
        slowly = min(1, (step + 1) / 50) * (0.51 + 0.49 * math.cos(math.pi * step / steps))
        optimiser.param_groups[0]["lr"] = 3e-4 * slowly
        apart, squares = loss(teacher, student, streams.draw(rng))
        optimiser.zero_grad()
        (apart + 0.02 * squares).backward()
        torch.nn.utils.clip_grad_norm_(student.parameters(), 5)
        optimiser.step()
    torch.save(student.state_dict(), out)


def write(learned, out):
    base, student = Network(MODEL / "am/final.mdl"), Network(MODEL / "am/final.mdl")
    student.load_state_dict(torch.load(learned))
    of = hashlib.sha256(base.file).digest()
    tensors, places = {"of": np.frombuffer(of, "u1")}, {}
    for name, (place, shape) in sorted(base.places.items()):
        changed = (student.weights(name) - base.weights(name)).detach().numpy()
        changed = SHARE * changed.reshape(-1, shape[-1])
        step = np.maximum(np.abs(changed).max(1), 1e-12) / STEPS
        tensors[name] = np.rint(changed / step[:, None]).astype("i1")
        tensors[name + ".step"] = step.astype("f4")
        places[name] = str(place)
    save_file(tensors, out, places)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["features", "learn", "write"])
    parser.add_argument("arguments", nargs="+")
    given = parser.parse_args()
    match given.what, given.arguments:
        case "features", [mix, to]:
            features(pathlib.Path(mix), pathlib.Path(to))
        case "learn", [folder, steps, out]:
            learn(pathlib.Path(folder), int(steps), out)
        case "write", [learned, out]:
            write(learned, out)
        case _:
            parser.error("see above")


if __name__ == "__main__":
    main()
