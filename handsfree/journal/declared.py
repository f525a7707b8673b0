"""What the procedures of a visit declare, read from the copies that its record has of them.

Nothing here knows the model of a procedure: a record may have copies of one that only an earlier program could read. What
cannot be read declares nothing.
"""

from __future__ import annotations

from functools import lru_cache

import yaml

#: Letters of a copy and of a part's name; no honest procedure comes near.
LONGEST_COPY, LONGEST_PART = 1_000_000, 80


@lru_cache(maxsize=64)
def parts_in(text: str) -> dict[str, str]:
    """The steps of a procedure's text that put in a new part, and its name."""
    if "part:" not in text or len(text) > LONGEST_COPY:
        return {}
    try:
        found = yaml.load(text, getattr(yaml, "CSafeLoader", yaml.SafeLoader))  # both are safe loaders
        steps = found["steps"]
        return {
            step["id"]: step["part"][:LONGEST_PART]
            for step in steps
            if isinstance(step, dict) and isinstance(step.get("id"), str) and isinstance(step.get("part"), str)
        }
    except (yaml.YAMLError, KeyError, TypeError, ValueError, RecursionError):
        return {}
