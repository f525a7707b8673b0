"""Pronunciations from eSpeak NG (through the espeakng-loader wheel), as ARPAbet.

Rules of this file:

- One library handle a process, behind a lock: eSpeak NG keeps its state in globals.
- No sound is made here. If the library cannot be loaded, the result is None and the caller falls back to letters.
"""

from __future__ import annotations

import ctypes
import threading
from functools import cache

_LOCK = threading.Lock()
_SYNCHRONOUS = 2  # AUDIO_OUTPUT_SYNCHRONOUS of speak_lib.h
_NO_EXIT = 0x8000  # espeakINITIALIZE_DONT_EXIT
_UTF8, _IPA = 1, 2

#: IPA as eSpeak NG writes it for en-us -> ARPAbet, longest first. IPA letters by the International Phonetic Association's
#: chart, ARPAbet by the CMU dictionary's list of phonemes (from memory).
_ARPABET: tuple[tuple[str, str], ...] = (
    ("aɪɚ", "AY ER"), ("aʊɚ", "AW ER"), ("oːɹ", "AO R"), ("ɔːɹ", "AO R"), ("ɑːɹ", "AA R"), ("ɛɹ", "EH R"), ("ɪɹ", "IH R"),
    ("ʊɹ", "UH R"), ("tʃ", "CH"), ("dʒ", "JH"), ("aɪ", "AY"), ("aʊ", "AW"), ("eɪ", "EY"), ("oʊ", "OW"), ("ɔɪ", "OY"),
    ("əl", "AH L"), ("iə", "IY AH"), ("ɜː", "ER"), ("ɑː", "AA"), ("ɔː", "AO"), ("iː", "IY"), ("uː", "UW"), ("oː", "AO"),
    ("ɚ", "ER"), ("ɝ", "ER"), ("ɐ", "AH"), ("ə", "AH"), ("ʌ", "AH"), ("æ", "AE"), ("a", "AE"), ("ɑ", "AA"), ("ɔ", "AO"),
    ("ɛ", "EH"), ("e", "EH"), ("ɪ", "IH"), ("ᵻ", "IH"), ("i", "IY"), ("o", "OW"), ("ʊ", "UH"), ("u", "UW"), ("b", "B"),
    ("d", "D"), ("ð", "DH"), ("f", "F"), ("ɡ", "G"), ("g", "G"), ("h", "HH"), ("j", "Y"), ("k", "K"), ("x", "K"), ("l", "L"),
    ("m", "M"), ("n", "N"), ("ŋ", "NG"), ("p", "P"), ("ɹ", "R"), ("r", "R"), ("s", "S"), ("ʃ", "SH"), ("t", "T"), ("ɾ", "T"),
    ("θ", "TH"), ("v", "V"), ("w", "W"), ("z", "Z"), ("ʒ", "ZH"), ("ʔ", "T"),
)


def arpabet(ipa: str) -> tuple[str, ...]:
    """'kˈɪlɒs' -> phonemes; stress, length and letters that are not in the table are skipped."""
    found: list[str] = []
    at = 0
    text = ipa.replace("ˈ", "").replace("ˌ", "").replace("ɒ", "ɑː")
    while at < len(text):
        for sign, phonemes in _ARPABET:
            if text.startswith(sign, at):
                found += phonemes.split()
                at += len(sign)
                break
        else:
            at += 1
    return tuple(found)


@cache
def _library() -> ctypes.CDLL | None:
    try:
        import espeakng_loader

        library = ctypes.CDLL(espeakng_loader.get_library_path())
        folder = str(espeakng_loader.get_data_path()).encode()
    except (ImportError, OSError):
        return None
    library.espeak_TextToPhonemes.restype = ctypes.c_char_p
    library.espeak_TextToPhonemes.argtypes = [ctypes.POINTER(ctypes.c_char_p), ctypes.c_int, ctypes.c_int]
    if library.espeak_Initialize(_SYNCHRONOUS, 0, folder, _NO_EXIT) < 0 or library.espeak_SetVoiceByName(b"en-us") != 0:
        return None
    return library


@cache
def ipa(word: str) -> str | None:
    """eSpeak NG's IPA for one word in US English; None where it cannot be loaded."""
    with _LOCK:
        library = _library()
        if library is None:
            return None
        text = ctypes.c_char_p(word.encode())
        said: bytes | None = library.espeak_TextToPhonemes(ctypes.byref(text), _UTF8, _IPA)
        return said.decode(errors="ignore") if said else None
