"""Teaches the phonetic witness on people's speech beside synthetic voices; writes handsfree/speech/adapted_people.npz.

    python -m tests.bench.teach.teach_people PEOPLE SYNTHETIC --out OUT --seconds 330

PEOPLE: what `actors teach` made. SYNTHETIC: a folder that `teach_phonetic` filled. Needs torch, torchaudio and a GPU. It
goes on from the corrections that hear at a gate, and asks the same three things of the network as teach_phonetic, with other
noises (made anew for every clip) and a looser leash: to what those corrections write in quiet. One scene in six of the
actors, and the hero's lines, teach nothing (`actors.Label.fits`).
"""

from __future__ import annotations

import argparse
import copy
import math
import pickle
import random
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor

from handsfree.speech import phonetic
from handsfree.speech.phonetic_adapted import corrected_file, packed, tensors
from tests.bench.phonetic_net import Net
from tests.bench.teach.teach_loop import SOUND, learn, pace, package, wishes
from tests.bench.teach.teach_phonetic import LENGTHS, RATE, Degrade, Shelf, room_for

Clip = tuple[np.ndarray, dict[str, Any]]


class Noisier(Degrade):
    """With noises made anew each time: of any colour, with resonances, rising and falling, with knocks."""

    def made(self, count: int, size: int) -> Tensor:
        """(count, size), of about unit power."""
        f = torch.fft.rfftfreq(size, 1 / RATE, device=self.device)[None].clamp_min(30)
        flat = torch.fft.rfft(torch.randn(count, size, device=self.device))
        drawn = lambda low, high: torch.empty(count, 1, device=self.device).uniform_(low, high)  # noqa: E731
        gain = (f / 300) ** -drawn(0, 1.2)
        for _ in range(3):
            middle, width = torch.exp(drawn(math.log(80), math.log(5000))), drawn(0.03, 0.5)
            gain = gain * (1 + drawn(-0.8, 6) * torch.exp(-0.5 * ((f / middle).log() / width).square()))
        noise = torch.fft.irfft(flat * gain, size)
        t = torch.arange(size, device=self.device)[None] / RATE
        slow = 1 + drawn(0, 1) * torch.sin(2 * math.pi * (drawn(0.2, 9) * t + drawn(0, 1)))
        swells = drawn(0, 1) < 0.5
        noise = noise / noise.square().mean(1, keepdim=True).sqrt() * torch.where(swells, slow, torch.ones_like(slow))
        knock = torch.zeros_like(noise)
        for _ in range(3):
            since = t - drawn(0, size / RATE)
            ring = torch.sin(2 * math.pi * torch.exp(drawn(math.log(150), math.log(4000))) * since) + torch.randn_like(t)
            knock = knock + ring * torch.exp(-since.clamp_min(0) / drawn(0.01, 0.15)) * (since > 0) * drawn(0, 4)
        return noise + knock * (drawn(0, 1) < 0.35)

    def noisy(self, sound: Tensor, lowest: float = -2.0) -> Tensor:
        count, size = sound.shape
        kept, others = self.kept(sound), self.babble(sound)
        kind = torch.rand(count, 1, device=self.device)
        noise = torch.where(kind < 0.15, others, torch.where(kind < 0.5, kept, self.made(count, size)))
        ratio = lowest + (28 - lowest) * torch.rand(count, 1, device=self.device)
        return sound + self.at(sound, noise, ratio) * (torch.rand(count, 1, device=self.device) > 0.2)


def shelved(clips: Sequence[Clip], device: str) -> Shelf:
    """Those that have rivals, and are not too long."""
    shelf = Shelf(torch, device)
    for samples, line in clips:
        if len(samples) <= LENGTHS[-1] * RATE and line["ways"] and line["rivals"]:
            shelf.put(samples, line)
    return shelf


def share(shelf: Shelf, at: int) -> float:
    return len(shelf.lines[at]) / sum(map(len, shelf.lines))


def batch(
    groups: Sequence[tuple[Shelf, float]], luck: random.Random, device: str
) -> tuple[Tensor, list[dict[str, Any]]]:
    """Clips of one length, each group as often as it counts."""
    lengths = range(len(LENGTHS))
    at = luck.choices(lengths, [sum(w * share(some, k) for some, w in groups) for k in lengths])[0]
    out = torch.zeros(int(SOUND / LENGTHS[at]), room_for(at), device=device)
    lines = []
    for row in out:
        some = luck.choices([some for some, _ in groups], [w * share(some, at) for some, w in groups])[0]
        lines.append(some.lay(row, at, luck.randrange(len(some.lines[at])), luck))
    return out, lines


def teach(asked: argparse.Namespace) -> Net:
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(asked.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    luck = random.Random(f"teach people {asked.seed}")
    _, table, quiet = package()
    written = torch.from_numpy(table).to(device)
    teacher = Net(corrected_file(phonetic.weights())).to(device).eval().requires_grad_(False)
    student = copy.deepcopy(teacher).requires_grad_(True)
    mean = copy.deepcopy(student).requires_grad_(False)
    degrade = Noisier(torch, device, np.load(asked.people / "noise.npy").astype(np.float32) / 3000)
    people = pickle.loads((asked.people / "people.pkl").read_bytes())
    synthetic = [clip for path in sorted(asked.synthetic.glob("*.pkl")) for clip in pickle.loads(path.read_bytes())]
    groups = [(shelved(people, device), asked.share), (shelved(synthetic, device), 1 - asked.share)]
    optimiser = torch.optim.AdamW(student.parameters(), lr=asked.rate, weight_decay=0.0, betas=(0.9, 0.98))
    step, first = 0, time.time()
    while time.time() - first < asked.seconds:
        pace(optimiser, asked.rate * min(1.0, step / 100), (time.time() - first) / asked.seconds)
        leash, apart, unlikely = wishes(
            torch, (teacher, student), degrade, batch(groups, luck, device), (written, quiet), luck
        )
        likely = unlikely.clamp_max(6).mean()  # a text that was written down wrongly counts little
        learn(torch, optimiser, asked.leash * leash + 0.25 * apart + 0.25 * likely, (student, mean), step)
        step += 1
    print(f"{step} steps")
    return mean


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("people", type=Path)
    parser.add_argument("synthetic", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=330)
    parser.add_argument("--share", type=float, default=0.6, help="of the clips that people say")
    parser.add_argument("--leash", type=float, default=0.3)
    parser.add_argument("--rate", type=float, default=3e-4)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    taught = teach(asked)
    asked.out.mkdir(parents=True, exist_ok=True)
    (asked.out / "adapted_people.npz").write_bytes(packed(tensors(phonetic.weights()), taught.values()))


if __name__ == "__main__":
    main()
