"""Teaches whisper tiny.en the trade's speech in noise; writes handsfree/speech/adapted_tiny_en.npz.

    python -m tests.bench.teach.adapt say FOLDER --clips 2400   (speaks sentences by the voices kept for teaching)
    python -m tests.bench.teach.adapt teach FOLDER --size tiny.en --steps 560   (an hour or so on a core each; may be stopped
        and run again, which goes on from there; the
        first begins with what ships, or --fresh)
    python -m tests.bench.teach.adapt again FOLDER --revoice 0.5   (a part of it once more, by another speaker)
    python -m tests.bench.teach.adapt half NEW.npz --other OLD.npz   (NEW becomes the mean of both corrections)

Needs torch beside the test extra; `say` also pyworld and py-nanotts. Corrections of low rank to every matrix of the model,
and to its biases and norms, are learnt so that it writes what was said (tests/bench/teach/adapt_texts.py), mixed afresh each
time: another speed, room, level, microphone, noise and signal-to-noise ratio. No prompt stands before: the taught model is
heard without one. Voices: flite's kal16, festival's ked, SVOX Pico's two, variants of eSpeak NG, neural voices kept for
this; a part of the clips is given another speaker (`revoiced`). None of them fits acceptance or measures it.

What was taught with it, in which order, is told in tests/bench/results/hearing-log.md.
"""

from __future__ import annotations

import argparse
import json
import math
import pickle
import queue
import random
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import torch
from scipy.ndimage import uniform_filter1d
from scipy.signal import resample_poly
from tokenizers import Tokenizer
from torch import Tensor
from torch.nn import functional

from audio_fixtures import voices as made
from handsfree.speech import neural_adapted, neural_weights
from handsfree.speech.mel import log_mel, on_floor
from tests.bench import corpus, neural_voices
from tests.bench.teach.adapt_texts import gate_or_near, sample

RATE = 16_000
RANK = 16
HEAD = 64  # columns a head, of every size of whisper
LONGEST_TEXT = 24  # tokens
FRAMES = (330, 430, 600)  # lengths of sound that are trained on, silence after it included
BATCH, SAVED_EVERY = 16, 60

MORE_VOICES = {
    "espeak-us-f2": made.Voice("espeak-ng", "en-us+f2"), "espeak-us-m1": made.Voice("espeak-ng", "en-us+m1"),
    "espeak-gb-m7": made.Voice("espeak-ng", "en-gb+m7"), "kal16-short": made.Voice("flite", "kal16", tract=1.03),
    "kal16-long": made.Voice("flite", "kal16", tract=0.9, pitch=120),
    "espeak-scotland-f4": made.Voice("espeak-ng", "en-gb-scotland+f4"), "espeak-us-m4": made.Voice("espeak-ng", "en-us+m4"),
    "espeak-nyc-m8": made.Voice("espeak-ng", "en-us-nyc+m8"), "espeak-us-alex": made.Voice("espeak-ng", "en-us+Alex"),
    "espeak-gb-andy": made.Voice("espeak-ng", "en-gb+Andy"), "espeak-us-annie": made.Voice("espeak-ng", "en-us+Annie"),
    "espeak-gb-michael": made.Voice("espeak-ng", "en-gb+Michael"), "espeak-029-mike": made.Voice("espeak-ng", "en-029+Mike"),
    "espeak-us-linda": made.Voice("espeak-ng", "en-us+linda", tract=1.04),
    "espeak-us-gene": made.Voice("espeak-ng", "en-us+Gene"),
    "espeak-clan-denis": made.Voice("espeak-ng", "en-gb-x-gbclan+Denis"),
    "espeak-cwmd-lee": made.Voice("espeak-ng", "en-gb-x-gbcwmd+Lee", tract=0.95),
}  # fmt: skip
#: Voices that measure, by name alone: what they have taught they can no longer measure. American and Scottish.
MEASURING = ("rms", "rms-low", "rms-high", "awb", "awb-low", "awb-high")
VOICES = (
    "kal16", "kal16-low", "kal16-high", *MORE_VOICES, "ked", "ked", "ked", *corpus.PICO, *corpus.PICO,
    "espeak-us-f", "espeak-scotland", "espeak-caribbean",
)  # fmt: skip

Clip = tuple[np.ndarray, tuple[list[int], list[int], list[int]]]  # sound, and (tokens in, tokens out, weight of each)
Tree = dict[str, dict[str, np.ndarray]]
Model, Learnt = dict[str, Tensor], dict[str, dict[str, Tensor]]


def revoiced(speech: np.ndarray, luck: random.Random) -> np.ndarray:
    """By another speaker, with the blur and the buzz of a statistical synthesiser: pitch and its range, length of the tract
    and smoothness of the spectrum drawn (Morise et al., "WORLD", 2016, from memory). Needs pyworld."""
    import pyworld

    sound = np.asarray(speech, np.float64)
    pitch, spectrum, noisiness = pyworld.wav2world(sound, RATE)
    voiced = pitch > 0
    if voiced.any():
        middle = np.log(pitch[voiced]).mean()
        pitch[voiced] = np.exp(middle + luck.uniform(-0.35, 0.3) + luck.uniform(0.2, 1.3) * (np.log(pitch[voiced]) - middle))
    coded = pyworld.code_spectral_envelope(spectrum, RATE, luck.randint(20, 45))
    coded = uniform_filter1d(coded, luck.choice((1, 1, 3, 5, 7)), axis=0)
    spectrum = pyworld.decode_spectral_envelope(np.ascontiguousarray(coded), RATE, 2 * (spectrum.shape[1] - 1))
    bins, warp = np.arange(spectrum.shape[1]), luck.uniform(0.88, 1.14)
    source = np.minimum(bins * warp, bins[-1])
    for matrix in (spectrum, noisiness):
        matrix[:] = np.apply_along_axis(lambda row: np.interp(source, bins, row), 1, matrix)
    noisiness = noisiness ** luck.choice((1.0, 1.0, 2.0, 4.0))  # less noise between the pulses: buzz
    return np.asarray(pyworld.synthesize(pitch, spectrum, noisiness, RATE), np.float32)


def say(
    folder: Path, clips: int, seed: int, neural: float, revoice: float, gates: float, speakers: Sequence[str] = VOICES
) -> None:
    """`neural`: the share that is said by the neural voices (HANDSFREE_BENCH_VOICES), the rest by `speakers`; `revoice`: the
    share that is given another speaker afterwards; `gates`: the share of gate phrases and what stands beside them, on top of
    those among the rest. What is there already is kept."""
    made.VOICES.update(MORE_VOICES)
    folder.mkdir(parents=True, exist_ok=True)
    luck = random.Random(seed)
    with (folder / "said.jsonl").open("a", encoding="utf-8") as file:
        for number in range(clips):
            said, written = gate_or_near(luck) if gates and luck.random() < gates else sample(luck)
            voice = neural_voices.teaching(luck) if luck.random() < neural else luck.choice(speakers)
            rate, path = luck.uniform(0.85, 1.3), folder / f"{seed}-{number:05d}.flac"
            if not path.exists():
                samples = corpus.speak(said, voice, rate)
                if luck.random() < revoice:
                    samples = revoiced(samples, luck)
                _keep(path, samples)
                file.write(json.dumps({"audio": path.name, "said": said, "written": written, "voice": voice}) + "\n")
                file.flush()


def _keep(path: Path, samples: np.ndarray) -> None:
    """At a peak of 0.5."""
    soundfile.write(path, samples * np.float32(0.5 / max(1e-6, float(np.abs(samples).max()))), RATE)


def say_again(folder: Path, share: float, seed: int) -> None:
    """A share of what the folder holds, by another speaker, beside it."""
    luck = random.Random(seed)
    entries = [json.loads(line) for line in (folder / "said.jsonl").read_text(encoding="utf-8").splitlines()]
    with (folder / "said.jsonl").open("a", encoding="utf-8") as file:
        for entry in entries:
            if luck.random() < share:
                samples = revoiced(soundfile.read(folder / entry["audio"], dtype="float32")[0], luck)
                name = f"again-{entry['audio']}"
                _keep(folder / name, samples)
                file.write(json.dumps({**entry, "audio": name, "voice": f"{entry['voice']} revoiced"}) + "\n")


# ---- sound, mixed afresh each time


def pool() -> dict[tuple[str, int], np.ndarray]:
    return {(name, seed): corpus.noise(name, 40.0, 900 + seed) for name in corpus.NOISES["fit"] for seed in range(3)}


def coloured(speech: np.ndarray, luck: random.Random) -> np.ndarray:
    """As another microphone would hear it: some decibels more or less, drawn at seven frequencies."""
    gains = [luck.gauss(0, 4) for _ in range(7)]
    spectrum = np.fft.rfft(speech)
    at = np.log2(np.maximum(60.0, np.fft.rfftfreq(len(speech), 1 / RATE)))
    decibels = np.interp(at, np.log2([60, 150, 400, 1000, 2200, 4200, 8000]), gains)
    if luck.random() < 0.35:  # a sound server's converter or a headset's radio lets no more pass
        decibels = decibels - np.clip(np.maximum(0, at - np.log2(luck.uniform(3300, 7400))) * luck.choice((80, 160)), 0, 60)
    return np.fft.irfft(spectrum * 10 ** (decibels / 20), len(speech)).astype(np.float32)


def mixed(speech: np.ndarray, noises: dict[tuple[str, int], np.ndarray], luck: random.Random) -> np.ndarray:
    if luck.random() < 0.5:
        speech = resample_poly(speech, luck.choice((94, 96, 98, 102, 104, 107, 110)), 100).astype(np.float32)
    if luck.random() < 0.5:
        speech = coloured(speech, luck)
    if luck.random() < 0.35:
        speech = made.room(speech, luck.choice((0.2, 0.3, 0.45)), luck.randrange(1000))
    whole = np.concatenate([made.silence(luck.uniform(0.1, 0.6)), speech, made.silence(luck.uniform(0.15, 0.6))])
    whole = whole / max(1e-6, float(np.abs(whole).max()))
    if luck.random() > 0.15:
        noise = noises[luck.choice(list(noises))]
        if luck.random() < 0.3:
            noise = noise + luck.uniform(0.3, 1) * noises[luck.choice(list(noises))]
        at = luck.randrange(len(noise) - len(whole) - 1)
        noise = noise[at : at + len(whole)]
        if luck.random() < 0.4:
            noise = noise + luck.uniform(-0.6, 0.6) * np.concatenate([[0], noise[:-1]])
        wanted = 10 ** ((corpus.speech_level(whole).active - luck.uniform(0, 24)) / 20)
        whole = whole + noise * (wanted / np.sqrt(np.mean(noise * noise) + 1e-12))
    if luck.random() < 0.25:  # a stream that begins, and ends, with the clip
        whole = np.concatenate([made.silence(luck.uniform(0.05, 0.35)), whole, made.silence(luck.uniform(0, 0.3))])
    return (whole * (luck.uniform(0.05, 0.9) / max(1e-6, float(np.abs(whole).max())))).astype(np.float32)


# ---- texts as tokens


class Texts:
    """Tokens, and the columns of those that may be written: the first of the vocabulary, and all that is taught."""

    def __init__(self, tokenizer: Tokenizer) -> None:
        self._tokenizer = tokenizer
        self._end = tokenizer.token_to_id("<|endoftext|>")
        english = () if tokenizer.token_to_id("<|en|>") is None else ("en", "transcribe")
        names = ("startoftranscript", *english, "notimestamps")
        self._opening = [tokenizer.token_to_id(f"<|{name}|>") for name in names]
        luck = random.Random(99)
        taught = {token for _ in range(6000) for token in self._ids(sample(luck)[1])}
        self.written = np.array(sorted({*range(12_000), *taught, self._end}))
        self._column = {int(token): at for at, token in enumerate(self.written)}

    def _ids(self, text: str) -> list[int]:
        return list(self._tokenizer.encode(" " + text, add_special_tokens=False).ids)

    def rows(self, text: str) -> tuple[list[int], list[int], list[int]] | None:
        """None where the text is too long, or cannot be written."""
        ids = self._ids(text)
        rest = LONGEST_TEXT - len(self._opening) - len(ids)
        if rest < 0 or any(token not in self._column for token in ids):
            return None
        targets, before = [self._column[token] for token in (*ids, self._end)], [0] * (len(self._opening) - 1)
        return (
            [*self._opening, *ids] + [self._end] * rest, [*before, *targets] + [0] * rest,
            [*before, *[1] * len(targets)] + [0] * rest,
        )  # fmt: skip


def clips_of(folder: Path, texts: Texts) -> list[Clip]:
    out: list[Clip] = []
    for line in (folder / "said.jsonl").read_text(encoding="utf-8").splitlines():
        entry = json.loads(line)
        rows = texts.rows(entry["written"])
        samples, _ = soundfile.read(folder / entry["audio"], dtype="float32")
        if rows is not None and len(samples) < 4 * RATE:
            out.append((samples, rows))
    return out


def batches(clips: list[Clip], seed: int) -> Iterator[list[np.ndarray]]:
    """(sounds, tokens in, tokens out, weights), all of one length."""
    luck, noises = random.Random(seed), pool()
    waiting: dict[int, list[tuple[Any, ...]]] = {frames: [] for frames in FRAMES}
    while True:
        speech, rows = luck.choice(clips)
        sound = mixed(speech, noises, luck)
        frames = next((frames for frames in FRAMES if len(sound) / 160 + luck.uniform(120, 200) <= frames), None)
        if frames is None:
            continue
        waiting[frames].append((log_mel(on_floor(sound), frames), *rows))
        if len(waiting[frames]) == BATCH:
            yield [np.stack([np.asarray(one[part]) for one in waiting[frames]]) for part in range(4)]
            waiting[frames] = []


# ---- the model, as in handsfree/speech/neural_decoder.py, with its encoder, in a form that can be learnt


def linear(x: Tensor, model: Model, name: str) -> Tensor:
    """The correction is multiplied on its own: so no slope of a whole matrix is ever worked out, a third of the work."""
    weight = f"{name}/weight"
    out = functional.linear(x, model[weight], model[f"{name}/bias"])
    if f"{weight}:up" not in model:
        return out
    return out + functional.linear(functional.linear(x, model[f"{weight}:down"]), model[f"{weight}:up"])


def norm(x: Tensor, model: Model, name: str) -> Tensor:
    return functional.layer_norm(x, x.shape[-1:], model[f"{name}/gamma"], model[f"{name}/beta"], 1e-5)


def attention(query: Tensor, key: Tensor, value: Tensor, causal: bool = False) -> Tensor:
    query, key, value = (x.unflatten(-1, (-1, HEAD)).transpose(1, 2) for x in (query, key, value))
    return functional.scaled_dot_product_attention(query, key, value, is_causal=causal).transpose(1, 2).flatten(2)


def layer(x: Tensor, model: Model, name: str, sound: Tensor | None = None) -> Tensor:
    own = linear(norm(x, model, f"{name}/self_attention/layer_norm"), model, f"{name}/self_attention/linear_0")
    x = x + linear(attention(*own.chunk(3, -1), causal=sound is not None), model, f"{name}/self_attention/linear_1")
    if sound is not None:
        query = linear(norm(x, model, f"{name}/attention/layer_norm"), model, f"{name}/attention/linear_0")
        both = linear(sound, model, f"{name}/attention/linear_1").chunk(2, -1)
        x = x + linear(attention(query, *both), model, f"{name}/attention/linear_2")
    inner = linear(norm(x, model, f"{name}/ffn/layer_norm"), model, f"{name}/ffn/linear_0")
    return x + linear(functional.gelu(inner), model, f"{name}/ffn/linear_1")


def layers(model: Model, part: str) -> list[str]:
    count = sum(1 for name in model if name.startswith(part) and name.endswith("/ffn/linear_0/weight"))
    return [f"{part}/layer_{number}" for number in range(count)]


def encode(model: Model, mel: Tensor) -> Tensor:
    x = mel
    for name, stride in (("encoder/conv1", 1), ("encoder/conv2", 2)):
        x = functional.conv1d(x, model[f"{name}/weight"], model[f"{name}/bias"], stride=stride, padding=1)
        x = functional.gelu(x)
    x = x.transpose(1, 2)
    x = x + model["encoder/position_encodings/encodings"][: x.shape[1]]
    for name in layers(model, "encoder"):
        x = layer(x, model, name)
    return norm(x, model, "encoder/layer_norm")


def decode(model: Model, sound: Tensor, tokens: Tensor) -> Tensor:
    x = model["decoder/embeddings/weight"][tokens] + model["decoder/position_encodings/encodings"][: tokens.shape[1]]
    for name in layers(model, "decoder"):
        x = layer(x, model, name, sound)
    return norm(x, model, "decoder/layer_norm")


# ---- learning


def untaught(weights: dict[str, np.ndarray]) -> Tree:
    """Corrections that change nothing yet."""
    luck = np.random.default_rng(0)
    matrices = [name for name in weights if "/layer_" in name and "/linear_" in name and name.endswith("/weight")]
    small = [name for name in weights if name.endswith(("/beta", "/gamma", "/bias"))]
    down = {name: luck.normal(0, weights[name].shape[1] ** -0.5, (RANK, weights[name].shape[1])) for name in matrices}
    up = {name: np.zeros((weights[name].shape[0], RANK)) for name in matrices}
    return {"down": down, "up": up, "add": {name: np.zeros_like(weights[name]) for name in small}}


def corrected(weights: Model, tree: Learnt) -> Model:
    parts = {f"{name}:{part}": tree[part][name] for part in ("down", "up") for name in tree[part]}
    return {**weights, **parts, **{name: weights[name] + value for name, value in tree["add"].items()}}


def loss_of(weights: Model, tree: Learnt, out: Tensor, batch: list[np.ndarray]) -> Tensor:
    """`out`: a row for each token that may be written."""
    mel, tokens, targets, weight = (torch.from_numpy(part) for part in batch)
    with torch.autocast("cpu", torch.bfloat16):  # twice as fast where the processor has it
        model = corrected(weights, tree)
        logits = functional.linear(decode(model, encode(model, mel.float()), tokens), out)
    each = functional.cross_entropy(logits.float().flatten(0, 1), targets.flatten(), reduction="none")
    return (each * weight.flatten()).sum() / weight.sum()


def rate(number: int, steps: int, highest: float) -> float:
    """Of learning, at a step: rising over the first, then falling along a cosine to a twentieth."""
    warm = min(30, steps // 2)
    if number < warm:
        return highest * (0.1 + 0.9 * number / warm)
    return highest * (0.05 + 0.95 * (1 + math.cos(math.pi * (number - warm) / max(1, steps - warm))) / 2)


def teach(folder: Path, size: str, steps: int, seed: int, highest: float, fresh: bool) -> None:
    place = neural_weights.find_weights(size)
    assert place is not None, "install handsfree[neural]"
    stored = neural_weights.model_bytes(place)
    known = {one.name: one.read(stored) for one in neural_weights.stored_variables(stored) if one.dtype == "<f2"}
    weights = {name: torch.from_numpy(value.astype("<f4")) for name, value in known.items()}
    texts = Texts(Tokenizer.from_file(str(place / "tokenizer.json")))
    written = weights["decoder/embeddings/weight"][texts.written].bfloat16()
    matrices = {name for name in weights if "/layer_" in name and name.endswith("/weight")}
    weights |= {name: weights[name].bfloat16() for name in matrices}
    out = Path(neural_adapted.__file__).with_name(f"adapted_{size.replace('.', '_')}.npz")
    begun = folder / f"corrections-{size}.pkl"  # of an earlier run of this program, to go on from
    if begun.exists():
        tree: Tree = pickle.loads(begun.read_bytes())
    else:
        tree = taught(out) if out.exists() and not fresh else untaught(known)
    learnt = {
        part: {name: torch.tensor(value, dtype=torch.float32, requires_grad=True) for name, value in of_part.items()}
        for part, of_part in tree.items()
    }
    every = [value for part in learnt.values() for value in part.values()]
    optimiser = torch.optim.AdamW(every, highest, weight_decay=1e-3)

    ready: queue.Queue[list[np.ndarray]] = queue.Queue(6)

    def make() -> None:
        for batch in batches(clips_of(folder, texts), seed):
            ready.put(batch)

    threading.Thread(target=make, daemon=True).start()
    losses: list[float] = []
    for number in range(1, steps + 1):
        for group in optimiser.param_groups:
            group["lr"] = rate(number - 1, steps, highest)
        loss = loss_of(weights, learnt, written, ready.get())
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(every, 1.0)
        optimiser.step()
        losses.append(float(loss.detach()))
        if number % 20 == 0:
            print(f"step {number}: loss {np.mean(losses[-20:]):.4f}", flush=True)
        if number % SAVED_EVERY == 0 or number == steps:
            tree = {part: {name: value.detach().numpy() for name, value in learnt[part].items()} for part in learnt}
            begun.write_bytes(pickle.dumps(tree))
    write(tree, out)


def taught(path: Path) -> Tree:
    """The corrections that `write` wrote."""
    tree: Tree = {"down": {}, "up": {}, "add": {}}
    for key, value in neural_adapted.parts_of(path).items():
        name, part = key.rsplit(":", 1)
        tree[part][name] = value
    return tree


def half_way(first: Tree, second: Tree) -> Tree:
    """The mean of two corrections, at the rank of either: what one has learnt too well of its own material is lost first
    (Wortsman et al., "Robust fine-tuning of zero-shot models", 2022, from memory)."""
    tree: Tree = {"down": {}, "up": {}, "add": {n: (first["add"][n] + second["add"][n]) / 2 for n in first["add"]}}
    for name in first["up"]:
        up = np.concatenate([first["up"][name], second["up"][name]], axis=1) / 2
        down = np.concatenate([first["down"][name], second["down"][name]])
        left, right = np.linalg.qr(up), np.linalg.qr(down.T)
        u, weights, v = np.linalg.svd(left.R @ right.R.T)
        scale = np.sqrt(weights[:RANK])
        tree["up"][name] = (left.Q @ u[:, :RANK]) * scale
        tree["down"][name] = scale[:, None] * (v[:RANK] @ right.Q.T)
    return tree


def write(tree: Tree, path: Path) -> None:
    """As `handsfree.speech.neural_adapted` reads them, in half precision."""
    parts = {f"{name}:{part}": np.asarray(value, np.float16) for part in tree for name, value in tree[part].items()}
    np.savez_compressed(path, allow_pickle=False, **parts)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Teach a whisper model the trade's speech in noise.")
    parser.add_argument("what", choices=("say", "again", "teach", "half"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("--other", type=Path, help="half: the corrections that FOLDER, a file here, is brought half-way to")
    parser.add_argument("--size", choices=tuple(neural_weights.SIZES), default="tiny.en")
    parser.add_argument("--clips", type=int, default=2400)
    parser.add_argument("--neural", type=float, default=0.25, help="share of the clips said by neural voices")
    parser.add_argument("--revoice", type=float, default=0.3, help="share of the clips given another speaker")
    parser.add_argument("--gates", type=float, default=0.0, help="share of gate phrases and their look-alikes, on top")
    parser.add_argument("--speakers", nargs="+", choices=(*VOICES, *MEASURING), default=VOICES, help="say: instead of all")
    parser.add_argument("--steps", type=int, default=560)
    parser.add_argument("--rate", type=float, default=1.3e-3, help="of learning, the highest")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fresh", action="store_true", help="do not go on from the corrections that ship")
    asked = parser.parse_args()
    if asked.what == "again":
        say_again(asked.folder, asked.revoice, asked.seed)
    elif asked.what == "half":
        write(half_way(taught(asked.folder), taught(asked.other)), asked.folder)
    elif asked.what == "say":
        say(asked.folder, asked.clips, asked.seed, asked.neural, asked.revoice, asked.gates, asked.speakers)
    else:
        teach(asked.folder, asked.size, asked.steps, asked.seed, asked.rate, asked.fresh)
