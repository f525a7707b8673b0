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

from handsfree.speech import mel, phonetic
from handsfree.speech.phonetic_adapted import corrected_file, packed, tensors
from tests.bench.phonetic_net import Net
from tests.bench.teach.teach_loop import package
from tests.bench.teach.teach_phonetic import LENGTHS, RATE, Degrade, by_clip, scores, symbol_logs, texts_of

SOUND = 330.0  # seconds in a batch
Clip = tuple[np.ndarray, dict[str, Any]]


class Noisier(Degrade):
    """With noises made anew each time: of any colour, with resonances, rising and falling, with knocks. `folder`: where
    those are kept that are not made anew."""

    def __init__(self, folder: Path, device: str) -> None:
        self.torch, self.device = torch, device
        self.noise = torch.from_numpy(np.load(folder / "noise.npy")).to(device).float() / 3000
        self.floor = torch.from_numpy(mel._noise()[: 8 * RATE].copy()).to(device)

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
        which = torch.randint(len(self.noise), (count,), device=self.device)
        start = torch.randint(self.noise.shape[1] - size, (count, 1), device=self.device)
        kept = self.noise[which[:, None], start + torch.arange(size, device=self.device)[None]]
        others = sum(sound[torch.randperm(count, device=self.device)].roll(int(s), 1) for s in (1000, 9000, 17000, 5000))
        kind = torch.rand(count, 1, device=self.device)
        noise = torch.where(kind < 0.15, others, torch.where(kind < 0.5, kept, self.made(count, size)))
        ratio = lowest + (28 - lowest) * torch.rand(count, 1, device=self.device)
        return sound + self.at(sound, noise, ratio) * (torch.rand(count, 1, device=self.device) > 0.2)

    def at(self, sound: Tensor, noise: Tensor, ratio: Tensor | float) -> Tensor:
        """The noise, so loud that the speech's loud moments lie `ratio` dB over it."""
        power = sound.unfold(1, 320, 160).square().mean(-1)
        active = (power * (power > power.amax(1, keepdim=True) * 1e-3)).sum(1, keepdim=True)
        active = active / (power > power.amax(1, keepdim=True) * 1e-3).sum(1, keepdim=True).clamp_min(1)
        return noise * (active / noise.square().mean(1, keepdim=True).clamp_min(1e-9) * 10 ** (-ratio / 10)).sqrt()


class Clips:
    """On the GPU, by length."""

    def __init__(self, clips: Sequence[Clip], device: str) -> None:
        self.sound: list[list[Tensor]] = [[] for _ in LENGTHS]
        self.lines: list[list[dict[str, Any]]] = [[] for _ in LENGTHS]
        for samples, line in clips:
            at = next((at for at, length in enumerate(LENGTHS) if len(samples) <= length * RATE), None)
            if at is not None and line["ways"] and line["rivals"]:
                self.sound[at].append(torch.from_numpy(np.ascontiguousarray(samples)).to(device))
                self.lines[at].append(line)

    def share(self, at: int) -> float:
        return len(self.lines[at]) / sum(map(len, self.lines))


def batch(
    groups: Sequence[tuple[Clips, float]], luck: random.Random, device: str
) -> tuple[Tensor, list[dict[str, Any]]]:
    """Clips of one length, each group as often as it counts."""
    at = luck.choices(range(len(LENGTHS)), [sum(w * some.share(k) for some, w in groups) for k in range(len(LENGTHS))])[0]
    size, count = int((LENGTHS[at] + 0.5) * RATE) // 320 * 320, int(SOUND / LENGTHS[at])
    out, lines = torch.zeros(count, size, device=device), []
    for row in range(count):
        some = luck.choices([some for some, _ in groups], [w * some.share(at) for some, w in groups])[0]
        which = luck.randrange(len(some.lines[at]))
        clip = some.sound[at][which].float() / 32768
        start = luck.randrange(size - len(clip))
        out[row, start : start + len(clip)] = clip
        lines.append(some.lines[at][which])
    return out, lines


def teach(asked: argparse.Namespace) -> Net:
    device = "cuda"
    torch.manual_seed(asked.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    luck = random.Random(f"teach people {asked.seed}")
    _, table, quiet = package()
    written = torch.from_numpy(table).to(device)
    teacher = Net(corrected_file(phonetic.weights())).to(device).eval().requires_grad_(False)
    student = copy.deepcopy(teacher).requires_grad_(True)
    mean = copy.deepcopy(student).requires_grad_(False)
    degrade = Noisier(asked.people, device)
    people = pickle.loads((asked.people / "people.pkl").read_bytes())
    synthetic = [clip for path in sorted(asked.synthetic.glob("*.pkl")) for clip in pickle.loads(path.read_bytes())]
    groups = [(Clips(people, device), asked.share), (Clips(synthetic, device), 1 - asked.share)]
    optimiser = torch.optim.AdamW(student.parameters(), lr=asked.rate, weight_decay=0.0, betas=(0.9, 0.98))
    step, first = 0, time.time()
    while time.time() - first < asked.seconds:
        done = (time.time() - first) / asked.seconds
        for group in optimiser.param_groups:
            group["lr"] = asked.rate * min(1.0, step / 100) * 0.5 * (1 + math.cos(math.pi * min(1.0, done)))
        sound, lines = batch(groups, luck, device)
        with torch.no_grad():
            sound = degrade.faster(sound, luck)
            sound = sound[:, : sound.shape[1] // 320 * 320] * torch.empty(len(sound), 1, device=device).uniform_(0.1, 0.9)
            wanted = teacher(degrade.on_floor(sound))
            heard = degrade.on_floor(degrade.noisy(degrade.band(degrade.room(sound)))).clamp(-1, 1)
        logs = student(heard)
        weight = 0.2 + (1 - wanted[..., quiet].exp().sum(-1))
        leash = ((wanted.exp() * (wanted - logs)).sum(-1) * weight).sum() / weight.sum()
        texts, clip, said = texts_of(lines, luck, 5)
        values = scores(torch, symbol_logs(torch, logs, written, quiet), texts, clip)
        keep = torch.tensor(said, device=device)
        right = by_clip(torch, values, clip, keep, len(lines))
        wrong = by_clip(torch, values, clip, ~keep, len(lines))
        apart = torch.nn.functional.softplus((wrong - right).clamp(-30, 30)).mean()
        count = torch.tensor([float(len(line["ways"][0])) for line in lines], device=device)
        likely = (-right.clamp_min(-400) / count).clamp_max(6).mean()  # a text that was written down wrongly counts little
        optimiser.zero_grad()
        (asked.leash * leash + 0.25 * apart + 0.25 * likely).backward()
        torch.nn.utils.clip_grad_norm_(student.parameters(), 1.0)
        optimiser.step()
        with torch.no_grad():
            for slow, fast in zip(mean.parameters(), student.parameters(), strict=True):
                slow.lerp_(fast, 0.01 if step > 100 else 1.0)
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
