"""The sentences the program speaks, from grammar/<language>.prompts.yaml.

Rules of this file:

- A prompt is one sentence or more under a key, with {places} to fill in. `say` has keys of its own for the machine.
- A place is a bare name: no attributes, indices or formats, so that a value can only be put in.
- An unknown key or a missing value is a KeyError, never a sentence with a hole in it.
"""

from __future__ import annotations

import string
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from handsfree.errors import Trouble

_MOST_BYTES = 200_000


@dataclass(frozen=True)
class Prompts:
    file: str
    sentences: Mapping[str, str]

    def prompt(self, key: str, **values: object) -> str:
        """KeyError for a key that is not there and for a place without a value."""
        if key not in self.sentences:
            raise KeyError(f"{self.file} has no prompt '{key}'")
        missing = places(self.sentences[key]) - set(values)
        if missing:
            raise KeyError(f"prompt '{key}' of {self.file} lacks a value for {', '.join(sorted(missing))}")
        return self.sentences[key].format(**{name: str(value) for name, value in values.items()})


@lru_cache(maxsize=4096)
def places(sentence: str) -> frozenset[str]:
    """The names between braces. ValueError where braces do not match or hold more than a name."""
    names: set[str] = set()
    for _, name, form, conversion in string.Formatter().parse(sentence):
        if name is None:
            continue
        if not name.isidentifier() or form or conversion:
            raise ValueError(f"{{{name}}} must be a plain name")
        names.add(name)
    return frozenset(names)


def load(path: Path) -> Prompts:
    """Trouble, naming the file and the key, for a file that cannot be read, is not a flat mapping of names to sentences,
    gives a key twice, or has a bad place."""
    import yaml

    from handsfree import plain_yaml

    try:
        if path.stat().st_size > _MOST_BYTES:
            raise Trouble(f"{path.name} is larger than a file of prompts may be ({_MOST_BYTES} bytes).")
        node = yaml.compose(path.read_text(encoding="utf-8"), Loader=plain_yaml.Loader)
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as error:
        raise Trouble(f"The prompts {path.name} cannot be read: {error}.") from error
    if not isinstance(node, yaml.MappingNode):
        raise Trouble(f"{path.name} must be a mapping of prompt names to sentences.")
    sentences: dict[str, str] = {}
    for key, value in node.value:
        where = f"{path.name} line {key.start_mark.line + 1}"
        if not (isinstance(key, yaml.ScalarNode) and isinstance(value, yaml.ScalarNode) and value.value.strip()):
            raise Trouble(f"{where}: a prompt is a name, a colon and a sentence.")
        if key.value in sentences:
            raise Trouble(f"{where}: the prompt '{key.value}' is given twice.")
        try:
            places(value.value)
        except ValueError as error:
            raise Trouble(f"{where}: the prompt '{key.value}' has a bad place: {error}.") from error
        sentences[key.value] = " ".join(value.value.split())
    return Prompts(path.name, sentences)
