"""The module that makes voices and noises, for tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

FIXTURES = Path(__file__).resolve().parents[2] / "audio_fixtures"


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"audio_fixtures_{name}", FIXTURES / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


voices = _load("voices")
