"""Teaches the phonetic witness noise, rooms and accents; writes corrections for handsfree/speech/adapted_phonetic.npz.

    python -m tests.bench.teach.teach_phonetic FOLDER --seconds 480 --workers 15

Needs torch and a GPU, and the voices that teach (`teach_texts`). Synthesisers fill FOLDER with chunks of clips
while the network learns from those that are there. Each step degrades clean clips anew (speed, room, noise, band, level) and
asks three things of the network:

1. that it writes on the degraded sound what the untaught network writes on the clean one (the leash, Kullback-Leibler);
2. that the text said is likelier than texts that sound like it (cross entropy over the text and its rivals);
3. that the text said is likely (connectionist temporal classification over `sounds.WRITTEN`).
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import pickle
import random
import time
from pathlib import Path
from typing import Any

import numpy as np

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

RATE = 16_000
LENGTHS = (1.7, 2.4, 3.4, 5.0)  # seconds; a clip goes into the shortest that holds it
CHUNK = 24
LEAST = 1e-4  # as phonetic._LEAST


# ---- clips


def synthesise(folder: Path, seed: int, neural: float, until: float) -> None:
    """Chunk after chunk until the clock says so."""
    from tests.bench import corpus
    from tests.bench.teach import teach_texts

    luck = random.Random(f"teach phonetic {seed}")
    number = 0
    while time.time() < until:
        clips = []
        is_neural = luck.random() < neural
        for _ in range(CHUNK):
            line = teach_texts.line(luck, is_neural)
            if not line["ways"]:
                continue
            try:
                said = corpus.speak(str(line["text"]), str(line["voice"]), float(str(line["rate"])))
                samples = np.asarray(said, np.float32)
            except Exception as fault:  # a synthesiser's own, of any class: one clip fewer
                print("not said:", line["voice"], repr(fault)[:200], flush=True)
                continue
            peak = float(np.abs(samples).max(initial=0.0))
            if len(samples) < LENGTHS[-1] * RATE and peak > 1e-3:
                clips.append((np.int16(samples / peak * 30_000), line))
        part = folder / f"{seed:03d}-{number:04d}.part"
        part.write_bytes(pickle.dumps(clips))
        part.rename(part.with_suffix(".pkl"))
        number += 1


def noises() -> list[Any]:
    """A minute of each of the noises that judge nothing, several times, and of noises coloured at random."""
    from audio_fixtures import voices as made
    from tests.bench import corpus

    out = [corpus.noise(name, 20.0, seed) for name in ("compressor", "pink", "hum", "babble") for seed in range(4)]
    rng = np.random.default_rng(5)
    return out + [made._unit(made._coloured(20.0, slope, rng)) for slope in np.linspace(0, 2.0, 8)]


# ---- degrading, on the GPU


class Degrade:
    """`kept`: noises that were made elsewhere (else `noises`)."""

    def __init__(self, torch: Any, device: str, kept: np.ndarray | None = None) -> None:
        from handsfree.speech import mel

        self.torch, self.device = torch, device
        self.noise = torch.from_numpy(np.stack(noises()) if kept is None else kept).to(device)
        self.floor = torch.from_numpy(mel._noise()[: 8 * RATE].copy()).to(device)

    def on_floor(self, sound: Any) -> Any:
        """As `mel.on_floor`."""
        power = sound.unfold(1, 160, 160).square().mean(-1)
        loud = power.quantile(0.95, dim=1, keepdim=True).clamp_min(1e-9)
        return sound + self.floor[None, : sound.shape[1]] * (loud * 10 ** (-3.8)).sqrt()

    def faster(self, sound: Any, luck: random.Random) -> Any:
        """The whole batch at another speed, pitch and all: other speakers."""
        import torchaudio.functional as audio

        up, down = luck.choice(((1, 1), (1, 1), (9, 10), (19, 20), (21, 20), (11, 10), (23, 20)))
        return sound if up == down else audio.resample(sound, up * 1000, down * 1000)

    def room(self, sound: Any) -> Any:
        torch = self.torch
        count, size = sound.shape
        decay = torch.empty(count, 1, device=self.device).uniform_(0.08, 0.55)
        length = RATE // 2
        t = torch.arange(length, device=self.device)[None] / RATE
        tail = torch.randn(count, length, device=self.device) * torch.exp(-6.9 * t / decay)
        tail[:, : int(0.002 * RATE)] = 0
        tail = tail / tail.square().sum(1, keepdim=True).sqrt()
        wet = torch.empty(count, 1, device=self.device).uniform_(0.15, 1.1)
        wet = wet * (torch.rand(count, 1, device=self.device) < 0.45)
        n = size + length
        echo = torch.fft.irfft(torch.fft.rfft(sound, n) * torch.fft.rfft(tail, n), n)[:, :size]
        return sound + wet * echo

    def band(self, sound: Any) -> Any:
        """A microphone's: cut off above, tilted."""
        torch = self.torch
        count, size = sound.shape
        f = torch.fft.rfftfreq(size, 1 / RATE, device=self.device)[None]
        top = torch.empty(count, 1, device=self.device).uniform_(3200, 9000)
        tilt = torch.empty(count, 1, device=self.device).uniform_(-4, 4)
        gain = torch.sigmoid((top - f) / 150) * 10 ** (tilt * torch.log2(f.clamp_min(80) / 1000) / 20)
        gain = gain * torch.sigmoid((f - torch.empty(count, 1, device=self.device).uniform_(0, 200)) / 30)
        use = torch.rand(count, 1, device=self.device) < 0.5
        return torch.where(use, torch.fft.irfft(torch.fft.rfft(sound) * gain, size), sound)

    def noisy(self, sound: Any, lowest: float = -1.0) -> Any:
        """Clean one time in eight; else 30 dB to `lowest`, oftenest low. Babble is other clips of the batch, too."""
        torch, count = self.torch, len(sound)
        noise, others = self.kept(sound), self.babble(sound)
        noise = torch.where(torch.rand(count, 1, device=self.device) < 0.2, others, noise)
        ratio = lowest + (30 - lowest) * torch.rand(count, 1, device=self.device).square()
        return sound + self.at(sound, noise, ratio) * (torch.rand(count, 1, device=self.device) > 0.125)

    def kept(self, sound: Any) -> Any:
        """For each clip a piece of one of the noises."""
        torch, (count, size) = self.torch, sound.shape
        which = torch.randint(len(self.noise), (count,), device=self.device)
        start = torch.randint(self.noise.shape[1] - size, (count, 1), device=self.device)
        return self.noise[which[:, None], start + torch.arange(size, device=self.device)[None]]

    def babble(self, sound: Any) -> Any:
        """For each clip four others of the batch."""
        mixed = (self.torch.randperm(len(sound), device=self.device) for _ in range(4))
        return sum(sound[order].roll(int(s), 1) for order, s in zip(mixed, (1000, 9000, 17000, 5000), strict=True))

    def at(self, sound: Any, noise: Any, ratio: Any) -> Any:
        """The noise, so loud that the speech's loud moments lie `ratio` dB over it."""
        power = sound.unfold(1, 320, 160).square().mean(-1)
        loud = power > power.amax(1, keepdim=True) * 1e-3
        active = (power * loud).sum(1, keepdim=True) / loud.sum(1, keepdim=True).clamp_min(1)
        return noise * (active / noise.square().mean(1, keepdim=True).clamp_min(1e-9) * 10 ** (-ratio / 10)).sqrt()


# ---- teaching


def room_for(at: int) -> int:
    """Samples that a clip of this length is given."""
    return int((LENGTHS[at] + 0.5) * RATE) // 320 * 320


class Shelf:
    """Clips on the GPU, by length."""

    def __init__(self, torch: Any, device: str) -> None:
        self.torch, self.device = torch, device
        self.sound: list[list[Any]] = [[] for _ in LENGTHS]
        self.lines: list[list[dict[str, Any]]] = [[] for _ in LENGTHS]

    def put(self, samples: np.ndarray, line: dict[str, Any]) -> None:
        at = next(at for at, length in enumerate(LENGTHS) if len(samples) <= length * RATE)
        self.sound[at].append(self.torch.from_numpy(samples).to(self.device))
        self.lines[at].append(line)

    def lay(self, row: Any, at: int, which: int, luck: random.Random) -> dict[str, Any]:
        """Put a clip somewhere into a row of zeros; its line."""
        clip = self.sound[at][which].float() / 32768
        start = luck.randrange(len(row) - len(clip))
        row[start : start + len(clip)] = clip
        return self.lines[at][which]


class Bank(Shelf):
    """The clips that are in a folder by now."""

    def __init__(self, torch: Any, device: str, folder: Path) -> None:
        super().__init__(torch, device)
        self.folder = folder
        self.seen: set[str] = set()

    def more(self) -> None:
        for path in sorted(self.folder.glob("*.pkl")):
            if path.name not in self.seen:
                self.seen.add(path.name)
                for samples, line in pickle.loads(path.read_bytes()):
                    self.put(samples, line)

    def batch(self, seconds: float, luck: random.Random) -> tuple[Any, list[dict[str, Any]]]:
        """Clips of one length, each somewhere in a little more; `seconds`: of sound in all."""
        at = luck.choices(range(len(LENGTHS)), [len(some) for some in self.lines])[0]
        chosen = [luck.randrange(len(self.lines[at])) for _ in range(int(seconds / LENGTHS[at]))]
        out = self.torch.zeros(len(chosen), room_for(at), device=self.device)
        return out, [self.lay(row, at, which, luck) for row, which in zip(out, chosen, strict=True)]


def symbol_logs(torch: Any, logs: Any, written: Any, silent: Any) -> Any:
    """(clips, frames, tokens) -> log-probability of none and of each symbol, as the witness scores texts."""
    given = logs.exp()
    values = torch.cat([given[..., silent].sum(-1, keepdim=True), given @ written], -1).clamp_min(LEAST)
    return (values / values.sum(-1, keepdim=True)).log()


def texts_of(lines: list[dict[str, Any]], luck: random.Random, each: int) -> tuple[list[list[int]], list[int], list[bool]]:
    """Of each line every way of its text, and rivals: the texts, which clip each belongs to, and whether it was said."""
    texts, clip, said = [], [], []
    for row, line in enumerate(lines):
        for way in line["ways"][:4]:
            texts.append(way)
            clip.append(row)
            said.append(True)
        for rival in luck.sample(line["rivals"], min(each, len(line["rivals"]))):
            texts.append(rival)
            clip.append(row)
            said.append(False)
    return texts, clip, said


def scores(torch: Any, logs: Any, texts: list[list[int]], clip: list[int]) -> Any:
    """Log-probability of each text under its clip."""
    longest = max(map(len, texts))
    targets = torch.zeros(len(texts), longest, dtype=torch.long)
    for row, text in enumerate(texts):
        targets[row, : len(text)] = torch.tensor(text) + 1
    lengths = torch.tensor([len(text) for text in texts])
    whole = logs[torch.tensor(clip, device=logs.device)].transpose(0, 1)
    frames = torch.full((len(texts),), logs.shape[1], dtype=torch.long)
    return -torch.nn.functional.ctc_loss(
        whole, targets.to(logs.device), frames.to(logs.device), lengths.to(logs.device), reduction="none", zero_infinity=True
    )


def by_clip(torch: Any, values: Any, clip: list[int], keep: Any, count: int) -> Any:
    """Log of the summed probability of the texts kept, for each clip."""
    table = torch.full((count, max(clip.count(row) for row in set(clip))), -1e4, device=values.device)
    place: dict[int, int] = {}
    rows, columns = [], []
    for row in clip:
        rows.append(row)
        columns.append(place.setdefault(row, 0))
        place[row] += 1
    table = table.index_put(
        (torch.tensor(rows, device=values.device), torch.tensor(columns, device=values.device)),
        torch.where(keep, values, torch.full_like(values, -1e4)),
    )
    return table.logsumexp(1)


def judged(torch: Any, net: Any, clips: list[tuple[Any, list[dict[str, Any]]]], written: Any, silent: Any) -> str:
    """Of clips of voices that teach nothing: how often the text said is likelier than all its rivals, and by how much."""
    luck = random.Random(3)
    right, margin, count = 0, 0.0, 0
    with torch.no_grad():
        for sound, lines in clips:
            logs = symbol_logs(torch, net(sound), written, silent)
            texts, clip, said = texts_of(lines, luck, 7)
            values, keep = scores(torch, logs, texts, clip), torch.tensor(said, device=logs.device)
            gap = by_clip(torch, values, clip, keep, len(lines)) - by_clip(torch, values, clip, ~keep, len(lines))
            right += int((gap > 0).sum())
            margin += float(gap.clamp(-8, 8).sum())
            count += len(lines)
    return f"{right / count:.3f} ({margin / count:.2f} nats)"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=480)
    parser.add_argument("--say", type=float, default=200, help="seconds that synthesisers run")
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--neural", type=float, default=0.45)
    parser.add_argument("--rate", type=float, default=4e-4)
    parser.add_argument("--leash", type=float, default=1.0)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    began = time.time()
    asked.folder.mkdir(parents=True, exist_ok=True)
    asked.out.mkdir(parents=True, exist_ok=True)
    start = multiprocessing.get_context("spawn")
    workers = [
        start.Process(target=synthesise, args=(asked.folder, asked.seed * 100 + at, asked.neural, began + asked.say))
        for at in range(asked.workers)
    ]
    for worker in workers:
        worker.start()
    from tests.bench.teach.teach_loop import teach

    try:
        teach(asked, began)
    finally:
        for worker in workers:
            worker.terminate()


if __name__ == "__main__":
    from tests.bench.teach import teach_phonetic  # so that what workers run is of this module

    teach_phonetic.main()
