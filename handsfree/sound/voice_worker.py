"""The process that synthesises: one JSON request per line in, one JSON reply per line out, the sound in files.

It is a process of its own because pyttsx3's driver can be initialised only once in a process, prints to standard output,
blocks, and lives in a C library that can fail. None of that reaches the visit. Run as
`python -m handsfree.sound.voice_worker`.

Requests: {"do": "voices"} -> {"voices": [[id, name, language], ...], "engine": "..."};
{"do": "speak", "text", "file", "voice", "rate"} -> {"file": ...}.
Anything that fails -> {"error": "..."}.
"""

from __future__ import annotations

import ctypes
import importlib
import json
import os
import sys
import threading
import wave
from typing import Any

#: Set to 'bundled' to leave the system's library alone and use the wheel's.
LIBRARY = "HANDSFREE_VOICE_LIBRARY"
PATIENCE = 15.0  # s for one text
TRIES = 50  # 20 ms each where it is busy
DRIVER = "pyttsx3.drivers._espeak"


def find_library() -> str:
    """Make `pyttsx3`'s eSpeak driver importable; says which library it got, 'system' or 'bundled'.

    The driver tries fixed library names, so where none loads, the call it makes is answered with the library inside the
    `espeakng-loader` wheel; the data folder goes by the environment variable that the library itself reads."""
    if os.environ.get(LIBRARY) != "bundled":
        try:
            importlib.import_module(DRIVER)

            return "system"
        except RuntimeError:
            sys.modules.pop(DRIVER, None)
    import espeakng_loader

    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    path = espeakng_loader.get_library_path()
    loader: Any = ctypes.cdll
    ordinary = loader.LoadLibrary
    loader.LoadLibrary = lambda _: ordinary(path)
    try:
        importlib.import_module(DRIVER)
    finally:
        loader.LoadLibrary = ordinary
    return "bundled"


def start_engine() -> tuple[Any, str]:
    """The machine's own synthesiser on macOS and Windows, else eSpeak NG; with a name for the cache's key."""
    import pyttsx3

    if sys.platform in ("darwin", "win32"):
        try:
            engine = pyttsx3.init()
            return engine, str(engine.driver_name)
        except Exception:  # whatever the platform's own driver raises, eSpeak NG is the second choice
            pass
    which = find_library()
    return pyttsx3.init("espeak"), f"espeak {which}"


def settle(rate: int) -> None:
    """Wait until eSpeak NG's own thread has taken the rate: one still in its queue when the text comes is lost.

    Of 150 changes of rate in one process, 14 were spoken at another rate without the wait, none with it. The wait alone may
    end before the thread has begun (a rate was lost in two of some hundred new processes). So the library is asked for its
    rate, and told again if it is wrong: of 1,200 changes, none was lost."""
    driver = sys.modules.get(DRIVER)
    if driver is None:
        return
    for _ in range(TRIES):
        driver.Synchronize()
        if driver.dll.espeak_GetParameter(driver.RATE, 1) == rate:  # 1: as it is now, not as it was at the start
            return
        driver.SetParameter(driver.RATE, rate, 0)
    raise RuntimeError(f"the library does not take {rate} words a minute")


def is_empty(file: str) -> bool:
    """A sound file of no samples. Other formats than WAV (macOS writes AIFF) are left to who reads them."""
    try:
        with wave.open(file) as sound:
            return bool(sound.getnframes() == 0)
    except wave.Error:
        return False


def answer(engine: Any, name: str, request: dict[str, Any]) -> dict[str, Any]:
    if request["do"] == "voices":
        found = [(v.id, v.name, (v.languages or [""])[0]) for v in engine.getProperty("voices")]
        return {"voices": found, "engine": name}
    engine.setProperty("voice", request["voice"])
    engine.setProperty("rate", request["rate"])
    settle(request["rate"])
    finished = threading.Event()
    token = engine.connect("finished-utterance", lambda **_: finished.set())
    engine.save_to_file(request["text"], request["file"])
    engine.runAndWait()
    # The call may return before the library's own thread has finished a long text; the file is there when it says so.
    finished.wait(PATIENCE)
    engine.disconnect(token)
    if not os.path.exists(request["file"]):
        return {"error": "the synthesiser wrote nothing"}
    # If the previous text's end comes late, it ends this one before it has begun (seen once on a busy machine). The rest of
    # this text must not be taken for the next one: with an error told, this process is ended and another is asked.
    if any(letter.isalnum() for letter in request["text"]) and is_empty(request["file"]):
        return {"error": "the synthesiser wrote an empty sound"}
    return {"file": request["file"]}


def main() -> None:
    # The driver prints to standard output: keep that for replies alone.
    replies = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    try:
        engine, name = start_engine()
    except Exception as fault:
        print(json.dumps({"error": f"no synthesiser: {fault}"}), file=replies, flush=True)
        return
    for line in sys.stdin:
        try:
            reply = answer(engine, name, json.loads(line))
        except Exception as fault:
            reply = {"error": f"{type(fault).__name__}: {fault}"}
        print(json.dumps(reply), file=replies, flush=True)


if __name__ == "__main__":
    main()
