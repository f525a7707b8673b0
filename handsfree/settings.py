"""Settings: from a file, from the environment, from flags. Each overrides the one before.

The file is TOML, `settings.toml` in the user's configuration folder (platformdirs) or where HANDSFREE_SETTINGS says. A
variable is HANDSFREE_ and the name in capitals. `origins` says where each value came from.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, Literal

from platformdirs import user_config_path, user_data_path
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from handsfree.errors import Trouble
from handsfree.speech import engines

PREFIX = "HANDSFREE_"


class Settings(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    visits: Path = Field(Path("visits"), description="folder that visits are kept in")
    models: Path = Field(user_data_path("handsfree") / "models", description="folder of installed recognition models")
    technician: str = Field("", description="who works")
    technicians: str = Field("", max_length=1000, description="who may come besides, by name, with commas between")
    site: str = Field("", description="where")
    cabinet: str = Field("", description="on which cabinet")
    language: str = Field("en", pattern="^[a-z]{2}$", description="language of the program")
    engine: str = Field("", description="recogniser; the best at hand when empty")
    sound_in: str = Field("", description="microphone: a device's name or number; the usual one when empty")
    sound_out: str = Field("", description="loudspeaker: a device's name or number; the usual one when empty")
    headset: bool = Field(False, description="the microphone does not hear the loudspeaker: listen while speaking")
    voice: str = Field("", description="voice of the synthesiser; the language's own when empty")
    words_a_minute: int = Field(150, ge=80, le=300, description="speaking rate")
    form: Literal["", "full", "usual", "short"] = Field(
        "", description="how much is said; as the person last asked for when empty"
    )
    emergency_call: str = Field("", max_length=60, description="whom to call in an emergency, as it is said: '1 1 2'")
    send_to: str = Field("", description="address of the desk that visits are sent to; nothing is sent while it is empty")
    send_key: Path | None = Field(None, description="file with the key that the desk gave this device")
    outbox: Path = Field(user_data_path("handsfree") / "outbox.sqlite3", description="what is still to be sent")
    keep_all_sound: bool = Field(False, description="keep also sound that was not accepted; bystanders are recorded then")

    @field_validator("engine")
    @classmethod
    def _an_engine(cls, name: str) -> str:
        if name and name not in engines.SETS:
            raise ValueError(f"there is no engine '{name}'; use one of {', '.join(engines.SETS)}")
        return name

    @property
    def who_may_come(self) -> tuple[str, ...]:
        return tuple(filter(None, (name.strip() for name in self.technicians.split(","))))


def _origin(name: str, layers: list[tuple[str, dict[str, Any]]], otherwise: str) -> str:
    return next((where for where, values in reversed(layers) if name in values), otherwise)


def settings_file() -> Path:
    named = os.environ.get(f"{PREFIX}SETTINGS")
    return Path(named) if named else user_config_path("handsfree") / "settings.toml"


def load_settings(**flags: Any) -> Settings:
    """Flags that are None do not count. Trouble where the file or a variable holds what cannot be."""
    return _checked(_layers(flags))


def origins(**flags: Any) -> list[tuple[str, str, str, str]]:
    """(name, value, where it came from, what it is) of each setting."""
    layers = _layers(flags)
    settings = _checked(layers)
    values = {name: getattr(settings, name) for name in Settings.model_fields}
    return [
        (name, "" if values[name] is None else str(values[name]), _origin(name, layers, "built in"), field.description or "")
        for name, field in Settings.model_fields.items()
    ]


def _layers(flags: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """(where from, values), the weakest first."""
    variables = {
        name: os.environ[PREFIX + name.upper()] for name in Settings.model_fields if PREFIX + name.upper() in os.environ
    }
    given = {name: value for name, value in flags.items() if value is not None}
    return [(str(settings_file()), _from_file(settings_file())), ("environment", variables), ("flag", given)]


def _from_file(path: Path) -> dict[str, Any]:
    import tomllib

    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Trouble(f"The settings file {path} cannot be read: {error}; fix it or remove it.") from None


def _checked(layers: list[tuple[str, dict[str, Any]]]) -> Settings:
    merged: dict[str, Any] = {}
    for _, values in layers:
        merged |= values
    try:
        return Settings(**merged)
    except ValidationError as error:
        first = error.errors()[0]
        name = str(first["loc"][0])
        origin = _origin(name, layers, "a flag")
        why = first["msg"].removeprefix("Value error, ")
        raise Trouble(f"Setting '{name}' from {origin} is not valid: {why}. See 'handsfree settings'.") from None


def show() -> None:
    """Every setting, its value and where that came from, printed."""
    for name, value, origin, what in origins():
        print(f"{name} = {value!s}    ({origin}; {what})")
    print(f"To set one: a line such as words_a_minute = 130 in {settings_file()}, or {PREFIX}WORDS_A_MINUTE=130.")
