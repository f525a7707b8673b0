"""Fits the weighing of witnesses:

    python -m tests.bench.teach.fit_acceptance --make FOLDER --jobs 16 --write  (clips, evidence, fit; some 3 h of one core)
    python -m tests.bench.teach.fit_acceptance --fit FOLDER/f21 … [--write]         (the fit alone)
    … --only choice                   (answers; the ranking and all else stay)
    … --only reading                  (a quarter of the clips: where a number is asked for; the same)

The committed fit of answers was made by `--fit FOLDER/f21 … FOLDER/f24 ACTORS1 ACTORS2 ACTORS3 --only choice --write`, the
last three by `actors build --seed 1`, `2`, `3`; that of all else by `--make`, before them.

Each folder holds clips (fresh.py, of people actors.py) and what each engine testifies on them (testimony.py).
For a set of engines, one of each kind of evidence:

1. what a nat of each kind weighs in ranking acts: conditional logit over the acts of each clip on which one was right;
2. the probability that the leading act is right: logistic regression on the features of handsfree.speech.weighing, its
   coefficients held to the sign that the evidence has by its meaning;
3. whether the speech was meant for the program: likewise, on how like anything in force it is;
4. what that gives on voices left out in turn, at each bar: the report. Bars are set in handsfree/speech/bars.py by hand.

Writes handsfree/speech/acceptance_model.json and acceptance_report.txt. Gates and proofs are left as they are: fit_gates
fits those, on clips of their own.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.speech import acceptance
from handsfree.speech.engine import Testimony, Witness
from handsfree.speech.weighing import Stake, Weighed, _Seen, heard_anything, in_accent, likeness, weigh
from tests.bench.teach import fresh, testimony
from tests.bench.teach.testimony import Said, cached, read

HOME = Path(acceptance.__file__).parent
#: Sets of engines to compare, by the evidence they give together: name -> engines (files testimony-NAME.pkl).
SETS: dict[str, tuple[str, ...]] = {
    "sounds+tokens": ("phonetic", "tiny-half"), "sounds": ("phonetic",), "tokens": ("tiny-half",),
}  # fmt: skip
#: Kinds of clip of which the fit has far more than anybody would say: they count so much each.
COUNTS = {"beside": 0.25, "trap": 0.25, "near proof": 0.5}
_ENDINGS = ("", "s", "es", "ed", "d", "ing", "er", "r", "ly", "y", "e", "'s", "n", "en", "t")
SEEDS, CLIPS = (21, 22, 23, 24), 1500
STRENGTH = 3.0  # inverse of the penalty on the coefficients
BARS = (0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.97, 0.98, 0.99, 0.995, 0.999)
UNMEANT = ("unrelated", "word", "beside", "trap", "number")

Fitted = tuple[np.ndarray, np.ndarray, np.ndarray, float]


@dataclass(frozen=True)
class Case:
    said: Said
    testimonies: tuple[Testimony, ...]

    @property
    def of_people(self) -> bool:
        return str(self.said.tags["voice"]).startswith("actors:")

    @property
    def voice(self) -> str:
        """Of a blend the first speaker; a shifted voice is the same one; eSpeak NG's by variant, whatever its accent."""
        name = str(self.said.tags["voice"])
        if name.startswith("espeak:"):
            return name.partition("+")[2]
        return name.partition("@")[0].partition("+")[0].split("-")[0]


def cases(folders: Sequence[Path], engines: Sequence[str]) -> list[Case]:
    out = []
    for folder in folders:
        heard = [cached(folder, engine) for engine in engines]
        for said in read(folder):
            if all(said.audio in one for one in heard):
                out.append(Case(said, tuple(in_accent([one[said.audio].testimony for one in heard]))))
    return out


def made(folder: Path, jobs: int, numbers: bool) -> list[Path]:
    """The clips of synthetic voices, and the evidence on them. What is there already is kept. `numbers`: only where a number
    is asked for."""
    out = [folder / f"f{seed}" for seed in SEEDS]
    for place, seed in zip(out, SEEDS, strict=True):
        fresh.build(place, CLIPS, seed, jobs, numbers)
        for engine in ("tiny-half", "phonetic"):
            testimony.hear(place, engine, jobs)
    return out


def ranking(some: Sequence[Case]) -> acceptance.Shares:
    """What a nat of each kind weighs: maximises the probability of the right act among all acts of its clip. Synthetic
    voices alone: what people say there was written down by a whisper, so whisper would weigh too much."""
    from scipy.optimize import minimize
    from scipy.special import logsumexp

    some = [case for case in some if not case.of_people]
    kinds = list(dict.fromkeys(t.gives for case in some for t in case.testimonies))
    tables = []
    for case in some:
        seen = [_Seen.of(t, case.said.listening) for t in case.testimonies if heard_anything(t)]
        every = {which: act.meaning for view in seen for which, act in view.acts.items()}
        right = [which for which, meaning in every.items() if case.said.right(meaning)]
        if right and len(every) > 1:
            order = [right[0], *(which for which in every if which != right[0])]
            tables.append(np.array([[_part(which, seen, kind) for kind in kinds] for which in order]))

    def loss(w: np.ndarray) -> float:
        return float(sum(logsumexp(table @ w) - table[0] @ w for table in tables) / len(tables) + 1e-4 * (w @ w))

    found = minimize(loss, np.full(len(kinds), 0.5), bounds=[(0.02, 3.0)] * len(kinds), method="L-BFGS-B")
    first = sum(bool(table[0] @ found.x >= (table @ found.x).max() - 1e-9) for table in tables)
    print(f"  ranking: {dict(zip(kinds, np.round(found.x, 3).tolist(), strict=True))}; in front {first} of {len(tables)}")
    return {kind: round(float(w), 4) for kind, w in zip(kinds, found.x, strict=True)}


def _part(which: Any, seen: Sequence[_Seen], kind: Witness) -> float:
    from handsfree.speech.weighing import together

    return together(which, [view for view in seen if view.gives is kind], {kind: 1.0})


@dataclass(frozen=True)
class Rows:
    names: tuple[str, ...]
    x: np.ndarray
    right: np.ndarray
    cases: tuple[Case, ...]
    weighed: tuple[Weighed | None, ...] = ()

    @property
    def voices(self) -> list[str]:
        return [case.voice for case in self.cases]

    @property
    def counts(self) -> np.ndarray:
        return np.array([COUNTS.get(str(case.said.tags["kind"]), 1.0) for case in self.cases])


def rows(some: Sequence[Case], shares: Mapping[str, acceptance.Shares], stake: Stake) -> Rows:
    found = []
    for case in some:
        weighed = weigh(case.testimonies, case.said.listening, shares[acceptance.ranked_as(case.said.listening)])
        if weighed is not None and weighed.stake is stake:
            found.append((case, weighed))
    names = tuple(sorted({name for _, w in found for name, _ in w.features}))
    full = [(c, w) for c, w in found if len(w.features) == len(names) and not harmless(c, w)]
    x = np.array([[dict(w.features)[name] for name in names] for _, w in full]).reshape(len(full), len(names))
    right = np.array([c.said.right(w.best) for c, w in full])
    return Rows(names, x, right, tuple(c for c, _ in full), tuple(w for _, w in full))


def harmless(case: Case, weighed: Weighed) -> bool:
    """Another form of the very word: who says 'blocked' where 'block' is an answer means it. Neither right nor wrong."""
    said, taken = (text.split() for text in (str(case.said.tags["text"]), weighed.best.spoken or weighed.best.text))
    other = case.said.tags["kind"] in COUNTS and len(said) == len(taken)
    return other and all(a == b or _same_word(a, b) for a, b in zip(said, taken, strict=True))


def _same_word(a: str, b: str) -> bool:
    alike = next((at for at, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    return alike >= 3 and a[alike:] in _ENDINGS and b[alike:] in _ENDINGS


def meant_rows(some: Sequence[Case]) -> Rows:
    found = [(case, dict(likeness(case.testimonies))) for case in some]
    names = tuple(sorted({name for _, values in found for name in values}))
    full = [(c, v) for c, v in found if len(v) == len(names)]
    x = np.array([[v[name] for name in names] for _, v in full])
    return Rows(names, x, np.array([c.said.tags["kind"] not in UNMEANT for c, _ in full]), tuple(c for c, _ in full))


def fit(x: np.ndarray, right: np.ndarray, counts: np.ndarray | None = None) -> Fitted:
    """Logistic regression with a penalty on squares, its coefficients held to the sign that the evidence has by its meaning:
    with few clips an unbounded one would learn that speaking against an act speaks for it. `counts`: what each clip counts
    (1 without)."""
    from scipy.optimize import minimize
    from scipy.special import expit

    means, scales = x.mean(0), np.maximum(x.std(0), 1e-3)
    z, sign = (x - means) / scales, np.where(right, 1.0, -1.0)
    each = np.ones(len(right)) if counts is None else counts

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        score = sign * (z @ w[:-1] + w[-1])
        pull = -sign * expit(-score) * each
        gradient = np.append(z.T @ pull + w[:-1] / STRENGTH, pull.sum())
        return float((each * np.logaddexp(0, -score)).sum() + (w[:-1] ** 2).sum() / (2 * STRENGTH)), gradient

    bounds = [(0.0, None)] * x.shape[1] + [(None, None)]
    found = minimize(loss, np.zeros(x.shape[1] + 1), jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 2000})
    return means, scales, found.x[:-1], float(found.x[-1])


def odds(x: np.ndarray, fitted: Fitted) -> np.ndarray:
    means, scales, weights, bias = fitted
    total: np.ndarray = (x - means) / scales @ weights + bias
    return total


def left_out(data: Rows) -> np.ndarray:
    """Probability of each row by a model that heard none of its voice."""
    out = np.zeros(len(data.right))
    voices = np.array(data.voices)
    for voice in sorted(set(data.voices)):
        there = voices == voice
        out[there] = odds(data.x[there], fit(data.x[~there], data.right[~there], data.counts[~there]))
    return np.asarray(1 / (1 + np.exp(-out)))


def curves(p: np.ndarray, data: Rows) -> list[str]:
    """A curve for each sense of the leading act, people apart."""
    senses = [(w.best.sense, c.of_people) for w, c in zip(data.weighed, data.cases, strict=True) if w is not None]
    lines = []
    for sense in dict.fromkeys(senses):
        at = np.array([other == sense for other in senses])
        some = Rows(
            data.names, data.x[at], data.right[at], tuple(c for c, there in zip(data.cases, at, strict=True) if there)
        )
        lines += [f"   {sense[0]}{', said by people' if sense[1] else ''}", *curve(p[at], some)]
    return lines


def curve(p: np.ndarray, data: Rows) -> list[str]:
    """At each bar: right ones taken by level, wrong ones by the kind of what was said (of those that led to this act)."""
    levels = np.array([str(case.said.tags["snr"]) for case in data.cases])
    possible = np.array([case.said.expect is not None for case in data.cases])
    kinds = np.array([str(case.said.tags["kind"]) for case in data.cases])
    lines = []
    for bar in BARS:
        taken = p >= bar
        by = ", ".join(
            f"{level}: {(taken & data.right & (levels == level)).sum()}/{(possible & (levels == level)).sum()}"
            for level in sorted(set(levels), key=lambda name: -1e3 if name == "clean" else -float(name))
        )
        wrong = taken & ~data.right
        of = {kind: int((wrong & (kinds == kind)).sum()) for kind in dict.fromkeys(kinds.tolist())}
        told = ", ".join(f"{kind} {count} of {(kinds == kind).sum()}" for kind, count in of.items() if count)
        lines.append(f"    at {bar:5}: right {(taken & data.right).sum():4d} | {by} | wrong: {told or 'none'}")
    return lines


def report(
    name: str, folders: Sequence[Path], engines: Sequence[str], show: bool, only: Stake | None
) -> tuple[dict[str, Any], list[str]]:
    some = cases(folders, engines)
    if only:
        asked = "number" if only is Stake.READING else "other"
        some = [case for case in some if acceptance.ranked_as(case.said.listening) == asked]
    print(f"{name} = {engines}: {len(some)} clips")
    by: dict[str, list[Case]] = {}  # as they are ranked
    for case in some:
        by.setdefault(acceptance.ranked_as(case.said.listening), []).append(case)
    known = acceptance.fitted().get(name) if only else None
    kept = known.ranking if known is not None else {}
    shares = {which: kept.get(which) or ranking(clips) for which, clips in sorted(by.items())}
    stored: dict[str, Any] = {"ranking": {which: {k.value: v for k, v in share.items()} for which, share in shares.items()}}
    people = sum(case.of_people for case in some)
    lines = [f"{name} ({', '.join(engines)}), {len(some)} clips, {people} of them by people; ranking {stored['ranking']}"]
    for stake in (only,) if only else (Stake.CHOICE, Stake.COMMAND, Stake.READING):
        data = rows(some, shares, stake)
        if not len(data.right):
            continue
        fitted = fit(data.x, data.right, data.counts)
        p = left_out(data)
        stored[stake.value] = as_stored(data.names, fitted)
        weights = ", ".join(f"{n} {w / s:.3f}" for n, w, s in zip(data.names, fitted[2], fitted[1], strict=True))
        lines += [f"  {stake}: {len(data.right)} clips, leading act right {data.right.sum()}; {weights}", *curves(p, data)]
        if show:
            for at in np.argsort(-p):
                if not data.right[at] and p[at] > 0.5:
                    case, best = data.cases[at], data.weighed[at]
                    assert best is not None
                    said = case.said.tags
                    lines.append(
                        f"      {p[at]:.4f} {said['kind']} '{said['text']}' as '{best.best.spoken or best.best.text}' "
                        f"{said['snr']} {said['voice']} {case.said.listening.phrases}"
                    )
    if only:
        return stored, lines
    data = meant_rows(some)
    fitted = fit(data.x, data.right, data.counts)
    stored["meant"] = as_stored(data.names, fitted)
    p = left_out(data)
    lines.append(f"  meant: {len(data.right)} clips, {data.right.sum()} meant for the program")
    lines += [
        f"    at {bar}: of the meant {(p[data.right] >= bar).mean():.3f}, of the others {(p[~data.right] >= bar).mean():.3f}"
        for bar in (0.3, 0.5, 0.7, 0.9)
    ]
    return stored, [*lines, ""]


def as_stored(names: Sequence[str], fitted: Fitted) -> dict[str, Any]:
    """Without what got no weight: it decides nothing."""
    means, scales, weights, bias = fitted
    kept = [at for at, weight in enumerate(_short(weights)) if weight]
    return {
        "names": [names[at] for at in kept],
        "means": _short(means[kept]),
        "scales": _short(scales[kept]),
        "weights": _short(weights[kept]),
        "bias": round(bias, 5),
    }


def _short(values: np.ndarray) -> list[float]:
    return [round(float(v), 5) for v in values]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--fit", type=Path, nargs="+", default=[], help="folders with clips and testimony")
    parser.add_argument("--make", type=Path, help="make the clips and the evidence in this folder first")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument(
        "--sets", nargs="*", default=list(SETS), help="names of SETS, or NAME=engine,engine to compare others"
    )
    parser.add_argument("--write", action="store_true", help="store the fit; else print the report alone")
    parser.add_argument("--show", action="store_true", help="every mistake above one half")
    parser.add_argument(
        "--only", type=Stake, choices=(Stake.READING, Stake.CHOICE), help="fit this alone; all else stays as it is"
    )
    asked = parser.parse_args()
    folders = [*asked.fit, *(made(asked.make, asked.jobs, asked.only is Stake.READING) if asked.make else ())]
    path, told_in = HOME / "acceptance_model.json", HOME / "acceptance_report.txt"
    models = json.loads(path.read_text(encoding="utf-8"))["models"] if path.exists() else {}
    stored: dict[str, Any] = {"models": {}}
    lines = [
        "Acceptance: what each set of witnesses gives on voices left out. Written by tests/bench/teach/fit_acceptance.py.",
        "",
    ]
    for given in asked.sets:
        name, _, listed = given.partition("=")
        engines = tuple(listed.split(",")) if listed else SETS[name]
        values, told = report(name, folders, engines, asked.show, asked.only)
        known = models.get(name, {})
        stays = known if asked.only else {s.value: known[s.value] for s in (Stake.GATE, Stake.PROOF) if s.value in known}
        ranking = {**stays.get("ranking", {}), **values["ranking"]}
        stored["models"][name] = {**stays, **values, "ranking": ranking}
        lines += told
    print("\n".join(lines))
    if asked.write and asked.only:
        stored["models"] = {**models, **stored["models"]}
        lines = put_in(told_in.read_text(encoding="utf-8").splitlines(), lines[2:], asked.only)
    if asked.write:
        path.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
        told_in.write_text("\n".join(lines) + "\n", encoding="utf-8")


def put_in(old: Sequence[str], new: Sequence[str], stake: Stake) -> list[str]:
    """The old report with the part on this stake taken from the new one, set by set."""
    parts: dict[str, list[str]] = {}
    name = head = ""
    for line in new:
        if line and not line.startswith(" "):
            name, head = line.partition(" ")[0], line.partition("), ")[2]
        elif line:
            first = line.startswith(f"  {stake}:")
            parts.setdefault(name, []).append(f"{line}; fitted by itself on {head}" if first else line)
    out, name, inside = [], "", False
    for line in old:
        if line and not line.startswith(" "):
            name = line.partition(" ")[0]
        if not line or (line[:2] == "  " and line[2:3] not in ("", " ")):
            inside = line.startswith(f"  {stake}:") and name in parts
            out += parts[name] if inside else []
        out += [] if inside else [line]
    return out


if __name__ == "__main__":
    main()
