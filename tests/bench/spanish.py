"""How rightly Spanish free words and a recorder's answers are heard, of one recorded speaker:
`python -m tests.bench.spanish [--sentences 20] [--out FILE]`.

The recordings are Debian's asterisk-core-sounds-es-g722 (a woman of Mexico, prompts of a telephone exchange), their words
the list in asterisk-core-sounds-es. Sentences with a number are left out, for it is written in figures; accents are not
compared, for the list has few. The answers are figures up to twenty, each sought among all of them, as the recorder seeks a
step or a count. It needs whisper base (`handsfree models --add`, or its packages)."""

from __future__ import annotations

import argparse
import gzip
import json
import re
import unicodedata
from pathlib import Path

from handsfree.authoring import free_words
from handsfree.authoring.free_words import FreeRecogniser
from handsfree.errors import Trouble
from handsfree.language.base import load
from handsfree.language.meaning import Listening, Verdict
from handsfree.settings import load_settings
from tests.bench.__main__ import machine
from tests.bench.people_words import SHARE, sound

HOME = SHARE / "asterisk/sounds/es_MX_f_Allison"
LIST = Path("/usr/share/doc/asterisk-core-sounds-es/core-sounds-es.txt.gz")
FEWEST, MOST = 4, 16  # words of a sentence
_NUMBERS = frozenset(["uno", "una", "dos", "tres", "cuatro", "cinco", "seis", "siete", "ocho", "nueve", "diez", "cero"])


def plain(text: str) -> list[str]:
    """Small letters without accents."""
    letters = "".join(one for one in unicodedata.normalize("NFD", text.casefold()) if not unicodedata.combining(one))
    return re.findall(r"[a-z]+", letters)


def sentences() -> list[tuple[Path, str]]:
    if not LIST.is_file() or not HOME.is_dir():
        packages = "asterisk-core-sounds-es asterisk-core-sounds-es-g722"
        raise Trouble(f"The recordings are not installed; get them with: apt-get install {packages}")
    found = []
    for line in gzip.decompress(LIST.read_bytes()).decode("utf-8", "replace").splitlines():
        name, _, words = line.partition(":")
        path = HOME / f"{name.strip()}.g722"
        said = plain(words)
        fits = FEWEST <= len(said) <= MOST and not _NUMBERS & set(said) and not re.search(r"[\d\[]", words)
        if fits and path.is_file():
            found.append((path, words.strip()))
    return found


def main() -> None:
    from rapidfuzz.distance import Levenshtein

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sentences", type=int, default=20)
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    writers = free_words.writers("es", load_settings().models)
    if not writers:
        raise Trouble("No engine here writes Spanish; add whisper base: handsfree models --add FOLDER")
    language, wrong, words = load("es"), 0, 0
    every = sentences()
    chosen = every[:: max(1, len(every) // asked.sentences)][: asked.sentences]
    for path, said in chosen:
        written = writers[0](sound(path))
        own, right = plain(written), plain(said)
        wrong, words = wrong + Levenshtein.distance(own, right), words + len(right)
        if asked.show:
            print(f"{said} -> {written}", flush=True)
    recogniser, figures = FreeRecogniser(language, writers[0]), range(21)
    phrases = tuple(language.say_number(one) for one in figures)
    told = {"right": 0, "asked again": 0, "another": 0}
    for one in figures:
        if not (HOME / f"digits/{one}.g722").is_file():
            continue
        heard = recogniser.hear(sound(HOME / f"digits/{one}.g722"), Listening(commands=(), phrases=phrases))
        taken = heard.verdict is Verdict.ACCEPTED
        meant = heard.meaning is not None and heard.meaning.text == phrases[one]
        told["asked again" if not taken else "right" if meant else "another"] += 1
        if asked.show:
            print(f"{phrases[one]} -> {heard.words}: {heard.verdict.value}", flush=True)
    result = {"sentences": len(chosen), "words": words, "wrong": wrong, "answers": told}
    print(json.dumps(result))
    if asked.out is not None:
        whole = {"command": "python -m tests.bench.spanish", "machine": machine(), **result}
        asked.out.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
