"""What `check` found as SARIF 2.1.0 (OASIS, sections 3.13 to 3.30), which editors and reviews show at the line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from handsfree import __version__
from handsfree.procedure.check import CheckReport
from handsfree.procedure.remarks import Remark, Weight

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_LEVELS = {Weight.ERROR: "error", Weight.ADVICE: "warning", Weight.NOTE: "note"}


def sarif_log(reports: Sequence[CheckReport], files: dict[str, str]) -> dict[str, Any]:
    """`files`: as shown to people -> as an editor opens it."""
    remarks = [remark for report in reports for remark in report.remarks]
    groups = list(dict.fromkeys(remark.group for remark in remarks))
    driver = {"name": "handsfree", "version": __version__, "rules": [{"id": group} for group in groups]}
    results = [_result(remark, groups.index(remark.group), files) for remark in remarks]
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [{"tool": {"driver": driver}, "results": results}]}


def _result(remark: Remark, rule: int, files: dict[str, str]) -> dict[str, Any]:
    place: dict[str, Any] = {"artifactLocation": {"uri": files.get(remark.file, remark.file)}}
    if remark.line:
        place["region"] = {"startLine": remark.line}
    return {
        "ruleId": remark.group,
        "ruleIndex": rule,
        "level": _LEVELS[remark.weight],
        "message": {"text": f"{remark.why} {remark.do}".strip()},
        "locations": [{"physicalLocation": place}],
    }
