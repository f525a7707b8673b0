"""The fault model: what can be wrong, how common it is, and what each check would show. Loading and refusing."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal, get_args

from handsfree.errors import Trouble

COMPLAINT = "complaint"
Needs = Literal["power", "isolation", "either"]
LARGEST_FILE = 1_000_000  # bytes: a fault model is a page or two, so anything larger is something else


@dataclass(frozen=True)
class Fault:
    """A fault: its id, how a sentence calls it, and its prior probability."""

    id: str
    says: str
    prior: float


@dataclass(frozen=True)
class Check:
    """A check: what it asks, its cost, and P(answer | fault) as `rows[fault][answer]`, in the model's orders."""

    id: str
    asks: str
    minutes: float
    needs: Needs
    answers: tuple[str, ...]
    rows: tuple[tuple[float, ...], ...]

    def column(self, answer: str) -> tuple[float, ...]:
        """P(answer | fault) for every fault. Raises Trouble for an answer that the check does not have."""
        if answer not in self.answers:
            raise Trouble(f"The check {self.id!r} has no answer {answer!r}: it has {', '.join(self.answers)}.")
        index = self.answers.index(answer)
        return tuple(row[index] for row in self.rows)


@dataclass(frozen=True)
class FaultModel:
    """A whole fault model. `checks` holds every check by id; the complaint is kept apart, since it costs nothing."""

    faults: tuple[Fault, ...]
    complaint: Check
    checks: Mapping[str, Check]
    isolate_minutes: float
    restore_minutes: float
    wrong_minutes: float

    def find(self, check: str) -> Check:
        """The check of this id, or the complaint. Raises Trouble for another name."""
        if check == COMPLAINT:
            return self.complaint
        if check not in self.checks:
            raise Trouble(f"The fault model has no check {check!r}: see the checks in its file.")
        return self.checks[check]

    def fault(self, name: str) -> Fault:
        """The fault of this id. Raises Trouble for another name."""
        for fault in self.faults:
            if fault.id == name:
                return fault
        raise Trouble(f"The fault model has no fault {name!r}: see the faults in its file.")


@lru_cache(maxsize=1)
def shipped() -> FaultModel:
    """The model that ships with the package."""
    return parse(_text(), "faults.yaml")


@lru_cache(maxsize=1)
def digest() -> str:
    """SHA-256 (FIPS 180-4) of the model that ships."""
    return hashlib.sha256(_text().encode()).hexdigest()


def _text() -> str:
    return resources.files("handsfree.trade").joinpath("faults.yaml").read_text(encoding="utf-8")


def load(path: Path) -> FaultModel:
    """Read a fault model from a file. Raises Trouble for a file that is absent, too large or not a model."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise Trouble(f"The fault model {path.name} is larger than a megabyte: this is not a fault model.")
        return parse(path.read_text(encoding="utf-8"), path.name)
    except (OSError, UnicodeDecodeError) as error:
        raise Trouble(f"The fault model {path} cannot be read: check its name and that it is a text file.") from error


def parse(text: str, name: str = "the fault model") -> FaultModel:
    """Read a fault model from YAML text. Raises Trouble that names the entry at fault."""
    import yaml

    from handsfree import plain_yaml

    try:
        # Aliases are refused outright: a model needs none, and a few lines of them can fill a memory.
        if any(isinstance(event, yaml.AliasEvent) for event in yaml.parse(text, Loader=plain_yaml.Loader)):
            raise Trouble(f"{name} uses YAML aliases, which are not allowed here: write the entry out.")
        data = plain_yaml.load(text)
    except yaml.YAMLError as error:
        line = getattr(getattr(error, "problem_mark", None), "line", 0) + 1
        raise Trouble(f"{name} line {line} is not YAML: check the indents and the brackets there.") from error
    return _model(_table(data, name), name)


def _model(data: Mapping[str, Any], name: str) -> FaultModel:
    faults = _faults(_table(data.get("faults"), f"{name}, faults"), name)
    ids = tuple(fault.id for fault in faults)
    slip = _number(data.get("slip", 0.02), f"{name}, slip")
    if not 0 < slip < 0.5:
        raise Trouble(f"In {name} the slip must lie between 0 and 0.5, so that one mistake never decides.")
    complaints = _names(data.get("complaints"), f"{name}, complaints")
    shares = {key: _table(entry["complaints"], key) for key, entry in data["faults"].items()}
    heard = Check(
        COMPLAINT, "What is the complaint?", 0.0, "either", complaints,
        tuple(_row(shares[fault], complaints, slip, f"{name}, complaints of {fault}") for fault in ids),
    )  # fmt: skip
    checks = {
        key: _check(key, _table(entry, f"{name}, check {key}"), ids, slip, name)
        for key, entry in _table(data.get("checks"), f"{name}, checks").items()
    }
    costs = [_number(data.get(key), f"{name}, {key}") for key in ("isolate_minutes", "restore_minutes", "wrong_minutes")]
    if min(costs) < 0:
        raise Trouble(f"In {name} the minutes to isolate, to restore and for a wrong repair must not be negative.")
    return FaultModel(faults, heard, checks, *costs)


def _faults(entries: Mapping[str, Any], name: str) -> tuple[Fault, ...]:
    weights = {}
    for key, entry in entries.items():
        where = f"{name}, fault {key}"
        table = _table(entry, where)
        if not isinstance(table.get("says"), str) or "complaints" not in table:
            raise Trouble(f"In {where} there must be 'says', 'weight' and 'complaints'.")
        weights[key] = _number(table.get("weight"), where)
        if weights[key] <= 0:
            raise Trouble(f"In {where} the weight must be above zero.")
    total = sum(weights.values())
    return tuple(Fault(key, entries[key]["says"], weight / total) for key, weight in weights.items())


def _check(key: str, entry: Mapping[str, Any], faults: tuple[str, ...], slip: float, name: str) -> Check:
    where = f"{name}, check {key}"
    usual, under = _table(entry.get("usual"), f"{where}, usual"), _table(entry.get("under", {}), f"{where}, under")
    answers = _names(entry.get("answers", list(usual)), f"{where}, answers")
    strangers = sorted(set(under) - set(faults))
    if strangers:
        raise Trouble(f"In {where} there is a fault {strangers[0]!r}, which the model does not have.")
    minutes = _number(entry.get("minutes"), f"{where}, minutes")
    if minutes <= 0 or entry.get("needs") not in get_args(Needs) or not isinstance(entry.get("asks"), str):
        raise Trouble(f"In {where} there must be 'asks', minutes above zero, and needs: power, isolation or either.")
    rows = tuple(_row(_table(under.get(f, usual), where), answers, slip, f"{where}, {f}") for f in faults)
    return Check(key, entry["asks"], minutes, entry["needs"], answers, rows)


def _row(shares: Mapping[str, Any], answers: tuple[str, ...], slip: float, where: str) -> tuple[float, ...]:
    strangers = sorted(set(shares) - set(answers))
    if strangers:
        raise Trouble(f"In {where} there is an answer {strangers[0]!r}, which is not one of {', '.join(answers)}.")
    weights = [_number(shares.get(answer, 0), where) for answer in answers]
    total = sum(weights)
    if total <= 0 or min(weights) < 0:
        raise Trouble(f"In {where} the shares must not be negative, and one must be above zero.")
    return tuple((1 - slip) * weight / total + slip / len(answers) for weight in weights)


def _table(value: Any, where: str) -> Mapping[str, Any]:
    if not isinstance(value, dict) or not all(isinstance(key, str) for key in value):
        raise Trouble(f"In {where} there must be named entries (write a name like off or no in quotes).")
    return value


def _names(value: Any, where: str) -> tuple[str, ...]:
    if not isinstance(value, list) or len(set(map(str, value))) < 2 or not all(isinstance(v, str) for v in value):
        raise Trouble(f"In {where} there must be a list of at least two different names.")
    return tuple(value)


def _number(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise Trouble(f"In {where} a number is missing or is not one.")
    return float(value)
