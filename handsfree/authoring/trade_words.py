"""A language model of the trade: how the procedures that ship talk, so that a recogniser expects trade words.

Rules of this file:

- Three-word sequences, smoothed after Witten and Bell (IEEE Trans. Information Theory 37, 1991; from memory): what was not
  seen after two words falls back on what was seen after one, and so on down.
- Single words are mixed with those of everyday language, so that a writer can say something new.
- The file written is in the ARPA format that PocketSphinx, Kaldi and others read: logarithms to the base of ten.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

BEGIN, END = "<s>", "</s>"
#: How much of the probability of single words is everyday language: a guess, not tuned.
EVERYDAY = 0.3
Gram = tuple[str, ...]


def sentences(folder: Path, language_code: str = "en", without: Iterable[str] = ()) -> Iterator[tuple[str, ...]]:
    """Every sentence that the procedures of a folder say, as spoken words. `without`: procedures left out."""
    from handsfree.language import base
    from handsfree.language.tokens import tokens
    from handsfree.procedure.load import load_procedure, procedure_files
    from handsfree.procedure.model import Ask
    from handsfree.procedure.wording import texts

    language, left_out = base.load(language_code), frozenset(without)
    for path in procedure_files(folder):
        if path.stem in left_out:
            continue
        procedure = load_procedure(path)
        if procedure.language != language_code:
            continue
        for step in procedure.steps:
            said = [*texts(step), *(answer.say for answer in step.answers)] if isinstance(step, Ask) else list(texts(step))
            for text in said:
                for sentence in re.split(r"[.?!:]\s", f"{text} "):
                    words = tokens(language.speakable(sentence))
                    plain = tuple(word for word in words if word.replace("'", "").isalpha())
                    if plain:
                        yield plain


def everyday(words: Iterable[str], probability: Callable[[str], float], least: float) -> dict[str, float]:
    """Those of the words that are at least that probable, with their probability."""
    return {word: p for word in words if (p := probability(word)) >= least}


def arpa(said: Iterable[tuple[str, ...]], usual: Mapping[str, float], share: float = EVERYDAY) -> str:
    """The model as ARPA text. `usual`: everyday words with their probability. The probabilities after any history sum to 1
    over the words of the model."""
    counts: list[Counter[Gram]] = [Counter(), Counter(), Counter()]
    for sentence in said:
        padded = (BEGIN, *sentence, END)
        for size in (1, 2, 3):
            counts[size - 1].update(padded[at : at + size] for at in range(len(padded) - size + 1))
    del counts[0][(BEGIN,)]
    single = _single(counts[0], usual, share)
    probability: list[dict[Gram, float]] = [{(word,): p for word, p in single.items()}, {}, {}]
    back: list[dict[Gram, float]] = [{}, {}]
    for size in (2, 3):
        after: dict[Gram, Counter[str]] = defaultdict(Counter)
        for gram, count in counts[size - 1].items():
            after[gram[:-1]][gram[-1]] = count
        for history, following in after.items():
            total, kinds = sum(following.values()), len(following)
            back[size - 2][history] = kinds / (total + kinds)
            for word, count in following.items():
                lower = _of(probability, back, (*history[1:], word))
                probability[size - 1][(*history, word)] = (count + kinds * lower) / (total + kinds)
    return _written(probability, back)


def _single(counts: Counter[Gram], usual: Mapping[str, float], share: float) -> dict[str, float]:
    total, usual_total = sum(counts.values()), sum(usual.values())
    own = 1.0 - share if usual_total else 1.0
    found = {gram[0]: own * count / total for gram, count in counts.items()}
    for word, p in usual.items():
        found[word] = found.get(word, 0.0) + (1 - own) * p / usual_total
    return found


def _of(probability: list[dict[Gram, float]], back: list[dict[Gram, float]], gram: Gram) -> float:
    found = probability[len(gram) - 1].get(gram)
    if found is not None:
        return found
    return back[len(gram) - 2].get(gram[:-1], 1.0) * _of(probability, back, gram[1:])


def _written(probability: list[dict[Gram, float]], back: list[dict[Gram, float]]) -> str:
    probability[0][(BEGIN,)] = 1e-99  # it begins, and is never chosen
    lines = ["\\data\\", *(f"ngram {size}={len(grams)}" for size, grams in enumerate(probability, 1)), ""]
    for size, grams in enumerate(probability, 1):
        lines.append(f"\\{size}-grams:")
        for gram in sorted(grams):
            weight = f" {math.log10(back[size - 1].get(gram, 1.0)):.4f}" if size < 3 else ""
            lines.append(f"{math.log10(grams[gram]):.4f} {' '.join(gram)}{weight}")
        lines.append("")
    return "\n".join([*lines, "\\end\\", ""])
