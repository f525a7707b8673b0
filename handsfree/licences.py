"""The licence that a Python package states of itself, in a few words."""

from __future__ import annotations

from email.message import Message
from importlib import metadata
from typing import cast

#: Licences by their classifiers, where these differ from SPDX's names -> the SPDX name.
_SHORT = {
    "MIT License": "MIT", "Apache Software License": "Apache-2.0", "BSD License": "BSD", "ISC License (ISCL)": "ISC",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0", "Python Software Foundation License": "PSF-2.0",
}  # fmt: skip


def licence_in(told: Message) -> str:
    """`told`: the package's METADATA. Classifiers are preferred to a free text, which may be a whole licence; 'none stated'
    where there is neither."""
    classified = [
        one.rsplit(" :: ", 1)[1] for one in told.get_all("Classifier") or () if one.startswith("License :: ")
    ]
    text = (told.get("License") or "").strip().splitlines()
    spoken = " or ".join(_SHORT.get(one, one) for one in classified) or (text[0][:60] if text else "")
    return told.get("License-Expression") or _SHORT.get(spoken, spoken) or "none stated"


def release(package: str) -> tuple[str, str]:
    """('hama 1.7.0', its licence) of an installed package; its name and 'none stated' where it has no metadata."""
    try:
        told = cast(Message, metadata.metadata(package))
    except metadata.PackageNotFoundError:
        return package, "none stated"
    return f"{package} {told['Version']}", licence_in(told)
