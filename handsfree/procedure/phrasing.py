"""What is said about a procedure, in its own language: the sentences of grammar/<language>.bench.yaml by key."""

from __future__ import annotations

import re
from functools import lru_cache

from handsfree.language import prompts
from handsfree.procedure.model import Decide, Read, Step
from handsfree.resources import shipped_folder

#: For a language that has no such file.
USUAL = "en"


@lru_cache(maxsize=8)
def sentences_of(code: str) -> prompts.Prompts:
    path = shipped_folder("grammar") / f"{code}.bench.yaml"
    return prompts.load(path) if path.is_file() else sentences_of(USUAL)


def say(code: str, key: str, **values: object) -> str:
    """KeyError for a key that is not there and for a place without a value."""
    return sentences_of(code).prompt(key, **values)


def has(code: str, key: str) -> bool:
    return key in sentences_of(code).sentences


def value(code: str, what: str, name: str) -> str:
    """A value of the file in words: ('hazard', 'moving fan') -> 'moving fan'. `what`: hazard, kind, level, method, ..."""
    key = f"{what}-{name.replace(' ', '-')}"
    return say(code, key) if has(code, key) else name  # hazards and methods are data that any trade extends


def hint(code: str, word: str, known: list[str], otherwise: str = ".") -> str:
    """'; did you mean `x`?', or `otherwise` where no known word is near."""
    from handsfree.procedure.sentences import near

    found = near(word, known)
    return say(code, "did-you-mean", name=found) if found else otherwise


def way(code: str, step: Step, name: str) -> str:
    """The name of a way on from a step as people read it; answers and cases are in the procedure's own words."""
    if isinstance(step, Read) and name:
        return say(code, f"way-{name.replace(' ', '-')}")
    if isinstance(step, Decide) and name == "otherwise":
        return say(code, "way-otherwise")
    return expression(code, name) if isinstance(step, Decide) else name


_WORDS = re.compile(r"""('[^']*'|"[^"]*")|\b(and|or|not|taken)\b""")


def expression(code: str, when: str) -> str:
    """A case with its small words in the language; what stands in quotes is left."""
    return _WORDS.sub(lambda found: found[1] or say(code, f"word-{found[2]}"), when)
