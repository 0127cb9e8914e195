"""Kaldi's binary files: tokens, numbers, vectors and matrices."""

import struct

import numpy as np


class Reader:
    def __init__(self, data, at=0):
        self.data, self.at = data, at

    def token(self):
        end = self.data.index(b" ", self.at)
        token, self.at = self.data[self.at : end].decode("latin1"), end + 1
        return token

    def _take(self, form):
        value = struct.unpack_from("<" + form, self.data, self.at)[0]
        self.at += struct.calcsize("<" + form)
        return value

    def integer(self):
        assert self._take("b") == 4
        return self._take("i")

    def number(self):
        return self._take({4: "f", 8: "d"}[self._take("b")])

    def integers(self):
        assert self._take("b") == 4
        return [self._take("i") for _ in range(self._take("i"))]

    def _floats(self, wide, count):
        at = self.at
        self.at += count * (8 if wide else 4)
        return np.frombuffer(self.data, "<f8" if wide else "<f4", count, at), at

    def vector(self):
        """And where its numbers begin."""
        token = self.token()
        assert token in ("FV", "DV"), token
        return self._floats(token == "DV", self.integer())

    def matrix(self):
        """And where its numbers begin."""
        token = self.token()
        assert token in ("FM", "DM"), token
        rows, columns = self.integer(), self.integer()
        values, at = self._floats(token == "DM", rows * columns)
        return values.reshape(rows, columns), at

    def symmetric(self):
        token = self.token()
        assert token in ("FP", "DP"), token
        rows = self.integer()
        values, _ = self._floats(token == "DP", rows * (rows + 1) // 2)
        whole = np.zeros((rows, rows))
        whole[np.tril_indices(rows)] = values
        return whole + whole.T - np.diag(np.diag(whole))


def opened(path):
    data = open(path, "rb").read()
    return Reader(data, 2 if data[:2] == b"\0B" else 0)
