"""What a sentence in a person's own words means, among a few things it may mean: 'the beer is lukewarm' -> too warm.

Rules of this file:

- Words belong to groups (`grammar/LANG.NAME.yaml`), a denial turns a group into its contrary, and certain sets of groups
  have a meaning.
- A meaning is dropped if a larger set, with another meaning, contains all its groups: 'ice in the bottles' is not ice on a
  coil.
- Nothing is guessed. A sentence that fits no set means nothing. One that fits two means both, and the caller asks which.
- It is never used where an answer may prove that works are dead.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from handsfree import plain_yaml
from handsfree.language.base import Language
from handsfree.language.meaning import Listening, Meaning, Sense
from handsfree.language.tokens import tokens
from handsfree.resources import shipped_folder

Groups = frozenset[str]
NO = "no-"


@dataclass(frozen=True)
class Lexicon:
    """`words`: (its words, the group), the longest first. `reach`: how many words after it a denial still denies. `void`:
    what says that there is nothing to tell. `means`: (meaning, the groups that make it)."""

    words: tuple[tuple[tuple[str, ...], str], ...]
    denial: frozenset[str]
    reach: int
    void: tuple[tuple[str, ...], ...]
    means: tuple[tuple[str, Groups], ...]


@lru_cache(maxsize=8)
def lexicon(code: str, name: str) -> Lexicon | None:
    """None where the language has no such file."""
    path = shipped_folder("grammar") / f"{code}.{name}.yaml"
    if not path.is_file():
        return None
    data = plain_yaml.load(path.read_text(encoding="utf-8"))
    words = [(tuple(str(way).split()), group) for group, ways in data["words"].items() for way in ways]
    return Lexicon(
        tuple(sorted(words, key=lambda pair: -len(pair[0]))),
        frozenset(data["denial"]),
        int(data["reach"]),
        tuple(tuple(way.split()) for way in data["void"]),
        tuple((meaning, frozenset(one)) for meaning, sets in data["means"].items() for one in sets),
    )


def gists(text: str, lexicon: Lexicon) -> tuple[str, ...]:
    """The meanings of a sentence, in the order of the lexicon; () for none."""
    said = _plain(text)
    if _void(said, lexicon):
        return ()
    there = _groups(said, lexicon)
    whole = [(meaning, one) for meaning, one in lexicon.means if one <= there]
    kept = [(m, one) for m, one in whole if not any(one < other for n, other in whole if n != m)]
    return tuple(dict.fromkeys(meaning for meaning, _ in kept))


def _void(said: list[str], lexicon: Lexicon) -> bool:
    return any(_at(way, said, at) for way in lexicon.void for at in range(len(said)))


def _plain(text: str) -> list[str]:
    """The words in lower case, without signs: "isn't" -> isnt."""
    return [token.replace("'", "") for token in tokens(text.replace("’", "'"))]


def _groups(said: list[str], lexicon: Lexicon) -> Groups:
    found: set[str] = set()
    at, denied = 0, 0
    while at < len(said):
        if said[at] in lexicon.denial:
            denied = lexicon.reach + 1
        size = 1
        for way, group in lexicon.words:
            if _at(way, said, at):
                found.add(NO + group if denied else group)
                size = max(size, len(way)) if size == 1 else size
                if len(way) == size and size > 1:
                    break
        at, denied = at + size, max(denied - size, 0)
    return frozenset(found)


def _at(way: tuple[str, ...], said: list[str], at: int) -> bool:
    here = said[at : at + len(way)]
    return len(here) == len(way) and all(
        word.startswith(part[:-1]) if part.endswith("*") else word == part for part, word in zip(way, here, strict=True)
    )


def told(text: str, code: str, name: str) -> tuple[str, ...]:
    """`gists` by the name of a lexicon; () where the language has none."""
    found = lexicon(code, name)
    return () if found is None else gists(text, found)


def nothing_wrong(text: str, code: str, name: str) -> bool:
    """It says that there is nothing, or nothing any longer, to complain of."""
    found = lexicon(code, name)
    return found is not None and _void(_plain(text), found)


def by_gist(language: Language, words: str, listening: Listening) -> tuple[Meaning, ...]:
    """The answers in force that a sentence in a person's own words means; () where the question takes no such sentence."""
    if not listening.gist:
        return ()
    means = told(words, language.code, listening.gist)
    return tuple(Meaning(Sense.PHRASE, answer, spoken=words) for answer in means if answer in listening.phrases)
