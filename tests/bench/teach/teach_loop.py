"""The loop of tests/bench/teach/teach_phonetic.py: steps until the clock says so, a look at held-out voices now and then."""

from __future__ import annotations

import copy
import json
import math
import random
import time
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench.teach.teach_phonetic import (
    RATE,
    Bank,
    Degrade,
    by_clip,
    judged,
    scores,
    symbol_logs,
    texts_of,
)

JUDGES = ("slt", "rms", "awb", "espeak:en-gb+m3", "espeak:en-gb-scotland+f2", "espeak:en-gb-x-rp+m5", "af_alloy", "am_liam",
          "bf_lily", "bm_lewis")  # fmt: skip
EVERY = 45.0  # seconds between looks
SOUND = 330.0  # seconds in a batch


def package() -> tuple[bytes, Any, Any]:
    """The package's file; how gladly each token counts as a symbol; the tokens that are no sound."""
    from hama.vocab import Vocabulary

    from handsfree.speech import phonetic, sounds

    names = [*Vocabulary.load(None).decoder, "<wb>", "<blank>"]
    place = {name: at for at, name in enumerate(names)}
    written = np.zeros((len(names), len(sounds.SYMBOL)), np.float32)
    for phoneme, ways in sounds.WRITTEN.items():
        for token, weight in ways.items():
            if token in place:
                written[place[token], sounds.SYMBOL[phoneme]] = weight
    return phonetic.weights(), written, [place["<wb>"], place["<blank>"]]


def checked(torch: Any, net: Any, data: bytes) -> float:
    """The largest difference of a probability from the package's own engine, on noise and tones."""
    from hama import _engine

    rng = np.random.default_rng(1)
    t = np.arange(2 * RATE) / RATE
    sound = (0.1 * rng.standard_normal(len(t)) + 0.2 * np.sin(2 * np.pi * 300 * t * (1 + 0.2 * t))).astype(np.float32)
    own = _engine.AsrSession(data).run(["log_probs"], {"waveform": sound})[0][0]
    with torch.no_grad():
        here = net(torch.from_numpy(sound)[None].to(next(net.parameters()).device))[0].cpu().numpy()
    return float(np.abs(np.exp(here) - np.exp(own)).max())


def held_out(torch: Any, degrade: Degrade, device: str) -> dict[str, list[tuple[Any, list[dict[str, Any]]]]]:
    """Words that are never taught, by voices that teach nothing: clean, and in noise at 10 and 3 dB."""
    from handsfree.speech import sounds
    from tests.bench.corpus import _words, speak
    from tests.bench.teach import teach_texts

    luck = random.Random("held out")
    kept = [word for word in _words() if teach_texts.kept_back(word)]
    batches: dict[str, list[Any]] = {"clean": [], "10": [], "3": []}
    every: list[tuple[Any, dict[str, Any]]] = []
    for at in range(220):
        words = luck.choice(((1,), (1,), (2,)))[0]
        said = " ".join(luck.sample(kept, words)) if at % 3 else teach_texts.fresh._number(luck)[1]
        ways = sounds.ways(said)
        others = [w[0] for w in map(sounds.ways, teach_texts.rivals(said, luck)) if w and not set(w) & set(ways)]
        try:
            samples = np.asarray(speak(said, JUDGES[at % len(JUDGES)], 1.0), np.float32)
        except Exception as fault:
            print("not said:", JUDGES[at % len(JUDGES)], repr(fault)[:300], flush=True)
            continue
        if ways and others and len(samples) < 3.2 * RATE:
            every.append((samples / max(1e-3, float(np.abs(samples).max())), {"ways": ways, "rivals": others}))
    size = int(3.6 * RATE) // 320 * 320
    sound = torch.zeros(len(every), size, device=device)
    for row, (samples, _) in enumerate(every):
        sound[row, 2000 : 2000 + len(samples)] = torch.from_numpy(samples)
    torch.manual_seed(11)
    lines = [line for _, line in every]
    batches["clean"] = [(degrade.on_floor(sound), lines)]
    for name, snr in (("10", 10.0), ("3", 3.0)):
        which = torch.arange(len(every), device=device) % len(degrade.noise)
        noise = degrade.noise[which, 5000 : 5000 + size]
        power = sound.square().sum(1, keepdim=True) / (sound.abs() > 0.01).sum(1, keepdim=True)
        batches[name] = [(degrade.on_floor(sound + noise * (power * 10 ** (-snr / 10)).sqrt()), lines)]
    return batches


def pace(optimiser: Any, rate: float, done: float) -> None:
    """Slower towards the end, by a cosine. `done`: the share of the time."""
    for group in optimiser.param_groups:
        group["lr"] = rate * 0.5 * (1 + math.cos(math.pi * min(1.0, done)))


def wishes(
    torch: Any, nets: tuple[Any, Any], degrade: Degrade, batch: tuple[Any, list[dict[str, Any]]], table: tuple[Any, Any],
    luck: random.Random,
) -> tuple[Any, Any, Any]:
    """How far the student is from the three wishes of teach_phonetic, on the batch degraded anew: the leash, the text said
    apart from its rivals, and for each clip how unlikely a sound of its text is. `nets`: teacher, student. `table`: how
    gladly each token counts as a symbol; the tokens that are no sound."""
    (teacher, student), (sound, lines), (written, quiet) = nets, batch, table
    with torch.no_grad():
        sound = degrade.faster(sound, luck)
        gain = torch.empty(len(sound), 1, device=degrade.device).uniform_(0.1, 0.9)
        sound = sound[:, : sound.shape[1] // 320 * 320] * gain
        wanted = teacher(degrade.on_floor(sound))
        heard = degrade.on_floor(degrade.noisy(degrade.band(degrade.room(sound)))).clamp(-1, 1)
    logs = student(heard)
    weight = 0.2 + (1 - wanted[..., quiet].exp().sum(-1))
    leash = ((wanted.exp() * (wanted - logs)).sum(-1) * weight).sum() / weight.sum()
    texts, clip, said = texts_of(lines, luck, 5)
    values = scores(torch, symbol_logs(torch, logs, written, quiet), texts, clip)
    keep = torch.tensor(said, device=degrade.device)
    right = by_clip(torch, values, clip, keep, len(lines))
    wrong = by_clip(torch, values, clip, ~keep, len(lines))
    apart = torch.nn.functional.softplus((wrong - right).clamp(-30, 30)).mean()
    sounds = torch.tensor([float(len(line["ways"][0])) for line in lines], device=degrade.device)
    return leash, apart, -right.clamp_min(-400) / sounds


def learn(torch: Any, optimiser: Any, loss: Any, nets: tuple[Any, Any], step: int) -> None:
    """One step. `nets`: the one that learns, and the running mean of its weights."""
    student, mean = nets
    optimiser.zero_grad()
    loss.backward()
    torch.nn.utils.clip_grad_norm_(student.parameters(), 1.0)
    optimiser.step()
    with torch.no_grad():
        for slow, fast in zip(mean.parameters(), student.parameters(), strict=True):
            slow.lerp_(fast, 0.01 if step > 100 else 1.0)


def teach(asked: Any, began: float) -> None:
    import torch

    from handsfree.speech.phonetic_adapted import packed, tensors
    from tests.bench.phonetic_net import Net

    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(asked.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    luck = random.Random(f"teach {asked.seed}")
    data, table, quiet = package()
    written = torch.from_numpy(table).to(device)
    teacher = Net(data).to(device).eval().requires_grad_(False)
    print("differs from the package's engine by", checked(torch, teacher, data), flush=True)
    student = copy.deepcopy(teacher).requires_grad_(True)
    degrade, bank = Degrade(torch, device), Bank(torch, device, asked.folder)
    looks = held_out(torch, degrade, device)

    def look(net: Any) -> str:
        return ", ".join(f"{name}: {judged(torch, net, clips, written, quiet)}" for name, clips in looks.items())

    print("untaught", look(teacher), f"{time.time() - began:.0f} s", flush=True)
    optimiser = torch.optim.AdamW(student.parameters(), lr=asked.rate, weight_decay=0.0, betas=(0.9, 0.98))
    mean = copy.deepcopy(student).requires_grad_(False)
    while sum(map(len, bank.lines)) < 600 and time.time() - began < 180:
        time.sleep(2)
        bank.more()
    step, last, total = 0, time.time(), np.zeros(3)
    first = time.time()
    while time.time() - began < asked.seconds:
        pace(optimiser, asked.rate * min(1.0, step / 150), (time.time() - first) / (asked.seconds - (first - began)))
        sound, lines = bank.batch(SOUND, luck)
        leash, apart, unlikely = wishes(torch, (teacher, student), degrade, (sound, lines), (written, quiet), luck)
        likely = unlikely.mean()
        learn(torch, optimiser, asked.leash * leash + 0.25 * apart + 0.25 * likely, (student, mean), step)
        total += [float(leash), float(apart), float(likely)]
        step += 1
        if step % 100 == 0:
            bank.more()
        if time.time() - last > EVERY:
            count = sum(map(len, bank.lines))
            at = f"{time.time() - began:.0f} s, step {step}, {count} clips"
            print(f"{at}, losses {total / step}; {look(mean)}", flush=True)
            last = time.time()
    print("taught", look(mean), flush=True)
    before = tensors(data)
    (asked.out / "adapted_phonetic.npz").write_bytes(packed(before, mean.values()))
    for share in (0.5, 0.75):
        mixed = copy.deepcopy(teacher)
        with torch.no_grad():
            for slow, a, b in zip(mixed.parameters(), teacher.parameters(), mean.parameters(), strict=True):
                slow.copy_(a.lerp(b, share))
        print(f"{share} of it", look(mixed), flush=True)
    (Path(asked.out) / "teach.json").write_text(json.dumps({"steps": step, "clips": sum(map(len, bank.lines))}))
