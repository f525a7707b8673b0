"""Teaches both witnesses to write in noise what they write in quiet, on people's speech; no text is needed.

    python -m tests.bench.teach.distil FOLDER --out OUT --which phonetic --seconds 420     (or --which whisper)

FOLDER is what `distil_people` made. Needs torch, torchaudio and a GPU. The network that ships hears a clip in quiet and is the
teacher; the network that learns hears it through another microphone, in a room and in noise from 28 dB to -2, and is asked to
give the same probabilities (knowledge distillation, Hinton, Vinyals and Dean 2015, from memory). For whisper these are the
tokens of what the teacher writes, and what the encoder passes on. So what is heard in quiet should stay as it is, and the fit of
the probabilities with it. Who speaks English where hearing is judged teaches nothing; the groups `held` teach nothing either,
and show what it brings.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import random
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import torch
from torch import Tensor
from torch.nn import functional

from tests.bench.phonetic_net import Net
from tests.bench.teach.teach_phonetic import Degrade
from tests.bench.whisper_net import corrected, decode, encode

RATE = 16_000
LENGTHS = (1.2, 2.0, 3.2, 4.9)  # seconds; a clip goes into the shortest that holds it
SOUND = 300.0  # seconds in a batch
AFTER = 1.6  # seconds of silence after the sound, as whisper._AFTER_TAUGHT
RANK, MOST = 24, 26  # of whisper's corrections; tokens of a text
LOOKS = (None, 10.0, 5.0, 0.0)
EVERY = 60.0  # seconds between looks


def floor_noise(seconds: int = 8) -> np.ndarray:
    """As `mel._noise`."""
    longest = 480_000
    spectrum = np.fft.rfft(np.random.RandomState(7).standard_normal(longest))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 40 * longest / 16_000))
    noise = np.fft.irfft(spectrum, longest)
    return np.asarray(noise / np.sqrt(np.mean(np.square(noise))), np.float32)[: seconds * RATE]


class Noisier(Degrade):
    """With noises made anew each time: of any colour, with resonances, rising and falling, with knocks."""

    def __init__(self, folder: Path, device: str) -> None:
        self.torch, self.device = torch, device
        self.noise = torch.from_numpy(np.load(folder / "noise.npy")).to(device).float() / 3000
        self.floor = torch.from_numpy(floor_noise()).to(device)

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
        noise = noise / noise.square().mean(1, keepdim=True).sqrt() * torch.where(drawn(0, 1) < 0.5, slow, torch.ones_like(slow))
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


# ---- clips


class Clips:
    """On the GPU, by length; `weight`: how often each group is drawn."""

    def __init__(self, folder: Path, device: str, english: float) -> None:
        self.sound: list[list[Tensor]] = [[] for _ in LENGTHS]
        self.weight: list[list[float]] = [[] for _ in LENGTHS]
        self.held: list[Tensor] = []
        table = json.loads((folder / "people.json").read_text())
        with ThreadPoolExecutor(12) as pool:
            sounds = pool.map(lambda one: soundfile.read(folder / one["file"], dtype="int16")[0], table)
            spoken = list(zip(table, sounds, strict=True))
        for one, whole in spoken:
            at, luck = 0, random.Random(one["group"])
            for length in one["lengths"]:
                clip = torch.from_numpy(whole[at : at + length].copy())
                at += length + 800
                if one["held"]:
                    if luck.random() < (0.12 if "actors" in one["group"] else 0.5):
                        self.held.append(clip[: int(LENGTHS[-1] * RATE)].to(device).float() / 32768)
                    continue
                bucket = next((n for n, seconds in enumerate(LENGTHS) if length <= seconds * RATE), None)
                if bucket is not None:
                    own = "actors of" in one["group"] or "synthetic" in one["group"]
                    self.sound[bucket].append(clip)
                    self.weight[bucket].append((english if own else 1.0) * length / RATE)
        self.total = [sum(weights) for weights in self.weight]
        self.device = device

    def drawn(self, luck: random.Random) -> tuple[int, list[int]]:
        """A length, and which clips of it."""
        bucket = luck.choices(range(len(LENGTHS)), self.total)[0]
        return bucket, luck.choices(range(len(self.sound[bucket])), self.weight[bucket], k=int(SOUND / LENGTHS[bucket]))

    def batch(self, bucket: int, chosen: Sequence[int], luck: random.Random) -> Tensor:
        """Each somewhere in a little more."""
        size = int((LENGTHS[bucket] + 0.5) * RATE) // 320 * 320
        out = torch.zeros(len(chosen), size, dtype=torch.int16)
        for row, which in enumerate(chosen):
            clip = self.sound[bucket][which]
            start = luck.randrange(size - len(clip))
            out[row, start : start + len(clip)] = clip
        return out.to(self.device).float() / 32768

    def looks(self, degrade: Noisier) -> list[tuple[Tensor, dict[float | None, Tensor]]]:
        """(in quiet, {level: in noise}) of those who teach nothing, in batches."""
        torch.manual_seed(11)
        out = []
        ordered = sorted(self.held, key=len)
        for first in range(0, len(ordered), 100):
            some = ordered[first : first + 100]
            size = (len(some[-1]) + RATE // 2) // 320 * 320
            sound = torch.zeros(len(some), size, device=self.device)
            for row, clip in enumerate(some):
                sound[row, RATE // 8 : RATE // 8 + len(clip)] = clip[: size - RATE // 8]
            noise = torch.where(
                torch.rand(len(some), 1, device=self.device) < 0.5, degrade.made(len(some), size),
                degrade.noise[torch.arange(len(some), device=self.device) % len(degrade.noise)][:, 9000 : 9000 + size],
            )  # fmt: skip
            noisy = {level: sound + degrade.at(sound, noise, level) for level in LOOKS if level is not None}
            out.append((degrade.on_floor(sound), {level: degrade.on_floor(one) for level, one in noisy.items()}))
        return out


def both(degrade: Noisier, sound: Tensor, luck: random.Random) -> tuple[Tensor, Tensor]:
    """(in quiet, degraded), of the same clips."""
    sound = degrade.faster(sound, luck)
    sound = sound[:, : sound.shape[1] // 320 * 320] * torch.empty(len(sound), 1, device=sound.device).uniform_(0.1, 0.9)
    heard = degrade.noisy(degrade.band(degrade.room(sound)))
    return degrade.on_floor(sound), degrade.on_floor(heard).clamp(-1, 1)


def paced(optimiser: Any, step: int, done: float, highest: float) -> None:
    for group in optimiser.param_groups:
        group["lr"] = highest * min(1.0, (step + 1) / 100) * 0.5 * (1 + math.cos(math.pi * min(1.0, done)))


# ---- the witness of sounds


def phonetic(asked: argparse.Namespace, began: float) -> None:
    device = asked.device
    degrade = Noisier(asked.folder, device)
    clips = Clips(asked.folder, device, 1.0)
    data = (asked.folder / "phonetic.bin").read_bytes()
    quiet = np.load(asked.folder / "symbols.npz")["silent"].tolist()
    teacher = Net(data).to(device).eval().requires_grad_(False)
    student = copy.deepcopy(teacher).requires_grad_(True)
    mean = copy.deepcopy(teacher)
    looks = clips.looks(degrade)
    luck = random.Random(asked.seed)

    def apart(wanted: Tensor, logs: Tensor) -> Tensor:
        weight = 0.2 + (1 - wanted[..., quiet].exp().sum(-1))
        return ((wanted.exp() * (wanted - logs)).sum(-1) * weight).sum() / weight.sum()

    def look(net: Net) -> str:
        with torch.no_grad():
            pairs = [(teacher(calm), {None: net(calm)} | {level: net(one) for level, one in noisy.items()}) for calm, noisy in looks]
        told = []
        for level in LOOKS:
            gap = float(np.mean([float(apart(wanted, logs[level])) for wanted, logs in pairs]))
            same = [_same(wanted, logs[level], quiet) for wanted, logs in pairs]
            told.append(f"{level}: {gap:.3f} {sum(a for a, _ in same) / sum(b for _, b in same):.3f}")
        return "; ".join(told)

    print("before", look(teacher), f"{time.time() - began:.0f} s", flush=True)
    optimiser = torch.optim.AdamW(student.parameters(), lr=asked.rate, weight_decay=0.0, betas=(0.9, 0.98))
    step, first, last = 0, time.time(), time.time()
    while (done := (time.time() - first) / (asked.seconds - (first - began))) < 1:
        paced(optimiser, step, done, asked.rate)
        with torch.no_grad():
            calm, heard = both(degrade, clips.batch(*clips.drawn(luck), luck), luck)
            wanted = teacher(calm)
        loss = apart(wanted, student(heard))
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(student.parameters(), 1.0)
        optimiser.step()
        with torch.no_grad():
            for slow, fast in zip(mean.parameters(), student.parameters(), strict=True):
                slow.lerp_(fast, 0.01 if step > 100 else 1.0)
        step += 1
        if time.time() - last > EVERY:
            print(f"{time.time() - began:.0f} s, step {step}, loss {float(loss):.3f}; {look(mean)}", flush=True)
            last = time.time()
    print("taught", step, look(mean), flush=True)
    np.savez(asked.out / "phonetic.npz", **{name: value.astype(np.float16) for name, value in mean.values().items()})


def _same(wanted: Tensor, logs: Tensor, quiet: list[int]) -> tuple[int, int]:
    """Of the frames in which the teacher writes a sound: in how many the same one is written within a frame; and how many."""
    ours, theirs = logs.argmax(-1), wanted.argmax(-1)
    speech = ~torch.isin(theirs, torch.tensor(quiet, device=theirs.device))
    near = (ours == theirs) | (ours.roll(1, 1) == theirs) | (ours.roll(-1, 1) == theirs)
    return int((near & speech).sum()), int(speech.sum())


# ---- the witness that writes


def log_mel(sound: Tensor) -> Tensor:
    """(clips, samples) -> (clips, 80, frames), silence after it included; as `mel.log_mel`."""
    from handsfree.speech.mel import _filters

    frames = 2 * math.ceil((sound.shape[1] / RATE + AFTER) * 50)
    padded = functional.pad(sound, (0, frames * 160 - sound.shape[1] + 200))
    padded = torch.cat([padded[:, 1:201].flip(1), padded], 1)
    window = torch.hann_window(400, device=sound.device)
    power = torch.fft.rfft(padded.unfold(1, 400, 160)[:, :frames] * window).abs().square()
    levels = (power @ torch.from_numpy(_filters().T).to(sound.device)).clamp_min(1e-10).log10().transpose(1, 2)
    return (torch.maximum(levels, levels.amax((1, 2), keepdim=True) - 8.0) + 4.0) / 4.0


def written(model: dict[str, Tensor], sound: Tensor) -> tuple[Tensor, Tensor]:
    """What it writes, a token at a time: (clips, MOST) tokens in, and how much each counts."""
    vocabulary = model["decoder/embeddings/weight"]
    end = len(vocabulary) - 3
    tokens = torch.tensor([[end + 1, end + 2]], device=sound.device).repeat(len(sound), 1)
    over = torch.zeros(len(sound), dtype=torch.bool, device=sound.device)
    for _ in range(MOST - 2):
        best = functional.linear(decode(model, sound, tokens)[:, -1], vocabulary[: end + 1]).argmax(-1)
        tokens = torch.cat([tokens, torch.where(over, end, best)[:, None]], 1)
        over = over | (best == end)
    ended = (tokens[:, 2:] == end).cumsum(1)
    counts = torch.cat([torch.zeros_like(tokens[:, :1]), (ended - (tokens[:, 2:] == end).long() == 0).long()], 1)
    return tokens, counts.float()


def whisper(asked: argparse.Namespace, began: float) -> None:
    device = asked.device
    degrade = Noisier(asked.folder, device)
    clips = Clips(asked.folder, device, 3.0)
    stored = np.load(asked.folder / "whisper.npz")
    weights = {name: torch.from_numpy(stored[name].astype(np.float32)).to(device) for name in stored.files}
    rng = np.random.default_rng(0)
    matrices = [name for name in weights if "/layer_" in name and "/linear_" in name and name.endswith("/weight")]
    small = [name for name in weights if name.endswith(("/beta", "/gamma", "/bias"))]

    def leaf(value: np.ndarray) -> Tensor:
        return torch.tensor(value, dtype=torch.float32, device=device, requires_grad=True)

    learnt = {
        "down": {n: leaf(rng.normal(0, weights[n].shape[1] ** -0.5, (RANK, weights[n].shape[1]))) for n in matrices},
        "up": {n: leaf(np.zeros((weights[n].shape[0], RANK))) for n in matrices},
        "add": {n: leaf(np.zeros(tuple(weights[n].shape))) for n in small},
    }
    every = [value for part in learnt.values() for value in part.values()]
    vocabulary = weights["decoder/embeddings/weight"]
    luck = random.Random(asked.seed)
    looks = clips.looks(degrade)
    with torch.no_grad(), torch.autocast("cuda", torch.bfloat16):
        texts, counts = [], []
        for bucket, some in enumerate(clips.sound):
            parts = [range(first, min(first + 200, len(some))) for first in range(0, len(some), 200)]
            told_of = [
                written(weights, encode(weights, log_mel(degrade.on_floor(clips.batch(bucket, part, luck))))) for part in parts
            ]
            texts.append(torch.cat([one for one, _ in told_of]))
            counts.append(torch.cat([one for _, one in told_of]))
        read = [written(weights, encode(weights, log_mel(calm))) for calm, _ in looks]
    print(f"read {time.time() - began:.0f} s", flush=True)

    def told(model: dict[str, Tensor], encoded: Tensor, tokens: Tensor) -> Tensor:
        return functional.log_softmax(functional.linear(decode(model, encoded, tokens[:, :-1]), vocabulary[:-2]).float(), -1)

    def losses(
        model: dict[str, Tensor], calm: Tensor, heard: Tensor, tokens: Tensor, counted: Tensor
    ) -> tuple[Tensor, Tensor, Tensor]:
        longest = 2 + int(counted.sum(1).max())
        tokens, counted = tokens[:, :longest], counted[:, : longest - 1]
        with torch.no_grad():
            clear = encode(weights, log_mel(calm))
            wanted = told(weights, clear, tokens)
            far = torch.arange(clear.shape[1], device=device) < calm.shape[1] // 320
        encoded = encode(model, log_mel(heard))
        passed = ((encoded - clear).float().square().mean(-1) * far).sum() / (far.sum() * len(calm)) / clear.float().var()
        logs = told(model, encoded, tokens)
        weight = counted
        gap = ((wanted.exp() * (wanted - logs)).sum(-1) * weight).sum() / weight.sum()
        same = ((logs.argmax(-1) == wanted.argmax(-1)) * weight).sum() / weight.sum()
        return gap, passed, same

    def look(model: dict[str, Tensor]) -> str:
        out = []
        with torch.no_grad(), torch.autocast("cuda", torch.bfloat16):
            for level in LOOKS:
                values = [
                    [float(v) for v in losses(model, calm, calm if level is None else noisy[level], *text)]
                    for (calm, noisy), text in zip(looks, read, strict=True)
                ]
                out.append(f"{level}: " + " ".join(f"{value:.3f}" for value in np.mean(values, axis=0)))
        return "; ".join(out)

    print("before", look(weights), f"{time.time() - began:.0f} s", flush=True)
    optimiser = torch.optim.AdamW(every, lr=asked.rate, weight_decay=0.0, betas=(0.9, 0.98))
    mean = {part: {n: v.detach().clone() for n, v in of.items()} for part, of in learnt.items()}
    step, first, last = 0, time.time(), time.time()
    while (done := (time.time() - first) / (asked.seconds - (first - began))) < 1:
        paced(optimiser, step, done, asked.rate)
        with torch.no_grad():
            bucket, chosen = clips.drawn(luck)
            calm, heard = both(degrade, clips.batch(bucket, chosen, luck), luck)
        with torch.autocast("cuda", torch.bfloat16):
            gap, passed, _ = losses(corrected(weights, learnt), calm, heard, *(of[bucket][chosen] for of in (texts, counts)))
        optimiser.zero_grad()
        (gap + passed).backward()
        torch.nn.utils.clip_grad_norm_(every, 1.0)
        optimiser.step()
        with torch.no_grad():
            for part in learnt:
                for name, value in learnt[part].items():
                    mean[part][name].lerp_(value, 0.01 if step > 100 else 1.0)
        step += 1
        if time.time() - last > EVERY:
            at = f"{time.time() - began:.0f} s, step {step}, losses {float(gap):.3f} {float(passed):.3f}"
            print(f"{at}; {look(corrected(weights, mean))}", flush=True)
            last = time.time()
    print("taught", step, look(corrected(weights, mean)), flush=True)
    parts = {f"{name}:{part}": v.cpu().numpy().astype(np.float16) for part, of in mean.items() for name, v in of.items()}
    np.savez_compressed(asked.out / "whisper_more.npz", **parts)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--which", choices=("phonetic", "whisper"), required=True)
    parser.add_argument("--seconds", type=float, default=420)
    parser.add_argument("--rate", type=float, default=4e-4)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--device", default="cuda")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.manual_seed(asked.seed)
    (phonetic if asked.which == "phonetic" else whisper)(asked, time.time())


if __name__ == "__main__":
    main()
