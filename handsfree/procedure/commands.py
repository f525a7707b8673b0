"""What the command line does with procedures: one plain function per verb. They print, write files and raise Trouble."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.outputs import save
from handsfree.procedure.model import Book


def check(target: Path | None = None, as_json: bool = False, sarif: Path | None = None) -> None:
    """A file, a folder or a name; if left out, the procedures that ship. `sarif`: the file for an editor. Exits with 1 where
    there are errors."""
    from handsfree.procedure import check as checking
    from handsfree.procedure.load import shown_path

    path = _folder() if target is None else _file(str(target))
    reports = checking.check_path(path)
    for report in reports:
        for line in checking.lines(report):
            print(line)
    if sarif is not None:
        from handsfree.procedure.sarif import sarif_log

        found = sorted(path.rglob("*.yaml")) if path.is_dir() else [path]
        files = {shown_path(file): file.resolve().as_uri() for file in found}
        _write(json.dumps(sarif_log(reports, files), indent=1, ensure_ascii=False) + "\n", sarif)
    data = checking.as_data(reports)
    if as_json:
        print(json.dumps(data, ensure_ascii=False))
    else:
        errors = data["errors"]
        rest = (data["remarks"] - errors, "other remark" if errors else "remark")
        counts = ((len(reports), "file"), (errors, "error"), rest)
        print(", ".join(f"{count} {what}{'' if count == 1 else 's'}" for count, what in counts) + ".")
    if data["errors"]:
        sys.exit(1)


def chart(procedure: str, out: Path | None = None, mermaid: bool = False) -> None:
    """SVG, or Mermaid text, to `out` or standard output; a page that prints one sheet per page if `out` ends in .html."""
    from handsfree.procedure import chart_drawing
    from handsfree.procedure.chart import mermaid_text
    from handsfree.procedure.load import load_book

    _kind_of(out, *(("A chart as Mermaid text", (".mmd", ".md", ".txt")) if mermaid else ("A chart", (".svg", ".html"))))
    book = load_book(procedure)
    drawn = chart_drawing.html if out is not None and out.suffix.lower() == ".html" else chart_drawing.svg
    _write(mermaid_text(book) if mermaid else drawn(book), out)


def print_copy(procedure: str, out: Path | None = None, card: bool = False) -> None:
    """Markdown to standard output or to a file; PDF where `out` ends in .pdf. `card`: the one page for the pocket, a PDF.
    Trouble where it is not safe to run: paper cannot refuse a step."""
    from handsfree.procedure import paper, printed, safe
    from handsfree.procedure.load import load_book

    _kind_of(out, *(("A card", (".pdf",)) if card else ("A printed copy", (".pdf", ".md", ".txt"))))
    if card and out is None:
        raise Trouble("A card is a PDF file; name it with --out NAME.pdf.")
    book = load_book(procedure)
    safe.must_run(book)
    if out is not None and out.suffix.lower() == ".pdf":
        _write(paper.card(book) if card else paper.pdf(book), out)
    else:
        _write(printed.markdown(book), out)


def compare(old: Book, new: Book, as_json: bool = False) -> None:
    """Exits with 1 where the new one is not safe to run."""
    from dataclasses import asdict

    from handsfree.procedure import compare as comparing
    from handsfree.procedure import safe

    changes = comparing.compare(old, new)
    for line in comparing.lines(changes, new.procedures[new.main].language):
        print(line)
    if as_json:
        print(json.dumps({"changes": [asdict(change) for change in changes]}, ensure_ascii=False))
    if safe.faults_of(new):
        sys.exit(1)


def schema(out: Path | None = None, cabinet: bool = False) -> None:
    """Of a procedure, or of a cabinet's page."""
    from handsfree.procedure import cabinet as pages
    from handsfree.procedure.schema import procedure_schema

    _kind_of(out, "A schema", (".json",))
    made = pages.schema if cabinet else procedure_schema
    _write(json.dumps(made(), indent=2, ensure_ascii=False) + "\n", out)


def migrate(target: Path, write: bool = True) -> None:
    """A file, or every procedure file of a folder, in today's format. Trouble for the first that cannot be."""
    from handsfree.procedure.load import procedure_files
    from handsfree.procedure.migrating import migrate_file

    for path in procedure_files(target) if target.is_dir() else [target]:
        changed = migrate_file(path, write)
        told = "as it should be" if not changed else f"{changed} line{'' if changed == 1 else 's'}"
        print(f"{path}: {told}{'' if write or not changed else ' would change'}")


def list_procedures(as_json: bool = False) -> None:
    """Those in the folder `procedures` here, then those that ship; what may not run is marked with why."""
    from handsfree.procedure.load import procedure_files, usual_folders

    rows: dict[str, dict[str, str]] = {}
    for folder in usual_folders():
        for path in procedure_files(folder) if folder.is_dir() else []:
            if path.stem not in rows:
                rows[path.stem] = _listed(path)
    for row in rows.values():
        may_not = f"   may not run: {row['trouble']}" if row["title"] and row.get("trouble") else ""
        print(f"{row['name']:32} {row['title'] or row['trouble']}{may_not}")
    if as_json:
        print(json.dumps({"procedures": list(rows.values())}, ensure_ascii=False))


def _listed(path: Path) -> dict[str, str]:
    from handsfree.procedure import safe
    from handsfree.procedure.load import load_book

    try:
        book = load_book(path)
    except Trouble as error:
        return {"name": path.stem, "title": "", "trouble": error.sentence.splitlines()[0]}
    one = book.procedures[book.main]
    row = {"name": path.stem, "title": one.title, "language": one.language, "purpose": one.purpose}
    faults = safe.faults_of(book)
    return row | {"trouble": faults[0].why} if faults else row


def _folder() -> Path:
    from handsfree.resources import shipped_folder

    return shipped_folder("procedures")


def _file(target: str) -> Path:
    """A path, or the file of a name."""
    from handsfree.procedure.load import named_file, usual_folders

    path = Path(target)
    return path if path.exists() else named_file(target, usual_folders())


def _kind_of(out: Path | None, what: str, known: tuple[str, ...]) -> None:
    """Trouble for a name whose ending promises another kind of file than is written; one without an ending promises none."""
    if out is not None and out.suffix and out.suffix.lower() not in known:
        kinds = " or ".join(known)
        raise Trouble(f"{what} is written as {kinds}, not as '{out.suffix}'; give --out such a name.")


def _write(content: str | bytes, out: Path | None) -> None:
    if out is None:
        sys.stdout.write(content if isinstance(content, str) else content.decode("latin-1"))
        return
    data = content.encode("utf-8") if isinstance(content, str) else content
    save(out, lambda: data)
    print(f"Written: {out}")
