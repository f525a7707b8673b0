"""Names that may not be what they look like: another name that looks the same has another history.

A name is odd if it has what nobody sees or types: characters that another form of Unicode replaces (NFKC, UAX 15), spaces at
its ends or two together, invisible ones; or letters of two alphabets in one word, or a word all of whose letters look Latin
and are not (UTS 39 calls these confusable; the letters here are a few of its table, from memory). Good typography is not
odd: 'Zürich–Basel', 'Murphy’s', '9 ½'. Only a dash between a letter and a digit is: there a code has its hyphen.
"""

from __future__ import annotations

import re
import unicodedata

_ALIKE = frozenset("АВЕЅЗІЈКМНОРСТУХаеорсухіјѕԁһԛԝΑΒΕΖΗΙΚΜΝΟΡΤΥΧο")
_ALPHABETS = ("LATIN", "CYRILLIC", "GREEK", "ARMENIAN", "CHEROKEE")
_HYPHENS = frozenset("\u2010\u2011\u2012\u2015\u2212")
_IN_A_CODE = re.compile("[^\\W\\d_][\u2013\u2014]\\d|\\d[\u2013\u2014][^\\W\\d_]")
#: What NFKC would replace, and real names have: 'Nº 4', '9 ½', '40 m²'. Taken out, and looked at no further.
_TYPOGRAPHIC = dict.fromkeys(map(ord, "ºª½¼¾²³…™№´"))


def odd(name: str) -> str:
    """What is odd about it, as part of a sentence; '' for nothing."""
    if name != " ".join(name.split()):
        return "it has spaces that nobody sees"
    typed = name.translate(_TYPOGRAPHIC)
    unseen = any(not c.isprintable() or c in _HYPHENS for c in name) or _IN_A_CODE.search(name) is not None
    if unseen or unicodedata.normalize("NFKC", typed) != typed:
        return "it has signs other than those that people type"
    for word in re.findall(r"[^\W\d_]+", name):
        alphabets = {each for c in word for each in _ALPHABETS if unicodedata.name(c, "").startswith(each)}
        if len(alphabets) > 1:
            return "one word of it has letters of two alphabets"
        if _ALIKE.issuperset(word):
            return "it has letters that look Latin and are not"
    return ""
