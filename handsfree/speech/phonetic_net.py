"""The network of the phonetic witness, computed here: a conformer of four blocks on log-mel bands, 50 frames a second
(Gulati et al., Interspeech 2020).

Rules of this file:

- It gives what the package's own engine gives (a test compares them), at a tenth of the processor: its matrices are handed
  to the arithmetic library whole.
- Structure and names are those of the package's file (`phonetic_adapted.tensors`). Knows nothing of phonemes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

WINDOW, HOP = 400, 160  # samples
WIDTH, HEADS, KERNEL = 144, 4, 31
_LEAST = 1e-10  # power of a band
#: The numbers under which the file keeps each block's matrices: two of the first forward part, those of attention, two of
#: the second forward part; and its convolution's.
_MATRICES = ((829, 830, 831, 835, 836, 837), (838, 839, 840, 844, 845, 846), (847, 848, 849, 853, 854, 855),
             (856, 857, 858, 862, 863, 864))  # fmt: skip
_DEPTHWISE = (804, 807, 810, 813)
_MODEL = "acoustic_model.model."


@dataclass(frozen=True)
class Net:
    """`weights`: by the file's names, 32-bit."""

    weights: Mapping[str, Any]

    @classmethod
    def of(cls, tensors: Mapping[str, NDArray[np.floating]]) -> Net:
        """KeyError where the file lacks a part."""
        kept = {name: np.ascontiguousarray(value, np.float32) for name, value in tensors.items()}
        for name in ("mel_fb", f"{_MODEL}proj.weight", *(f"onnx::MatMul_{at}" for block in _MATRICES for at in block)):
            if name not in kept:  # a file of another version fails here, and not at the first word
                raise KeyError(name)
        return cls(kept)

    def __call__(self, samples: Floats) -> Floats:
        """Mono, 16 kHz, at least 201 samples -> (frames of 20 ms, tokens), log-probabilities."""
        h = self._gelu(self._halved(self._bands(samples)))
        for block in range(4):
            h = self._block(h, block)
        out = h @ self.weights[f"{_MODEL}proj.weight"][:, :, 0].T + self.weights[f"{_MODEL}proj.bias"]
        out -= out.max(axis=1, keepdims=True)
        return np.asarray(out - np.log(np.exp(out).sum(axis=1, keepdims=True)), np.float32)

    def _bands(self, samples: Floats) -> Floats:
        """(frames of 10 ms, bands)."""
        padded = np.pad(samples, WINDOW // 2, mode="reflect")
        windows = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP]
        power = np.abs(np.fft.rfft(windows * self.weights["stft_real_kernel"][0, 0], axis=1)) ** 2
        return np.asarray(np.log(np.maximum(power.astype(np.float32) @ self.weights["mel_fb"], _LEAST)), np.float32)

    def _halved(self, bands: Floats) -> Floats:
        """Every second frame, each from three."""
        kernel = self.weights["onnx::Conv_801"]
        padded = np.pad(bands, ((1, 1), (0, 0)))
        threes = np.lib.stride_tricks.sliding_window_view(padded, 3, axis=0)[::2]  # (frames, bands, 3)
        flat = threes.reshape(len(threes), -1) @ kernel.reshape(WIDTH, -1).T
        return np.asarray(flat + self.weights["onnx::Conv_802"], np.float32)

    def _norm(self, h: Floats, name: str) -> Floats:
        centred = h - h.mean(axis=1, keepdims=True)
        scaled = centred / np.sqrt(np.square(centred).mean(axis=1, keepdims=True) + 1e-5)
        return np.asarray(scaled * self.weights[f"{name}.weight"] + self.weights[f"{name}.bias"], np.float32)

    def _forward(self, h: Floats, name: str, up: int, down: int) -> Floats:
        wide = self._norm(h, f"{name}.norm") @ self.weights[f"onnx::MatMul_{up}"] + self.weights[f"{name}.fc1.bias"]
        narrow = _silu(wide) @ self.weights[f"onnx::MatMul_{down}"] + self.weights[f"{name}.fc2.bias"]
        return np.asarray(0.5 * narrow, np.float32)

    def _block(self, h: Floats, block: int) -> Floats:
        at = f"{_MODEL}blocks.{block}."
        up, down, qkv, out, up2, down2 = _MATRICES[block]
        h = h + self._forward(h, f"{at}ffn1", up, down)
        h = h + self._attention(self._norm(h, f"{at}attn_norm"), at, qkv, out)
        h = h + self._convolution(self._norm(h, f"{at}conv.norm"), at, _DEPTHWISE[block])
        h = h + self._forward(h, f"{at}ffn2", up2, down2)
        return self._norm(h, f"{at}norm")

    def _attention(self, h: Floats, at: str, qkv: int, out: int) -> Floats:
        parts = h @ self.weights[f"onnx::MatMul_{qkv}"] + self.weights[f"{at}attn.in_proj_bias"]
        q, k, v = (part.reshape(len(h), HEADS, -1).transpose(1, 0, 2) for part in np.split(parts, 3, axis=1))
        seen = q @ k.transpose(0, 2, 1) / np.float32(np.sqrt(WIDTH // HEADS))
        seen = np.exp(seen - seen.max(axis=2, keepdims=True))
        seen /= seen.sum(axis=2, keepdims=True)
        mixed = (seen @ v).transpose(1, 0, 2).reshape(len(h), WIDTH)
        return np.asarray(mixed @ self.weights[f"onnx::MatMul_{out}"] + self.weights[f"{at}attn.out_proj.bias"], np.float32)

    def _convolution(self, h: Floats, at: str, deep: int) -> Floats:
        c = h @ self.weights[f"{at}conv.pointwise1.weight"][:, :, 0].T + self.weights[f"{at}conv.pointwise1.bias"]
        c = c[:, :WIDTH] * _sigmoid(c[:, WIDTH:])
        kernel = self.weights[f"onnx::Conv_{deep}"][:, 0].T
        padded = np.pad(c, ((KERNEL // 2, KERNEL // 2), (0, 0)))
        total = np.broadcast_to(self.weights[f"onnx::Conv_{deep + 1}"], c.shape).copy()
        for shift in range(KERNEL):
            total += padded[shift : shift + len(c)] * kernel[shift]
        c = _silu(total) @ self.weights[f"{at}conv.pointwise2.weight"][:, :, 0].T
        return np.asarray(c + self.weights[f"{at}conv.pointwise2.bias"], np.float32)

    @staticmethod
    def _gelu(x: Floats) -> Floats:
        """x Φ(x), the error function after Abramowitz and Stegun, 7.1.26 (error below 1.5e-7)."""
        z = np.abs(x) / np.float32(np.sqrt(2))
        t = 1 / (1 + np.float32(0.3275911) * z)
        series = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
        tail = series * np.exp(-z * z)
        return np.asarray(0.5 * x * np.where(x > 0, 2 - tail, tail), np.float32)


def _sigmoid(x: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-x)), np.float32)


def _silu(x: Floats) -> Floats:
    return x * _sigmoid(x)
