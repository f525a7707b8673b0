"""What `distil` needs, in one folder that can be carried: speech of people who judge nothing, noise, the two networks as they ship.

    python -m tests.bench.teach.distil_people OUT --unpacked FOLDER [--synthetic FOLDER ...] 

People: actors of two games (English), of a third in Czech and Dutch, telephone prompts in French and Russian, words in some
twenty languages, all from Debian packages. `--unpacked`: a folder in which `beneath-a-steel-sky`, `flight-of-the-amazon-queen`,
`fillets-ng-data-cs` and `fillets-ng-data-nl` were unpacked (`dpkg -x`), for they need not be installed. No text is needed: a
network learns to write in noise what it writes in quiet. Whoever speaks English for `tests.bench.people` is not among them, nor
the Spanish prompts, which one of these speaks, too. HELD speak only to see what the teaching brings: nobody of them teaches.
"""

from __future__ import annotations

import argparse
import io
import json
import pickle
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr

from tests.bench.people_words import SHARE, sound

RATE = 16_000
LONGEST, LEAST = 4.8, 0.35  # seconds of a clip
SPEED = 0.935  # of libsndfile's Opus: some 20 kbit/s
SKY, QUEEN = "actors of the first game", "actors of the second game"
HELD = (SKY, "prompts it", "ktuberling lt", "ktuberling nn", "ktuberling da", "klettres hu", "klettres nds", "klettres lt")
#: Groups of which no more than this many minutes teach.
MOST = {QUEEN: 170.0, "actors cs": 45.0, "actors nl": 40.0, SKY: 12.0, "klettres ml": 4.0, "prompts it": 5.0}


def _first_game(folder: Path) -> Iterator[tuple[np.ndarray, int]]:
    """sky.dnr: 8 bytes a file: number, place (24 bits, in 16 bytes from bit 23 on), size; speech has the numbers from 50,000 on,
    a head of 22 bytes, and 8 bits a sample. Read off the files."""
    table, data = (folder / "sky.dnr").read_bytes(), (folder / "sky.dsk").read_bytes()
    for at in range(4, 4 + 8 * struct.unpack_from("<I", table)[0], 8):
        (number,) = struct.unpack_from("<H", table, at)
        place, size = int.from_bytes(table[at + 2 : at + 5], "little"), int.from_bytes(table[at + 5 : at + 8], "little")
        place = (place & 0x7FFFFF) << 4 if place >> 23 else place
        if 50_000 <= number < 60_000:
            yield np.frombuffer(data[place + 22 : place + (size & 0x3FFFFF)], np.uint8).astype(np.float32) / 128 - 1, 11_025


def _second_game(folder: Path) -> Iterator[tuple[np.ndarray, int]]:
    """queen.1c: names of 12 bytes with a place and a size; what ends in .SB is MP3."""
    data = (folder / "queen.1c").read_bytes()
    for found in re.finditer(rb"[0-9A-Z_]{8}\.SB\x00", data[:200_000]):
        place, size = struct.unpack_from(">II", data, found.start() + 13)
        try:
            yield soundfile.read(io.BytesIO(data[place : place + size]), dtype="float32")
        except soundfile.LibsndfileError:
            continue  # a handful are of another form


def _files(folder: Path, pattern: str) -> Iterator[tuple[np.ndarray, int]]:
    for path in sorted(folder.glob(pattern)):
        if path.suffix == ".g722":
            try:
                yield sound(path), RATE
            except ValueError:
                continue  # an empty file
        else:
            yield soundfile.read(path, dtype="float32")


def groups(unpacked: Path) -> Iterator[tuple[str, Iterator[tuple[np.ndarray, int]]]]:
    games = unpacked / "usr/share"
    yield SKY, _first_game(games / "scummvm/beneath-a-steel-sky")
    yield QUEEN, _second_game(games / "scummvm/flight-of-the-amazon-queen")
    for language in ("cs", "nl"):
        yield f"actors {language}", _files(games / "games/fillets-ng/sound", f"*/{language}/*.ogg")
    for language, who in (("fr", "fr_CA_f_June"), ("it", "it_IT_m_Carlo"), ("ru", "ru_RU_f_IvrvoiceRU")):
        yield f"prompts {language}", _files(SHARE / "asterisk/sounds" / who, "**/*.g722")
    for name in ("ktuberling/sounds", "klettres"):
        for folder in sorted(path for path in (SHARE / name).iterdir() if path.is_dir() and not path.name.startswith("en")):
            yield f"{name.partition('/')[0]} {folder.name}", _files(folder, "**/*.ogg")


def pieces(samples: np.ndarray, rate: int) -> Iterator[np.ndarray]:
    """Without silence at the ends, at full level, cut at quiet places."""
    samples = samples.mean(1) if samples.ndim > 1 else samples
    if len(samples) < LEAST * rate:
        return
    samples = np.asarray(soxr.resample(samples, rate, RATE) if rate != RATE else samples, np.float32)
    samples = samples - samples.mean()
    power = np.square(samples[: len(samples) // 160 * 160].reshape(-1, 160)).mean(1)
    loud = np.flatnonzero(power > power.max() * 1e-3)
    samples = samples[max(0, loud[0] * 160 - 800) : loud[-1] * 160 + 1600]
    peak = float(np.abs(samples).max(initial=0))
    while peak > 0.01 and len(samples) > LONGEST * RATE:
        power = np.square(samples[: len(samples) // 320 * 320].reshape(-1, 320)).mean(1)
        at = (100 + int(np.argmin(power[100:230]))) * 320
        yield samples[:at] / peak
        samples = samples[at:]
    if peak > 0.01 and len(samples) > LEAST * RATE:
        yield samples / peak


def keep(out: Path, group: str, clips: list[np.ndarray], held: bool) -> dict[str, Any]:
    """One file a group."""
    path = out / f"{re.sub('[^a-z0-9]+', '-', group.lower())}.opus"
    gap = np.zeros(800, np.float32)
    whole = np.concatenate([part for clip in clips for part in (clip * 0.9, gap)])
    soundfile.write(path, whole, RATE, format="OGG", subtype="OPUS", compression_level=SPEED)
    return {"file": path.name, "group": group, "held": held, "lengths": [len(clip) for clip in clips]}


def networks(out: Path) -> None:
    """Both as they ship, corrections within; of whisper's vocabulary the 13,000 commonest tokens."""
    from handsfree.speech import neural_weights, phonetic, whisper
    from handsfree.speech.byte_pairs import BytePairs
    from handsfree.speech.neural_adapted import corrected_model
    from handsfree.speech.phonetic_adapted import corrected_file
    from tests.bench.teach.teach_loop import package

    data, written, silent = package()
    (out / "phonetic.bin").write_bytes(corrected_file(phonetic.weights()))
    np.savez(out / "symbols.npz", written=written, silent=silent)
    place = neural_weights.find_weights("tiny.en")
    assert place is not None
    stored = corrected_model(neural_weights.model_bytes(place), neural_weights.identify(place).sha256, whisper.TAUGHT)
    known = {one.name: one.read(stored) for one in neural_weights.stored_variables(stored) if one.dtype == "<f2"}
    special = BytePairs(place / "tokenizer.json").special
    opening = [special["<|startoftranscript|>"], special["<|notimestamps|>"]]
    rows = np.array([*range(13_000), special["<|endoftext|>"], *opening])
    known["decoder/embeddings/weight"] = known["decoder/embeddings/weight"][rows]
    np.savez(out / "whisper.npz", **known)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("out", type=Path)
    parser.add_argument("--unpacked", type=Path, required=True)
    parser.add_argument("--synthetic", type=Path, nargs="*", default=(), help="folders that `teach_phonetic` filled")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    table = []
    spoken = [(name, [piece for one in of_it for piece in pieces(*one)]) for name, of_it in groups(asked.unpacked)]
    for folder in asked.synthetic:
        said = [clip.astype(np.float32) / 32768 for path in sorted(folder.glob("*.pkl")) for clip, _ in pickle.loads(path.read_bytes())]
        spoken.append((f"synthetic {folder.name}", [piece for clip in said for piece in pieces(clip, RATE)]))
    rng = np.random.default_rng(1)
    for name, clips in spoken:
        left = MOST.get(name, 30.0) * 60 * RATE
        chosen = []
        for at in rng.permutation(len(clips)):
            left -= len(clips[at])
            if left < 0:
                break
            chosen.append(clips[at])
        if chosen:
            table.append(keep(asked.out, name, chosen, name in HELD))
            print(f"{name:28} {len(chosen):5} clips, {sum(map(len, chosen)) / RATE / 60:6.1f} min", flush=True)
    (asked.out / "people.json").write_text(json.dumps(table))
    from tests.bench.teach.teach_phonetic import noises

    np.save(asked.out / "noise.npy", np.int16(np.clip(np.stack(noises()) * 3000, -32767, 32767)))
    networks(asked.out)


if __name__ == "__main__":
    main()
