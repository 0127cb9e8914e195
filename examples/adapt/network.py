"""The model's network (am/final.mdl, Kaldi's nnet3 in binary) as a PyTorch module.

Only the half that is decoded with is read; what is for training with Kaldi is passed over.
"""

import re

import numpy as np
import torch
import torch.nn.functional as F
from kaldi_files import Reader
from torch import nn

# How many frames the first output needs before it, and the last after it.
BEFORE, AFTER = 26, 14
LEARNED = {
    b"NaturalGradientAffineComponent": b"<LinearParams> ",
    b"TdnnComponent": b"<LinearParams> ",
    b"LinearComponent": b"<Params> ",
}


class Network(nn.Module):
    def __init__(self, path):
        super().__init__()
        self.file = open(path, "rb").read()
        # Of each group of weights: where it begins in the file, and its shape.
        self.places = {}
        self.offsets = {}
        for found in re.finditer(rb"<ComponentName> (\S+) <(\w+)>", self.file):
            name, kind, at = found[1].decode(), found[2], found.end()
            if "xent" in name:
                continue
            if kind in LEARNED:
                if kind == b"TdnnComponent":
                    self.offsets[name] = self._at(b"<TimeOffsets> ", at).integers()
                reader = self._at(LEARNED[kind], at)
                self._learned(name + ".w", *reader.matrix())
                if kind != b"LinearComponent":
                    assert reader.token() == "<BiasParams>"
                    bias, place = reader.vector()
                    if len(bias):
                        self._learned(name + ".b", bias, place)
            elif kind == b"BatchNormComponent":
                rms = self._at(b"<TargetRms> ", at).number()
                epsilon = self._at(b"<Epsilon> ", at).number()
                reader = self._at(b"<StatsMean> ", at)
                mean, _ = reader.vector()
                assert reader.token() == "<StatsVar>"
                variance, _ = reader.vector()
                scale = rms / np.sqrt(np.maximum(variance, 0) + epsilon)
                plain = name.replace(".", "_")
                self.register_buffer(plain + "_mean", torch.tensor(mean.copy()))
                self.register_buffer(plain + "_scale", torch.tensor(scale.astype("f4")))

    def _at(self, token, after):
        return Reader(self.file, self.file.index(token, after) + len(token))

    def _learned(self, name, value, place):
        self.places[name] = (place, value.shape)
        plain = name.replace(".", "_")
        self.register_parameter(plain, nn.Parameter(torch.tensor(value.copy())))

    def weights(self, name):
        return getattr(self, name.replace(".", "_"), None)

    def _linear(self, name, x):
        return F.linear(x, self.weights(name + ".w"), self.weights(name + ".b"))

    def _norm(self, name, x):
        plain = name.replace(".", "_")
        return (x - getattr(self, plain + "_mean")) * getattr(self, plain + "_scale")

    def _over_time(self, name, x, step):
        """Each frame beside those at its offsets, `step` frames being between two of x."""
        at = [(it - self.offsets[name][0]) // step for it in self.offsets[name]]
        length = x.shape[1] - at[-1]
        x = torch.cat([x[:, it : it + length] for it in at], 2)
        return self._linear(name, x), -self.offsets[name][0]

    def forward(self, features, voice):
        """features [batch, frames, 40], voice [batch, 30]: scores of every third frame,
        from frame BEFORE on."""
        x = features
        first = x[:, 3:-1] - x[:, 1:-3]
        second = x[:, :-4] + x[:, 4:] - 2 * x[:, 2:-2]
        x = self._norm("delta", torch.cat([x[:, 2:-2], first, second], 2))
        x = torch.cat([x, voice[:, None, :].expand(-1, x.shape[1], -1)], 2)
        x = self._norm("tdnn1.batchnorm", F.relu(self._linear("tdnn1.affine", x)))
        # x begins at this frame, and has every `step`th.
        begins, step = 2, 1
        for layer in range(2, 13):
            name = f"tdnnf{layer}"
            y, later = self._over_time(name + ".linear", x, step)
            if layer == 4:
                # From here on every third frame is all that is needed.
                skip = (BEFORE - begins - later) % 3
                y = torch.cat([y[:, skip:-1:3], y[:, skip + 1 :: 3]], 2)
                y = self._linear(name + ".affine", y)
                later += skip
                x = x[:, later::3][:, : y.shape[1]]
                step = 3
            else:
                y, more = self._over_time(name + ".affine", y, step)
                later += more
                x = x[:, later // step :][:, : y.shape[1]]
            x = 0.75 * x + self._norm(name + ".batchnorm", F.relu(y))
            begins += later
        assert begins == BEFORE
        x = F.relu(self._linear("prefinal-chain.affine", self._linear("prefinal-l", x)))
        x = self._norm("prefinal-chain.batchnorm1", x)
        x = self._norm("prefinal-chain.batchnorm2", self._linear("prefinal-chain.linear", x))
        return self._linear("output.affine", x)
