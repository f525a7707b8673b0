"""A desk's word on its head ledger, and the proof that a visit's head is in it: for somebody who has neither of them."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from handsfree.journal import ledger
from handsfree.journal.canonical import canonical, entry_in
from handsfree.journal.keys import signed_by


@dataclass(frozen=True)
class TreeHead:
    """`root`: of the first `size` lines, in hexadecimal. `signature` over the canonical form of the rest, '' for none."""

    size: int
    root: str
    wall: str
    device: str = ""
    public_key: str = ""
    signature: str = ""

    def unsigned(self) -> bytes:
        return canonical({k: v for k, v in asdict(self).items() if k != "signature"})

    @property
    def holds(self) -> bool:
        """Its signature is that of the key it names."""
        return not self.signature or signed_by(self.public_key, self.signature, self.unsigned())


def tree_head_in(data: bytes) -> TreeHead:
    """ValueError if it is none."""
    try:
        found = TreeHead(**json.loads(data))
        good = type(found.size) is int and len(bytes.fromhex(found.root)) == 32
    except (TypeError, ValueError, RecursionError):
        good = False
    if not good:
        raise ValueError("this is not a tree head")
    return found


@dataclass(frozen=True)
class NotedHead:
    """What a proof proves: that the desk whose tree this is noted, at `wall`, that the visit had so many events and this
    head."""

    visit: str
    events: int
    head: str
    wall: str
    tree: TreeHead


def proved(proof: Any) -> NotedHead:
    """ValueError if it does not hold, or is none. The key of the signature in `tree` says which desk it was."""
    try:
        line = str(proof["leaf"]).encode()
        data = json.loads(entry_in(line) or b"{}")
        tree = TreeHead(**proof["tree"])
        found = NotedHead(str(data["visit"]), int(data["events"]), str(data["head"]), str(data["wall"]), tree)
        path, root = [bytes.fromhex(one) for one in proof["path"]], bytes.fromhex(tree.root)
        zoned = datetime.fromisoformat(found.wall).tzinfo is not None
        inside = ledger.holds_inclusion(ledger.leaf_hash(line), int(proof["at"]), tree.size, path, root)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise ValueError("this is not a proof") from None
    if not (inside and zoned and tree.holds):
        raise ValueError("it does not hold")
    return found


def holds_proof(proof: Any, visit: str, head: str) -> bool:
    """Does this proof say that a desk noted `head` for `visit`?"""
    try:
        found = proved(proof)
    except ValueError:
        return False
    return (found.visit, found.head) == (visit, head)
