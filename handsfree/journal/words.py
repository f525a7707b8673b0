"""Four words for the head of a record, to be said, and written down where the device cannot reach: on a job sheet, in a
message, by a listener.

Rules of this file:

- The words are of the hash of the seal's line, made slow by scrypt (RFC 7914): 32 bits alone could be searched in an
  hour to find another record with the same words; at about 0.05 s per try it takes some seven years of one core.
- 256 plain English words, chosen to sound unlike each other (common practice, no source: not measured). Their order is part
  of the form and never changes.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache

#: scrypt's cost: 16 MiB, about 0.05 s.
_COST = {"n": 2**14, "r": 8, "p": 1}

_LIST = """
acorn almond amber anchor apple apron arrow autumn badge bagpipe baker balcony bamboo banjo barrel basket beacon
beaver bicycle biscuit blanket blossom bonfire bottle bramble bridge bronze bubble bucket bugle butter button cabbage
camel candle canyon caravan carpet castle cedar chapel cherry chimney cinnamon circus clover cobweb coffee comet
compass copper coral cottage cradle cricket crocus crystal cupboard curtain cushion daisy dancer desert diamond
dolphin donkey dragon drummer eagle easel elbow ember engine evening falcon farmer feather fiddle finger flannel flute
forest fountain foxglove garden garlic ginger giraffe glacier golden gondola granite grape guitar hammer hammock
harbour harvest hazel hedgehog helmet heron honey horizon igloo insect island ivory jacket jaguar jasmine jungle
juniper kennel kettle kingdom kitten ladder lagoon lantern lavender leather lemon leopard lettuce library lilac linen
lizard lobster locket magnet maple marble market meadow melody mermaid meteor mirror mitten monkey monsoon mosaic
mountain museum mustard napkin needle nettle north oatmeal ocean olive onion orange orchard organ ostrich otter oyster
paddle palace panda pancake parade parrot pasture peacock pebble pencil penguin pepper piano picnic pigeon pilot
pillow pirate planet plaster pocket pony poppy potato prairie pumpkin puppet purple puzzle quarry quartz quilt rabbit
radish raisin ranger raven reindeer ribbon river robin rocket saddle saffron salmon satchel saucer scarlet seagull
shadow shepherd silver skylark sparrow spider sponge spruce squirrel stable sunset table tailor teapot temple thimble
thistle thunder tiger timber toffee tomato tractor trumpet tulip tundra turnip turtle umbrella valley vanilla velvet
village violin volcano waffle wagon walnut walrus water whistle willow window winter wizard zebra
"""
WORDS = tuple(_LIST.split())


@lru_cache(maxsize=256)
def words_of(head: str) -> str:
    """'amber kettle river wizard' for a hash of 64 hexadecimal digits; '' for none."""
    if not head:
        return ""
    made = hashlib.scrypt(bytes.fromhex(head), salt=b"handsfree head in words", dklen=4, **_COST)
    return " ".join(WORDS[byte] for byte in made)


def as_words(text: str) -> str:
    """What a person typed, in the form of `words_of`. ValueError if it is not four words of the list."""
    found = text.replace(",", " ").lower().split()
    if len(found) != 4 or any(word not in WORDS for word in found):
        raise ValueError("a head in words is four words as the program said them at the end of the visit")
    return " ".join(found)
