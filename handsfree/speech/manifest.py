"""The manifest of clips that recognition is measured on: JSON Lines, paths relative to it; `Clip` says what a line holds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from handsfree.errors import Trouble
from handsfree.language.meaning import GateAsked, Listening, Meaning, NumberAsked, Sense


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class NumberLine(_Strict):
    unit: str = ""
    low: float = -1e9
    high: float = 1e9


class GateLine(_Strict):
    lock: Annotated[tuple[str, ...], Field(min_length=1, max_length=8)]
    word: str = "isolated"


class ManifestListening(_Strict):
    """`commands`: true for all that always work, or the names of some. `proof`: an answer or a reading may prove that the
    works are dead."""

    phrases: tuple[str, ...] = ()
    number: NumberLine | None = None
    gate: GateLine | None = None
    commands: bool | tuple[str, ...] = False
    proof: bool = False

    def listening(self) -> Listening:
        commands = None if self.commands is True else self.commands or ()
        return Listening(
            phrases=self.phrases,
            number=NumberAsked(self.number.unit, self.number.low, self.number.high) if self.number else None,
            gate=GateAsked(self.gate.word, self.gate.lock) if self.gate else None,
            commands=commands,
            proof=self.proof,
        )


class Expect(_Strict):
    phrase: str | None = None
    number: float | None = None
    gate: bool | None = None
    command: str | None = None

    @model_validator(mode="after")
    def _one(self) -> Expect:
        if sum(value is not None for value in (self.phrase, self.number, self.gate, self.command)) != 1:
            raise ValueError("expect says one of phrase, number, gate and command, or is null")
        return self

    def met_by(self, meaning: Meaning, unit: str = "") -> bool:
        """`unit`: the one asked for; the same figure in another is another reading."""
        if self.phrase is not None:
            return meaning.sense is Sense.PHRASE and meaning.text == self.phrase
        if self.command is not None:
            return meaning.sense is Sense.COMMAND and meaning.text == self.command
        if self.number is not None:
            same = meaning.value is not None and abs(meaning.value - self.number) < 1e-6
            return meaning.sense is Sense.NUMBER and same and meaning.unit in (None, "", unit)
        return bool(self.gate) and meaning.sense is Sense.GATE


class Clip(BaseModel):
    """One line. Tags of any kind; reports are by `snr` and `kind`. `harmless`: what may be accepted although nothing was
    expected, because it can only keep the works live. `again`: further clips of the same person repeating it after the
    first was not accepted, in order; `audio` may also be the list of all of them."""

    model_config = ConfigDict(extra="ignore", frozen=True)
    audio: Annotated[str, Field(min_length=1)]
    again: tuple[Annotated[str, Field(min_length=1)], ...] = ()
    listen_for: ManifestListening
    expect: Expect | None
    harmless: tuple[str, ...] = ()
    tags: dict[str, Any] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _several(cls, line: Any) -> Any:
        """A list of clips: the first, and the same said again."""
        if not isinstance(line, dict) or not isinstance(line.get("audio"), list | tuple):
            return line
        if not line["audio"]:
            raise ValueError("audio names no clip; give the path of one, or a list of them")
        first, *again = line["audio"]
        return {**line, "audio": first, "again": (*again, *line.get("again", ()))}

    @property
    def sayings(self) -> tuple[str, ...]:
        """Every clip of the line, the first one first."""
        return (self.audio, *self.again)

    @property
    def unit(self) -> str:
        return self.listen_for.number.unit if self.listen_for.number is not None else ""

    @property
    def kind(self) -> str:
        if "kind" in self.tags:
            return str(self.tags["kind"])
        if self.expect is None:
            return "near miss" if self.listen_for.gate else "unrelated"
        named = {"phrase": "choice", "command": "command", "number": "reading", "gate": "gate"}
        return next(kind for name, kind in named.items() if getattr(self.expect, name) is not None)

    @property
    def snr(self) -> str:
        level = self.tags.get("snr", "clean")
        return f"{level:g}" if isinstance(level, int | float) else str(level)


def read_manifest(path: Path) -> list[Clip]:
    """Trouble naming file and line for a bad line; Trouble if there is none."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise Trouble(
            f"The manifest {path} cannot be read ({type(error).__name__}); give the path of a JSON Lines file."
        ) from None
    clips = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            clips.append(Clip.model_validate_json(line))
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"]) or "the line"
            raise Trouble(f"{path} line {number}: {where}: {first['msg'].removeprefix('Value error, ')}.") from None
    if not clips:
        raise Trouble(f"The manifest {path} has no clips in it.")
    return clips
