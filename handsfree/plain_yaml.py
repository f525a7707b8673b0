"""PyYAML by libyaml, some ten times as quick as by Python; by Python where the package came without it."""

from __future__ import annotations

from typing import Any

import yaml

#: Of plain values: no tag makes an object.
Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def load(text: str) -> Any:
    """One document as plain values. yaml.YAMLError where it is none."""
    return yaml.load(text, Loader=Loader)
