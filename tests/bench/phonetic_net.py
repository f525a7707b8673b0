"""The network of the phonetic witness in torch, read from the package's file and written back to its form: a conformer of
four blocks on log-mel bands, 50 frames a second (Gulati et al., Interspeech 2020). Its structure was read off the names and
shapes in the file; `tests.bench.teach.teach_phonetic` checks it against the package's own engine before it teaches."""

from __future__ import annotations

from typing import Any

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from handsfree.speech.phonetic_adapted import tensors

_MATRICES = ((829, 830, 831, 835, 836, 837), (838, 839, 840, 844, 845, 846), (847, 848, 849, 853, 854, 855),
             (856, 857, 858, 862, 863, 864))  # fmt: skip
_DEPTHWISE = (804, 807, 810, 813)
HEADS, WIDTH, KERNEL = 4, 144, 31
FIXED = ("mel_fb", "stft_real_kernel", "stft_imag_kernel")


class Net(nn.Module):
    """`data`: the package's file. Everything but the bands of the spectrum can be taught."""

    def __init__(self, data: bytes) -> None:
        super().__init__()
        self.names: dict[str, str] = {}
        for at, (name, value) in enumerate(tensors(data).items()):
            own = f"t{at}"
            self.names[name] = own
            tensor = torch.from_numpy(np.array(value, np.float32))
            if name in FIXED:
                self.register_buffer(own, tensor)
            else:
                self.register_parameter(own, nn.Parameter(tensor))

    def _w(self, name: str) -> Tensor:
        found: Tensor = getattr(self, self.names[name])
        return found

    def bands(self, sound: Tensor) -> Tensor:
        """(clips, samples) -> (clips, bands, frames of 10 ms)."""
        padded = functional.pad(sound[:, None], (200, 200), mode="reflect")
        real = functional.conv1d(padded, self._w("stft_real_kernel"), stride=160)
        imaginary = functional.conv1d(padded, self._w("stft_imag_kernel"), stride=160)
        power = (real.square() + imaginary.square()).transpose(1, 2) @ self._w("mel_fb")
        return power.clamp_min(1e-10).log().transpose(1, 2)

    def forward(self, sound: Tensor) -> Tensor:
        """(clips, samples), 16 kHz -> (clips, frames of 20 ms, tokens), log-probabilities."""
        h = functional.conv1d(self.bands(sound), self._w("onnx::Conv_801"), self._w("onnx::Conv_802"), stride=2, padding=1)
        h = functional.gelu(h).transpose(1, 2)
        for block in range(4):
            h = self._block(h, block)
        head = "acoustic_model.model.proj"
        return functional.log_softmax(h @ self._w(f"{head}.weight")[:, :, 0].T + self._w(f"{head}.bias"), -1)

    def _norm(self, h: Tensor, name: str) -> Tensor:
        return functional.layer_norm(h, (WIDTH,), self._w(f"{name}.weight"), self._w(f"{name}.bias"))

    def _block(self, h: Tensor, block: int) -> Tensor:
        at = f"acoustic_model.model.blocks.{block}."
        first, second, qkv, out, third, fourth = (self._w(f"onnx::MatMul_{number}") for number in _MATRICES[block])

        def forward(name: str, up: Tensor, down: Tensor) -> Tensor:
            inner = functional.silu(self._norm(h, f"{at}{name}.norm") @ up + self._w(f"{at}{name}.fc1.bias"))
            return 0.5 * (inner @ down + self._w(f"{at}{name}.fc2.bias"))

        h = h + forward("ffn1", first, second)
        parts = self._norm(h, f"{at}attn_norm") @ qkv + self._w(f"{at}attn.in_proj_bias")
        clips, frames, _ = parts.shape
        q, k, v = (part.reshape(clips, frames, HEADS, -1).transpose(1, 2) for part in parts.split(WIDTH, -1))
        seen = functional.scaled_dot_product_attention(q, k, v).transpose(1, 2).reshape(clips, frames, WIDTH)
        h = h + seen @ out + self._w(f"{at}attn.out_proj.bias")
        c = self._norm(h, f"{at}conv.norm").transpose(1, 2)
        c = functional.glu(
            functional.conv1d(c, self._w(f"{at}conv.pointwise1.weight"), self._w(f"{at}conv.pointwise1.bias")), 1
        )
        deep = _DEPTHWISE[block]
        c = functional.conv1d(
            c, self._w(f"onnx::Conv_{deep}"), self._w(f"onnx::Conv_{deep + 1}"), padding=KERNEL // 2, groups=WIDTH
        )
        c = functional.conv1d(
            functional.silu(c), self._w(f"{at}conv.pointwise2.weight"), self._w(f"{at}conv.pointwise2.bias")
        )
        h = h + c.transpose(1, 2)
        h = h + forward("ffn2", third, fourth)
        return self._norm(h, f"{at}norm")

    def values(self) -> dict[str, np.ndarray[Any, Any]]:
        """What can be taught, by the file's names."""
        return {
            name: getattr(self, own).detach().float().cpu().numpy() for name, own in self.names.items() if name not in FIXED
        }
