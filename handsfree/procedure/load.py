"""Reading procedure files: text in, a `Procedure` or every problem of the file out.

Rules of this file:

- A file is measured before it is read, and read once: the digest is of the bytes that were parsed.
- A name never becomes a path unless it is a name: no separators, no dots.
- Every problem of a file is reported, in the order of its lines.
"""

from __future__ import annotations

import hashlib
import json
import re
import stat
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from handsfree.errors import Trouble
from handsfree.language.base import CODES
from handsfree.language.put_over import put_over
from handsfree.procedure import instruments, phrasing, sentences
from handsfree.procedure.graph import outcomes
from handsfree.procedure.model import NAME, Book, Procedure, Step, in_words
from handsfree.procedure.references import problems_of_calls, problems_of_steps
from handsfree.procedure.yamlfile import LIMIT_BYTES, Document, Problem, Unreadable, YamlPath, read_yaml

LIMIT_STEPS = 400
SUFFIXES = (".yaml", ".yml")


class FileProblems(Trouble):
    """Every problem of a file, the first first, in the file's own `language`; the message carries one a line."""

    def __init__(self, problems: Sequence[Problem], language: str = "en") -> None:
        say = put_over(language, "load", _SENTENCES)
        self.problems, self.language = tuple(replace(one, sentence=say(one.sentence)) for one in problems), language
        super().__init__("\n".join(_shown(one, language) for one in self.problems))


def _shown(one: Problem, language: str) -> str:
    """With its place, in this language."""
    place = phrasing.say(language, "line", file=one.file, line=one.line) if one.line else one.file
    return f"{place}: {one.sentence}"


#: The places of grammar/*.load.yaml in which a sentence may stand.
_SENTENCES = frozenset(("why", "more", "one"))
_LANGUAGE = re.compile(r"^language:\s*[\"']?([a-z]{2})\b", re.MULTILINE)


def _language_of(text: str) -> str:
    """Of a file that may not be readable; English for one that the program does not have."""
    found = _LANGUAGE.search(text)
    return found[1] if found and found[1] in CODES else "en"


@dataclass(frozen=True)
class Loaded:
    """`lines`: the line each step begins on."""

    procedure: Procedure
    file: str
    text: str
    digest: str
    document: Document
    lines: dict[str, int]


def load_procedure(path: Path | str) -> Procedure:
    """Trouble (FileProblems) where the file is unreadable or wrong."""
    return load_file(Path(path)).procedure


def parse_procedure(text: str, file_name: str = "procedure.yaml") -> Procedure:
    """The same from text; `file_name` is what the sentences call it."""
    return _loaded(text, file_name, text.encode("utf-8", "surrogatepass")).procedure


def load_file(path: Path, shown: str = "") -> Loaded:
    shown = shown or shown_path(path)
    data = file_bytes(path, shown)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FileProblems([Problem(shown, line, "it is not UTF-8 text; save it as UTF-8.")]) from None
    return _loaded(text, shown, data)


def load_book(path_or_name: Path | str, folders: Sequence[Path] | None = None) -> Book:
    """The procedure and every one it calls. A path is a file; a bare name is looked for in `folders` (default: the
    current folder's `procedures`, then those that ship). A called one is looked for beside its caller first.
    Trouble where one is missing, wrong, decides on what a called one cannot bring, or calls itself by way of others."""
    places = list(folders) if folders is not None else usual_folders()
    first = named_file(path_or_name, places)
    loaded: dict[str, Loaded] = {}
    main = load_file(first)
    _gather(main, first.parent, places, loaded, ())
    brought = {name: outcomes(one.procedure) for name, one in loaded.items()}
    problems = [
        problem for one in loaded.values() for problem in problems_of_calls(one.procedure, brought, one.file, one.lines)
    ]
    if problems:
        raise FileProblems(problems, main.procedure.language)
    return Book(
        main=main.procedure.procedure,
        procedures={name: one.procedure for name, one in loaded.items()},
        digests={name: one.digest for name, one in loaded.items()},
        texts={name: one.text for name, one in loaded.items()},
        files={name: one.file for name, one in loaded.items()},
        lines={name: one.lines for name, one in loaded.items()},
    )


def book_of(*procedures: Procedure) -> Book:
    """A book of procedures that came from no file, the main one first."""
    return Book(main=procedures[0].procedure, procedures={one.procedure: one for one in procedures})


def shown_path(path: Path) -> str:
    """As people should see it: the folder and the file, never the machine's own path."""
    return f"{path.parent.name}/{path.name}" if path.parent.name else path.name


def procedure_files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if path.suffix in SUFFIXES and path.is_file())


# ---- one file -------------------------------------------------------------------------------------------------------


def file_bytes(path: Path, shown: str, what: str = "procedure file") -> bytes:
    """Trouble if it is missing, not a file, too large or unreadable. `what`: what the sentences call it."""
    try:
        facts = path.stat()
        if stat.S_ISDIR(facts.st_mode):
            raise Trouble(f"{shown} is a folder; name a {what} in it.")
        if not stat.S_ISREG(facts.st_mode):
            raise Trouble(f"{shown} is not a file; name a {what}.")
        if facts.st_size > LIMIT_BYTES:
            size = facts.st_size / 1e6
            raise Trouble(f"{shown} is {size:.1f} MB; at most {LIMIT_BYTES / 1e6:.0f} MB is read; name another file.")
        with path.open("rb") as stream:
            data = stream.read(LIMIT_BYTES + 1)  # it may have grown since
    except FileNotFoundError:
        hint = ", or list them with 'handsfree list'" if what == "procedure file" else ""
        raise Trouble(f"There is no {what} {shown}; check the name{hint}.") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise Trouble(f"{shown} cannot be read ({reason}); check its permissions and name.") from None
    if len(data) > LIMIT_BYTES:
        raise Trouble(f"{shown} is larger than {LIMIT_BYTES / 1e6:.0f} MB; this is the wrong file.")
    return data


@lru_cache(maxsize=128)
def _loaded(text: str, shown: str, data: bytes) -> Loaded:
    """Kept by content, for a file that many call is wanted many times."""
    try:
        document = read_yaml(text)
    except Unreadable as error:
        raise FileProblems([Problem(shown, error.line, error.sentence)], _language_of(text)) from None
    problems, procedure = _validated(document, shown)
    if procedure is None or problems:
        raise FileProblems(sorted(problems, key=lambda problem: problem.line), _language_of(text))
    lines = {step.id: document.line(("steps", at)) for at, step in enumerate(procedure.steps)}
    return Loaded(procedure, shown, text, hashlib.sha256(data).hexdigest(), document, lines)


def _validated(document: Document, shown: str) -> tuple[list[Problem], Procedure | None]:
    data = document.data
    if not isinstance(data, dict):
        sentence = "a procedure is fields and their values; begin with 'procedure:', 'title:', 'steps:'."
        return [Problem(shown, 1, sentence)], None
    problems: list[Problem] = []
    raw = data.get("steps")
    steps: list[tuple[int, Step]] = []
    whole: Procedure | None = None
    header = {key: value for key, value in data.items() if key != "steps"}
    try:
        whole = _strict({**header, "steps": _ANY_STEPS})
    except ValidationError as error:
        for place, sentence in sentences.found(error, ""):
            told = f"the procedure {sentences.ended(sentence)}"
            problems.append(Problem(shown, document.line(place), told, "", _field(place)))
    if whole is not None and whole.language not in CODES:
        known = ", ".join(CODES)
        sentence = f"the procedure is in the language `{whole.language}`, which does not exist here; there are {known}."
        problems.append(Problem(shown, document.line(("language",)), sentence, "", "language"))
    if not isinstance(raw, list) or not raw:
        sentence = "the procedure lacks a list of 'steps'."
        return [*problems, Problem(shown, document.line(("steps",)), sentence, "", "steps")], None
    if len(raw) > LIMIT_STEPS:
        sentence = f"there are {len(raw)} steps; at most {LIMIT_STEPS} are allowed, so make parts of it procedures to call."
        return [*problems, Problem(shown, document.line(("steps",)), sentence, "", "steps")], None
    shared, broken = instruments.shared_of(header)
    for at, one in enumerate(raw):
        if isinstance(one, dict) and one.get("instrument") in broken:
            continue  # its fault is told where the instrument stands
        step = _step(_named(instruments.filled(one, shared)), at, document, shown, problems)
        if step is not None:
            steps.append((at, step))
    ids = [one["id"] for one in raw if isinstance(one, dict) and isinstance(one.get("id"), str)]
    problems += instruments.blamed(problems_of_steps(steps, ids, document, shown), document, shown)
    if problems:
        return problems, None
    assert whole is not None
    return [], whole.model_copy(update={"steps": tuple(step for _, step in steps)})


def _named(one: Any) -> Any:
    """A decision without a sentence goes by its name, but one that is read out needs its own."""
    silent = isinstance(one, dict) and one.get("kind") == "decide" and "say" not in one and not one.get("aloud")
    return {**one, "say": in_words(one["id"])} if silent and isinstance(one.get("id"), str) else one


def _step(one: Any, at: int, document: Document, shown: str, problems: list[Problem]) -> Step | None:
    place: YamlPath = ("steps", at)
    if not isinstance(one, dict):
        sentence = f"step {at + 1} is not fields and their values; begin with '- id:'."
        problems.append(Problem(shown, document.line(place), sentence))
        return None
    name = f"step `{one['id']}`" if isinstance(one.get("id"), str) else f"step {at + 1}"
    kind = one.get("kind") if isinstance(one.get("kind"), str) else ""
    if kind in sentences.KINDS and "answers" in one:
        if twice := _said_twice(one["answers"]):
            sentence = f"{name} has 'say' under its answer '{twice}'; what stands before the colon is what is said."
            line = document.line((*place, "answers", twice))
            problems.append(Problem(shown, line, sentence, str(one.get("id", "")), "answers"))
            return None
        one = {**one, "answers": _answers(one["answers"])}
    try:
        return sentences.STEP.validate_json(json.dumps(one), strict=True)
    except ValidationError as error:
        keys = _answer_keys(document.data["steps"][at])
        for inner, sentence in sentences.found(error, str(kind)):
            line = document.line((*place, *_in_file(inner, keys)))
            told = f"{name} {sentences.ended(sentence)}"
            problems.append(Problem(shown, line, told, str(one.get("id", "")), _field(inner)))
    return None


#: Stands in for the steps while the fields around them are looked at.
_ANY_STEPS = [{"id": "x", "kind": "end", "say": "x", "outcome": "done"}]


def _strict(data: dict[str, Any]) -> Procedure:
    """As JSON, strictly: a list is a tuple and a word an enum, but '5' is not a number, and 5 is not text."""
    return Procedure.model_validate_json(json.dumps(data), strict=True)


def _field(place: YamlPath) -> str:
    return str(place[0]) if place else ""


def _said_twice(given: Any) -> str:
    found = given.items() if isinstance(given, dict) else ()
    return next((say for say, value in found if isinstance(value, dict) and "say" in value), "")


def _answers(given: Any) -> Any:
    """The short forms: {cool: step-a, warm: step-b}, {cool: {also: [cold], go: step-a}}, [cool, warm]."""
    if isinstance(given, dict):
        return [
            {"say": say, **value} if isinstance(value, dict) else {"say": say, "go": value}
            for say, value in given.items()
        ]
    if isinstance(given, list):
        return [{"say": one} if isinstance(one, str) else one for one in given]
    return given


def _answer_keys(one: dict[str, Any]) -> list[str]:
    given = one.get("answers")
    return list(given) if isinstance(given, dict) else []


def _in_file(place: YamlPath, keys: list[str]) -> YamlPath:
    """The place of an answer written in the short form."""
    if keys and len(place) > 1 and place[0] == "answers" and isinstance(place[1], int):
        return ("answers", keys[place[1]], *place[2:])
    return place


# ---- a book ---------------------------------------------------------------------------------------------------------


def usual_folders() -> list[Path]:
    from handsfree.resources import shipped_folder

    return [Path("procedures"), shipped_folder("procedures")]


def named_file(path_or_name: Path | str, folders: Sequence[Path]) -> Path:
    text = str(path_or_name)
    if isinstance(path_or_name, Path) or text.endswith(SUFFIXES):
        path = Path(path_or_name)
        if not path.is_file() and len(path.parts) == 1 and (found := find_procedure(path.stem, folders)):
            return found
        return path
    if not is_name(text):
        raise Trouble(f"'{text[:80]}' is not the name of a procedure: a name is small letters, digits and single '-'.")
    found = find_procedure(text, folders)
    if found is None:
        known = sorted({path.stem for folder in folders if folder.is_dir() for path in procedure_files(folder)})
        hint = sentences.did_you_mean(text, known) or "; list them with 'handsfree list'."
        raise Trouble(f"There is no procedure '{text}'{hint}")
    return found


def is_name(text: str) -> bool:
    return len(text) <= 60 and re.fullmatch(NAME.removesuffix("$"), text) is not None


def find_procedure(name: str, folders: Sequence[Path]) -> Path | None:
    """The file of a procedure's name in the first folder that has it; None for no such file, or what is no name."""
    if not is_name(name):
        return None
    for folder in folders:
        for suffix in SUFFIXES:
            path = folder / f"{name}{suffix}"
            if path.is_file():
                return path
    return None


def _gather(one: Loaded, home: Path, folders: Sequence[Path], loaded: dict[str, Loaded], above: tuple[str, ...]) -> None:
    name = one.procedure.procedure
    loaded[name] = one
    problems: list[Problem] = []
    for step in one.procedure.steps:
        if step.kind != "call":
            continue
        line, field = one.lines[step.id], "procedure"
        if step.procedure in (*above, name):
            chain = " -> ".join((*above, name, step.procedure))
            problems.append(Problem(one.file, line, f"step `{step.id}` calls in a circle: {chain}.", step.id, field))
            continue
        path = find_procedure(step.procedure, [home, *folders])
        if path is None:
            known = sorted({file.stem for folder in (home, *folders) if folder.is_dir() for file in procedure_files(folder)})
            hint = sentences.did_you_mean(step.procedure, known) or "."
            sentence = f"step `{step.id}` calls `{step.procedure}`, which does not exist{hint}"
            problems.append(Problem(one.file, line, sentence, step.id, field))
            continue
        if step.procedure in loaded:
            continue  # with all it calls; a circle through it would have been met then
        called = load_file(path)
        sentence = _unfit(step.id, step.procedure, one.procedure, called)
        if sentence:
            problems.append(Problem(one.file, line, sentence, step.id, field))
        else:
            _gather(called, path.parent, folders, loaded, (*above, name))
    if problems:
        raise FileProblems(problems, one.procedure.language)


def _unfit(step: str, name: str, caller: Procedure, called: Loaded) -> str:
    if called.procedure.procedure != name:
        return (
            f"step `{step}` calls `{name}`, but {called.file} says that it is `{called.procedure.procedure}`; "
            "give the file the procedure's name."
        )
    if called.procedure.language != caller.language:
        return f"step `{step}` calls `{name}`, which is in another language ('{called.procedure.language}')."
    return ""
