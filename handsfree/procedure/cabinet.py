"""What is known of one cabinet model: `procedures/cabinets/NAME.yaml`. Its keys, its parts, its leads, its plate.

Rules of this file:

- A page is read like a procedure: measured, strict, every fault in a sentence, the digest of the bytes that were read.
- A step speaks from it where it has `with_page` and the page knows every name in it; else it says its `say`.
- The plate and the manual of the cabinet in front of a person win over the page.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsfree.errors import Trouble
from handsfree.procedure import sentences
from handsfree.procedure.load import FileProblems, file_bytes, procedure_files, shown_path, usual_folders
from handsfree.procedure.model import Book, Name, Procedure, Step
from handsfree.procedure.yamlfile import Problem, Unreadable, read_yaml

FOLDER = "cabinets"
#: Refrigerants that burn; their appliances carry the flame symbol: IEC 60335-2-89 (from memory), classes A3 and A2L of
#: ISO 817 (from memory).
FLAMMABLE = frozenset({"R-290", "R-600a", "R-1270", "R-32", "R-1234yf", "R-455A", "R-454C"})
#: As a refrigerant is written: ISO 817 (from memory).
REFRIGERANT = r"^R-[0-9]{2,4}[A-Za-z]{0,3}$"
PartName = Annotated[str, Field(pattern=r"^[a-z]+( [a-z]+)*$", max_length=30)]
Text = Annotated[str, Field(min_length=1, max_length=300)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", alias_generator=lambda name: name.replace("_", "-"))


class Keys(_Frozen):
    """A sentence each: what is pressed and what is then shown."""

    show_mode: Text | None = None
    set_mode: Text | None = None
    show_setting: Text | None = None
    set_setting: Text | None = None
    show_offset: Text | None = Field(None, description="of the sensor: what the controller adds to it")
    set_offset: Text | None = None
    start_defrost: Text | None = Field(None, description="by hand, and how it shows that it begins")
    calls: Text | None = Field(None, description="how the controller shows that it calls for cooling")


class Lead(_Frozen):
    terminal: int = Field(ge=1, le=30)
    colour: Text
    source: Text = Field(alias="from")
    to: Text


class Plate(_Frozen):
    volts: float = Field(ge=90, le=500)
    hertz: float = Field(ge=40, le=70)
    amperes: float = Field(gt=0, le=100)
    refrigerant: str = Field(pattern=REFRIGERANT)
    charge_grams: float = Field(gt=0, le=20_000)
    flame_symbol: bool


class Deck(_Frozen):
    kilograms: float = Field(gt=0, le=300)
    hand_screws: int = Field(ge=0, le=40)
    out: Text = Field(description="how it comes out")


class Setting(_Frozen):
    """Degrees Fahrenheit: as the factory set it, and the range it may be in."""

    works: float
    low: float
    high: float


class Sensor(_Frozen):
    kind: Annotated[str, Field(pattern=r"^(thermistor|platinum)$")]
    table: Mapping[str, float] = Field(min_length=2, description="degrees Fahrenheit: ohms")

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        return tuple(sorted((float(at), ohms) for at, ohms in self.table.items()))


class Page(_Frozen):
    """`units`: numbers of cabinets of this model, as they stand on them."""

    cabinet: Name
    title: Text
    version: Annotated[int, Field(ge=1)] = 1
    language: Annotated[str, Field(pattern=r"^[a-z]{2}$")] = "en"
    units: tuple[str, ...] = ()
    keys: Keys = Keys()
    places: Mapping[PartName, Text] = Field(default_factory=dict, description="part: where it sits")
    leads: tuple[Lead, ...] = ()
    plate: Plate | None = None
    deck: Deck | None = None
    setting: Setting | None = None
    sensor: Sensor | None = None
    heater: bool | None = Field(None, description="whether it has a defrost heater")
    door: Text | None = None
    delivery: Text | None = None
    parts: Mapping[PartName, Text] = Field(default_factory=dict, description="part: its number")
    picture: str | None = Field(None, description="a file beside the page, for the screen")

    def words(self) -> dict[str, str]:
        """What a step may speak from it, by name: 'show-mode', 'place-sensor', 'deck-kilograms'…"""
        keys = self.keys.model_dump(by_alias=True)
        found = {name: text for name, text in keys.items() if text}
        found |= {f"place-{part.replace(' ', '-')}": text for part, text in self.places.items()}
        found |= {f"part-{part.replace(' ', '-')}": text for part, text in self.parts.items()}
        for name, value in (("door", self.door), ("delivery", self.delivery), ("deck-out", self.deck and self.deck.out)):
            found |= {name: value} if value else {}
        if self.deck is not None:
            found |= {"deck-kilograms": f"{self.deck.kilograms:g}", "hand-screws": str(self.deck.hand_screws)}
        if self.setting is not None:
            found |= {"works-setting": f"{self.setting.works:g}"}
        return found


#: Names that some page may know: `with_page` may use no other.
KNOWN = re.compile(
    r"show-mode|set-mode|show-setting|set-setting|show-offset|set-offset|start-defrost|calls|door|delivery|deck-out|deck-kilograms|hand-screws|works-setting"
    r"|(place|part)-[a-z]+(-[a-z]+)*"
)
_HOLE = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True)
class PageFile:
    page: Page
    file: str
    text: str
    digest: str


def parse(text: str, shown: str = "cabinet.yaml") -> Page:
    """FileProblems with every fault, in the order of the lines."""
    try:
        document = read_yaml(text)
    except Unreadable as error:
        raise FileProblems([Problem(shown, error.line, error.sentence)]) from None
    data = document.data
    if not isinstance(data, dict):
        raise FileProblems([Problem(shown, 1, "a cabinet's page is fields and their values; begin with 'cabinet:'.")])
    try:
        page = Page.model_validate_json(json.dumps(data))
    except ValidationError as error:
        faults = [
            Problem(shown, document.line(place), f"the page {sentence}.".replace("a procedure", "a cabinet's page"))
            for place, sentence in sentences.found(error, "")
        ]
        raise FileProblems(sorted(faults, key=lambda one: one.line)) from None
    wrong = [Problem(shown, document.line((field,)), sentence) for field, sentence in faults_of(page)]
    if wrong:
        raise FileProblems(wrong)
    return page


def faults_of(page: Page) -> Iterator[tuple[str, str]]:
    """(field, sentence) of what a schema cannot hold."""
    terminals = [lead.terminal for lead in page.leads]
    for twice in sorted({one for one in terminals if terminals.count(one) > 1}):
        yield "leads", f"terminal {twice} has two leads; give each terminal one."
    if page.plate is not None and page.plate.refrigerant in FLAMMABLE and not page.plate.flame_symbol:
        yield "plate", f"{page.plate.refrigerant} burns, so the plate carries the flame symbol; write 'flame-symbol: true'."
    if page.setting is not None and not page.setting.low < page.setting.works < page.setting.high:
        yield "setting", "the factory setting must lie between 'low' and 'high'."
    if page.sensor is not None:
        yield from _faults_of_sensor(page.sensor)


def _faults_of_sensor(sensor: Sensor) -> Iterator[tuple[str, str]]:
    try:
        ohms = [value for _, value in sensor.points]
    except ValueError:
        yield "sensor", "a row of the sensor's table is a temperature in degrees Fahrenheit and its ohms, as '32: 27300'."
        return
    falls = all(later < earlier for earlier, later in pairwise(ohms))
    rises = all(later > earlier for earlier, later in pairwise(ohms))
    if min(ohms) <= 0 or not (rises if sensor.kind == "platinum" else falls):
        way = "rises" if sensor.kind == "platinum" else "falls"
        yield "sensor", f"the resistance of a {sensor.kind} sensor {way} with the temperature; look at its table."


def load_page(path: Path) -> PageFile:
    """FileProblems where it is unreadable or wrong."""
    shown = shown_path(path)
    data = file_bytes(path, shown, "cabinet's page")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileProblems([Problem(shown, 0, "it is not UTF-8 text; save it as UTF-8.")]) from None
    page = parse(text, shown)
    if page.cabinet != path.stem:
        raise FileProblems([Problem(shown, 1, f"it says that it is `{page.cabinet}`; give the file the cabinet's name.")])
    return PageFile(page, shown, text, hashlib.sha256(data).hexdigest())


def is_page(path: Path) -> bool:
    """By its place: a file in a folder of cabinets, or the name of a page where no procedure has it."""
    return path.parent.name == FOLDER


def page_files() -> list[Path]:
    """Of the folders where procedures are looked for, the first that has a name wins."""
    found: dict[str, Path] = {}
    for place in (folder / FOLDER for folder in usual_folders()):
        for path in procedure_files(place) if place.is_dir() else []:
            found.setdefault(path.stem, path)
    return list(found.values())


def page_of(cabinet: str) -> PageFile:
    """The page of a cabinet by its model ('firnkasten-40', 'Firnkasten 40') or the number of the unit ('HK-4'); both may
    stand together. Trouble where there is none, two fit, or it is wrong; a fault in the page of another keeps nobody from
    this one."""
    files = page_files()
    named = [path for path in files if _names(path.stem, cabinet)]
    faulty: list[str] = []
    if not named:
        named = [path for path in files if any(_names(unit, cabinet) for unit in _units(path, faulty))]
    if len(named) == 1:
        return load_page(named[0])
    known = ", ".join(sorted(path.stem for path in files)) or "none"
    if named:
        both = " and ".join(path.stem for path in named)
        raise Trouble(f"'{cabinet[:60]}' matches the pages of two cabinets, {both}; name one of them.")
    unread = f" Not looked into, for there are faults in it: {', '.join(faulty)}; see: handsfree check." if faulty else ""
    raise Trouble(
        f"There is no page for the cabinet '{cabinet[:60]}' (known: {known}). Name its model, write a page in "
        f"procedures/{FOLDER}, or work by the manual with --by-manual.{unread}"
    )


def _units(path: Path, faulty: list[str]) -> tuple[str, ...]:
    """The numbers of its cabinets; () and a place in `faulty` where the page cannot be read."""
    try:
        return load_page(path).page.units
    except FileProblems:
        faulty.append(shown_path(path))
        return ()


def _names(name: str, text: str) -> bool:
    """Whether the text has the name in it, as whole words, whatever signs stand between them."""
    wanted, given = _plain(name), _plain(text)
    return f" {wanted} " in f" {given} "


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9]+", text.lower()))


# ---- steps speak from it --------------------------------------------------------------------------------------------


def names_in(template: str) -> tuple[str, ...]:
    return tuple(_HOLE.findall(template))


def filled(template: str, words: Mapping[str, str]) -> str | None:
    """None where a name in it is not known."""
    if any(name not in words for name in names_in(template)):
        return None
    return _HOLE.sub(lambda hole: words[hole.group(1)], template)


def spoken_from(book: Book, page: Page) -> Book:
    """The same procedures, with the page's words where a step has `with_page` and the page knows them all."""
    words = page.words()
    procedures = {
        name: one if one.language != page.language else _procedure(one, words) for name, one in book.procedures.items()
    }
    return replace(book, procedures=procedures)


def _procedure(procedure: Procedure, words: Mapping[str, str]) -> Procedure:
    return procedure.model_copy(update={"steps": tuple(_step(step, words) for step in procedure.steps)})


def _step(step: Step, words: Mapping[str, str]) -> Step:
    text = filled(step.with_page, words) if step.with_page is not None else None
    return step if text is None else step.model_copy(update={"say": text})


def unknown_names(book: Book, name: str) -> Iterator[tuple[str, str]]:
    """(step, name) of what no page can know."""
    for step in book.procedures[name].steps:
        for hole in names_in(step.with_page or ""):
            if not KNOWN.fullmatch(hole):
                yield step.id, hole


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a page, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Page.model_json_schema(by_alias=True)}
