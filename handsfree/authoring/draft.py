"""A procedure while it is being recorded: steps that may be unfinished, and how they become a procedure file.

Rules of this file:

- A step is identified by its `uid`, which never changes; steps refer to each other as '@uid', so that moving a step breaks
  nothing. '@later' stands for a step that does not exist yet, '@next' for the one that follows, whichever it is.
- `facets` are the fields of the step as `procedure/model.py` names them, plain values only.
- What is written can be loaded: the text goes through the same reader.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from handsfree.language.tokens import tokens

LATER, FOLLOWING = "@later", "@next"
#: The fields in which a step refers to others.
REFERENCES = frozenset({
    "go", "over_range", "unsteady", "unknown", "absent", "skip", "protects", "otherwise", "evidence", "summary",
})  # fmt: skip
_ORDER = ("id", "kind", "level", "lasts", "hazards", "needs_isolation", "say")
_MOST_IN_NAME = 4  # words
_SHORT = 40  # characters of an item in a list on one line
STOPS = ".,?!;:"  # what may stand right behind a word
UNSURE = "# unsure:"  # begins the remark with the words that are not settled


@dataclass(frozen=True)
class Doubt:
    """A word of a sentence, by its position from 0, that may be another. `field`: of the step, '' if it is not known."""

    at: int
    word: str
    others: tuple[str, ...]
    field: str = ""


def word_put(text: str, at: int, word: str) -> str:
    """The text with this word in that place, with the capital and the stop that stood there."""
    pieces = text.split()
    old = pieces[at]
    tail = old[len(old.rstrip(STOPS)) :]
    pieces[at] = (word[:1].upper() + word[1:] if old[:1].isupper() else word) + tail
    return " ".join(pieces)


@dataclass(frozen=True)
class DraftStep:
    """`clips`: names of the sounds in the recording's folder whose words the text is. `doubts`: words of any of its
    sentences that the writer has not settled."""

    uid: int
    text: str = ""
    facets: Mapping[str, Any] = field(default_factory=dict)
    clips: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    id: str = ""

    @property
    def kind(self) -> str:
        return str(self.facets.get("kind", ""))

    @property
    def unsure(self) -> tuple[str, ...]:
        """The words that are not settled."""
        return tuple(doubt.word for doubt in self.doubts)

    def having(self, **facets: Any) -> DraftStep:
        """With these facets; those given as None are removed."""
        merged = {**self.facets, **facets}
        return replace(self, facets={key: value for key, value in merged.items() if value is not None})


@dataclass(frozen=True)
class Draft:
    """`header`: the fields around the steps. `doubts`: words of the title that are not settled."""

    header: Mapping[str, Any]
    steps: tuple[DraftStep, ...] = ()
    doubts: tuple[Doubt, ...] = ()

    @property
    def name(self) -> str:
        return str(self.header["procedure"])

    @property
    def said(self) -> str:
        """The title and what each step says."""
        return " ".join((str(self.header.get("title") or ""), *(step.text for step in self.steps))).strip()

    def place(self, uid: int) -> int:
        """From 0. KeyError for a step that is not here."""
        for at, step in enumerate(self.steps):
            if step.uid == uid:
                return at
        raise KeyError(uid)

    def number(self, reference: str) -> int | None:
        """The number (from 1) of the step that a reference names; None if it is gone or does not exist yet."""
        uid = uid_of(reference)
        return None if uid is None else next((at for at, one in enumerate(self.steps, 1) if one.uid == uid), None)

    def with_step(self, step: DraftStep) -> Draft:
        """The step in its place, or at the end if it is new."""
        if any(one.uid == step.uid for one in self.steps):
            return replace(self, steps=tuple(step if one.uid == step.uid else one for one in self.steps))
        return replace(self, steps=(*self.steps, step))

    def without(self, uid: int) -> Draft:
        return replace(self, steps=tuple(one for one in self.steps if one.uid != uid))

    def moved(self, uid: int, before: int) -> Draft:
        """The step taken out and put before another."""
        if uid == before:
            return self
        step, rest = self.steps[self.place(uid)], self.without(uid)
        at = rest.place(before)
        return replace(self, steps=(*rest.steps[:at], step, *rest.steps[at:]))

    @property
    def next_uid(self) -> int:
        return max((step.uid for step in self.steps), default=0) + 1


def uid_of(reference: str) -> int | None:
    return int(reference[1:]) if re.fullmatch(r"@\d+", reference) else None


def reference(uid: int) -> str:
    return f"@{uid}"


# ---- names ------------------------------------------------------------------------------------------------------------


def with_id(step: DraftStep, taken: Sequence[str], small: frozenset[str]) -> DraftStep:
    """The step with its own id, made from what it is about; an existing id is kept."""
    if step.id:
        return step
    about = str(step.facets.get("finding") or step.facets.get("quantity") or _asked_about(step))
    name = slug(about, small) or step.kind or "step"
    found, at = name, 2
    while found in taken:
        found, at = f"{name}-{at}", at + 1
    return replace(step, id=found)


def _asked_about(step: DraftStep) -> str:
    """The first sentence, to its first comma; of a question what it asks about: 'Is the seal torn?' -> 'Is the seal'."""
    sentences = [one for one in re.split(r"(?<=[.?!])\s+", step.text) if one] or [""]
    answers = [str(one["say"]) for one in step.facets.get("answers", ())]
    asked = next((one for one in reversed(sentences) if "?" in one), "")
    if not answers or not asked:
        return re.split(r"[,.;]", sentences[0])[0]
    first = min((at for at in (asked.lower().find(one) for one in answers) if at >= 0), default=len(asked))
    return asked[:first] or asked


def slug(text: str, small: frozenset[str]) -> str:
    """'Brush the condenser along its fins.' -> 'brush-condenser-along-fins'. A name in the sense of the model."""
    told = [word for word in tokens(text) if word not in small]
    plain = [re.sub(r"[^a-z0-9]", "", unicodedata.normalize("NFKD", word)) for word in told]  # 'ó' is an 'o' and a sign
    words = [word for word in plain if word and word[0].isalpha()][:_MOST_IN_NAME]
    return "-".join(words)[:50].strip("-")


# ---- to a file --------------------------------------------------------------------------------------------------------


def data_of(draft: Draft, sounds: Mapping[int, tuple[str, str]]) -> dict[str, Any]:
    """`sounds`: by uid, the file beside the procedure and the SHA-256 of the text that it speaks."""
    ids = {reference(step.uid): step.id for step in draft.steps}
    following = [*(step.id for step in draft.steps[1:]), None]
    steps = [
        _step_data(step, {**ids, FOLLOWING: after} if after else ids, sounds.get(step.uid))
        for step, after in zip(draft.steps, following, strict=True)
    ] if draft.steps else []
    return {**draft.header, "steps": steps}


def _step_data(step: DraftStep, ids: Mapping[str, str], sound: tuple[str, str] | None) -> dict[str, Any]:
    facets = _resolved(step.facets, ids)
    if sound is not None:
        facets |= {"sound": sound[0], "sound_of": sound[1]}
    said = {} if step.kind == "decide" and not step.text else {"say": step.text}
    whole = {"id": step.id, **said, **facets}
    first = {key: whole[key] for key in _ORDER if key in whole}
    return first | {key: value for key, value in whole.items() if key not in first}


def _resolved(value: Any, ids: Mapping[str, str]) -> Any:
    """References become ids; references to missing steps are left out."""
    if isinstance(value, Mapping):
        found = {key: _resolved(each, ids) for key, each in value.items()}
        return {key: each for key, each in found.items() if each is not None and each != []}
    if isinstance(value, list | tuple):
        return [found for each in value if (found := _resolved(each, ids)) is not None]
    if isinstance(value, str) and (value in (LATER, FOLLOWING) or uid_of(value) is not None):
        return ids.get(value)
    return value


def as_yaml(draft: Draft, sounds: Mapping[int, tuple[str, str]]) -> str:
    """The procedure file. Words that are still unsure are in a remark above their step."""
    data = data_of(draft, sounds)
    steps = data.pop("steps")
    lines = [*_remark("", draft.doubts), dumped(data), "", "steps:"]
    for step, one in zip(draft.steps, steps, strict=True):
        lines += _remark("  ", step.doubts)
        first, *rest = dumped(one).splitlines()
        lines += [f"  - {first}", *(f"    {line}" if line else "" for line in rest), ""]
    return "\n".join(lines) + ("" if steps else " []\n")


def remarks_of(draft: Draft) -> dict[str, list[str]]:
    """By the id of a step, '' for the title: the remark with its words that are not settled."""
    found = {step.id: _remark("", step.doubts) for step in draft.steps} | {"": _remark("", draft.doubts)}
    return {name: lines for name, lines in found.items() if lines}


def _remark(indent: str, doubts: Sequence[Doubt]) -> list[str]:
    words = ", ".join(doubt.word for doubt in doubts)
    return [f"{indent}{UNSURE} {' '.join(words.split())}"] if words else []


def dumped(data: Mapping[str, Any]) -> str:
    import yaml

    class Dumper(yaml.SafeDumper):
        """Lists of plain values on one line, whole numbers without a point, no anchors."""

        def ignore_aliases(self, data: Any) -> bool:
            return True

    def listed(dumper: yaml.SafeDumper, items: list[Any]) -> yaml.Node:
        flat = all(isinstance(one, int | float) or (isinstance(one, str) and len(one) < _SHORT) for one in items)
        return dumper.represent_sequence("tag:yaml.org,2002:seq", items, flow_style=flat)

    def number(dumper: yaml.SafeDumper, value: float) -> yaml.Node:
        return dumper.represent_int(int(value)) if value == int(value) else dumper.represent_float(value)

    Dumper.add_representer(list, listed)
    Dumper.add_representer(float, number)
    text: str = yaml.dump(dict(data), Dumper=Dumper, sort_keys=False, allow_unicode=True, width=110)
    return text.rstrip("\n")


# ---- from a file ------------------------------------------------------------------------------------------------------


def draft_of(data: Mapping[str, Any], text: str = "") -> Draft:
    """A loaded procedure (its YAML as plain data), to be worked on. Answers in the short form are written out. `text`: of
    its file, whose remarks contain the words that are not settled."""
    header = {key: value for key, value in data.items() if key != "steps"}
    raw = data.get("steps") or []
    uids = {str(one["id"]): reference(at) for at, one in enumerate(raw, 1)}
    marked = _marked(text)
    steps = tuple(replace(_from_step(one, at, uids), doubts=marked.get(str(one["id"]), ())) for at, one in enumerate(raw, 1))
    return Draft(header, steps, marked.get("", ()))


def _marked(text: str) -> dict[str, tuple[Doubt, ...]]:
    """By the id of the step that a remark stands above, '' for the title."""
    found: dict[str, tuple[Doubt, ...]] = {}
    above: tuple[Doubt, ...] = ()
    for line in text.splitlines():
        plain = line.strip()
        if plain.startswith(UNSURE):
            above = tuple(Doubt(0, word, ()) for word in plain.removeprefix(UNSURE).strip().split(", ") if word)
        elif above:
            found[plain.removeprefix("- id:").strip() if plain.startswith("- id:") else ""] = above
            above = ()
    return found


def _from_step(one: Mapping[str, Any], uid: int, uids: Mapping[str, str]) -> DraftStep:
    facets = {key: value for key, value in one.items() if key not in ("id", "say")}
    if "answers" in facets:
        facets["answers"] = [dict(answer) for answer in answers_of(facets["answers"])]
    referring = {key: _referring(key, value, uids) for key, value in facets.items()}
    return DraftStep(uid, str(one.get("say", "")), referring, id=str(one["id"]))


def _referring(key: str, value: Any, uids: Mapping[str, str]) -> Any:
    if isinstance(value, Mapping):
        return {inner: _referring(inner, each, uids) for inner, each in value.items()}
    if isinstance(value, list):
        return [_referring(key, each, uids) for each in value]
    return uids.get(value, value) if key in REFERENCES and isinstance(value, str) else value


def answers_of(given: Any) -> Iterator[Mapping[str, Any]]:
    """Of a file, in whatever form, in the long one."""
    if isinstance(given, Mapping):
        for say, value in given.items():
            yield {"say": say, **value} if isinstance(value, Mapping) else {"say": say, **({"go": value} if value else {})}
        return
    for one in given:
        yield {"say": one} if isinstance(one, str) else one
