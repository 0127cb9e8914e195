"""What the library gives its network: features of the sound, and of the voice.

The features are those of conf/mfcc.conf, by kaldi-native-fbank. The voice is an i-vector
that is estimated while it is heard (Kaldi's online i-vectors, with the library's settings:
5 of the Gaussians, none under 0.025, a tenth of the weight, at most as sure as of 100
frames). One thing is unlike the library: it leaves out silence by what it decodes, and
here it is by loudness.
"""

import kaldi_native_fbank
import numpy as np
from kaldi_files import Reader, opened

# Frames between two estimates that are kept.
PERIOD = 60


def mfcc(samples):
    options = kaldi_native_fbank.MfccOptions()
    options.frame_opts.samp_freq = 16000
    options.frame_opts.dither = 0
    options.use_energy = False
    options.num_ceps = options.mel_opts.num_bins = 40
    options.mel_opts.low_freq = 20
    options.mel_opts.high_freq = 7600
    mfcc = kaldi_native_fbank.OnlineMfcc(options)
    mfcc.accept_waveform(16000, samples.astype("f4").tolist())
    mfcc.input_finished()
    return np.stack([mfcc.get_frame(at) for at in range(mfcc.num_frames_ready)])


class Voice:
    def __init__(self, folder):
        self.transform, _ = opened(folder / "final.mat").matrix()
        text = (folder / "global_cmvn.stats").read_text()
        sums = np.array(text.replace("[", " ").replace("]", " ").split(), float).reshape(2, -1)
        self.mean = sums[0, :-1] / sums[0, -1]
        mixture = (folder / "final.dubm").read_bytes()
        at = lambda token: Reader(mixture, mixture.index(token) + len(token))
        self.constants, _ = at(b"<GCONSTS> ").vector()
        self.means, _ = at(b"<MEANS_INVVARS> ").matrix()
        self.inverse, _ = at(b"<INV_VARS> ").matrix()
        extractor = (folder / "final.ie").read_bytes()
        reader = Reader(extractor, extractor.index(b"<M> ") + 4)
        subspaces = [reader.matrix()[0] for _ in range(reader.integer())]
        assert reader.token() == "<SigmaInv>"
        precisions = [reader.symmetric() for _ in subspaces]
        assert reader.token() == "<IvectorOffset>"
        self.offset = reader.number()
        both = list(zip(subspaces, precisions))
        self.linear = np.stack([m.T @ p for m, p in both]).astype("f4")
        self.quadratic = np.stack([m.T @ p @ m for m, p in both]).astype("f4")

    def _transformed(self, frames):
        padded = np.pad(frames, ((3, 3), (0, 0)), "edge")
        beside = np.concatenate([padded[at : at + len(frames)] for at in range(7)], 1)
        return (beside @ self.transform[:, :-1].T + self.transform[:, -1]).astype("f4")

    def _centred(self, frames):
        """Less the mean of the last 600 frames; of the first, with 200 of the world's."""
        sums = np.concatenate([np.zeros((1, 40)), np.cumsum(frames, 0)])
        end = np.arange(1, len(frames) + 1)
        begin = np.maximum(0, end - 600)
        count = (end - begin)[:, None]
        world = np.minimum(600 - count, 200)
        return frames - (sums[end] - sums[begin] + world * self.mean) / (count + world)

    def _shares(self, frames):
        scores = self.constants + frames @ self.means.T - 0.5 * frames**2 @ self.inverse.T
        best = np.argpartition(-scores, 5, 1)[:, :5]
        shares = np.take_along_axis(scores, best, 1)
        shares = np.exp(shares - shares.max(1, keepdims=True))
        shares /= shares.sum(1, keepdims=True)
        shares[shares < 0.025] = 0
        return best, shares / shares.sum(1, keepdims=True)

    def along(self, frames):
        """What is known of the voice after each PERIOD of frames."""
        loud = frames[:, 0]
        low, high = np.percentile(loud, (5, 95))
        weights = np.where(loud > low + 0.35 * (high - low), 0.1, 1e-4)
        best, shares = self._shares(self._transformed(self._centred(frames)))
        shares = shares * weights[:, None]
        frames = self._transformed(frames)
        linear, quadratic, known = np.zeros(30), np.eye(30), 0.0
        linear[0] = self.offset
        voices = []
        for begin in range(0, len(frames), PERIOD):
            end = min(begin + PERIOD, len(frames))
            weights = np.zeros(len(self.constants), "f4")
            for at in range(begin, end):
                for which, share in zip(best[at], shares[at]):
                    linear += share * (self.linear[which] @ frames[at])
                    weights[which] += share
            quadratic += np.tensordot(weights, self.quadratic, 1)
            before, known = known, known + shares[begin:end].sum()
            more = max(known, 100) / 100 - max(before, 100) / 100
            linear[0] += self.offset * more
            quadratic += more * np.eye(30)
            voice = np.linalg.solve(quadratic, linear)
            voice[0] -= self.offset
            voices.append(voice)
        return np.stack(voices).astype("f4")
