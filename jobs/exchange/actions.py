"""Check a file whole, then write its rows in short transactions, so that nobody waits for a long import."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.core.files.base import ContentFile

from shop.kernel import clock
from shop.kernel.errors import DomainError, NotFound, Refused
from shop.kernel.rights import require
from shop.kernel.text import clean_line
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import announce, record

from . import sheets
from .columns import match, values_of
from .kinds import Kind, kind_of
from .models import ImportRun

CHUNK = 200  # rows a transaction
MOST_FINDINGS = 2000
SAMPLE = 8


@dataclass(frozen=True)
class CheckedFile:
    """A file that was read and looked at row by row, nothing written."""

    kind: str
    file_name: str
    content: bytes
    decimal_comma: bool
    rows: int
    bad_rows: list[int]
    findings: list[dict[str, Any]]
    sample: list[list[str]]


def check_file(*, by: Person, kind: str, name: str, raw: bytes, decimal_comma: bool | None = None) -> CheckedFile:
    """Read and check a whole file; call it outside a transaction, it can take seconds.

    `decimal_comma` None: as the file looks (semicolons mean commas). Raises BadInput (field "file") for a file that can't
    be read as this table, NotFound for an unknown table, NotAllowed.
    """
    table = kind_of(kind)
    require(by, table.right)
    sheet = sheets.read(name, raw)
    comma = sheet.semicolons if decimal_comma is None else decimal_comma
    findings, bad = _check(table, sheet, comma)
    return CheckedFile(
        kind=kind, file_name=clean_line(name, field="file", max_length=200) or "table", content=raw, decimal_comma=comma,
        rows=len(sheet.rows), bad_rows=sorted(bad), findings=findings, sample=[sheet.header, *sheet.rows[:SAMPLE]],
    )  # fmt: skip


@writes
def keep_file(checked: CheckedFile, *, by: Person) -> ImportRun:
    """Keep a checked file with what was found, to be looked at and then written (`start_import`)."""
    require(by, kind_of(checked.kind).right)
    run = ImportRun(
        by=by, created_at=clock.now(), kind=checked.kind, file_name=checked.file_name,
        decimal_comma=checked.decimal_comma, rows=checked.rows, bad=len(checked.bad_rows), bad_rows=checked.bad_rows,
        findings=checked.findings, sample=checked.sample,
    )  # fmt: skip
    name = "import.xlsx" if checked.content[:2] == b"PK" else "import.csv"
    run.file.save(name, ContentFile(checked.content), save=False)
    run.save(force_insert=True)
    record(by, "import.checked", run, table=run.kind, rows=run.rows, bad=run.bad)
    return run


def _check(table: Kind, sheet: sheets.Sheet, comma: bool) -> tuple[list[dict[str, Any]], set[int]]:
    places = match(sheet.header, table.columns)
    known = table.know()
    required = {c.name for c in table.columns if c.required}
    findings: list[dict[str, Any]] = []
    bad: set[int] = set()
    for index, row in enumerate(sheet.rows):
        values, wrong = values_of(row, places, table.columns, comma)
        if not required & set(wrong):  # else the room's rules would miss what they look at
            try:
                table.check(values, known)
            except DomainError as error:
                wrong = (error.fields or {"": [error.message]}) | wrong
        if wrong:
            bad.add(index)
            for column, texts in wrong.items():
                if len(findings) < MOST_FINDINGS:
                    findings.append({"row": sheet.lines[index], "column": column, "text": " ".join(texts)})
    return findings, bad


@writes
def start_import(run_id: int, *, by: Person, only_good: bool = False) -> ImportRun:
    """Begin to write the rows of a checked file; with `only_good` without those that have a finding.

    Raises NotFound, NotAllowed, Refused when it was started already or has bad rows and `only_good` isn't said.
    """
    run = ImportRun.objects.select_for_update(of=("self",)).filter(pk=run_id).first()
    if run is None:
        raise NotFound("There is no such import.")
    require(by, kind_of(run.kind).right)
    if run.started_at:
        raise Refused("This file is being written already. Look at its page.", code="import-started")
    if run.bad and not only_good:
        raise Refused(
            f"{run.bad} of {run.rows} rows have a finding. Put them right and send the file again, or take only the "
            f"{run.good} good rows.",
            code="import-has-findings",
        )
    if not run.good:
        raise Refused("No row of this file can be taken. Put them right and send the file again.", code="import-empty")
    run.started_at = clock.now()
    run.save(update_fields=["started_at"])
    record(by, "import.started", run, table=run.kind, rows=run.good)
    announce("exchange.write", run=run.pk)
    return run


def write_rows(run_id: int) -> None:
    """Write all rows that are left, a chunk a transaction. Cut off, it goes on where it stood; run twice, it writes once."""
    run = ImportRun.objects.get(pk=run_id)
    with run.file.open("rb") as file:
        sheet = sheets.read(run.file_name, file.read())
    table = kind_of(run.kind)
    places = match(sheet.header, table.columns)
    known = table.know()
    while _write_chunk(run_id, table, sheet, places, known):
        pass


@writes
def _write_chunk(run_id: int, table: Kind, sheet: sheets.Sheet, places: dict[str, int], known: Any) -> bool:
    run = ImportRun.objects.select_for_update(of=("self",)).select_related("by").get(pk=run_id)
    if run.done_at:
        return False
    skip = set(run.bad_rows)
    end = min(run.next_row + CHUNK, run.rows)
    rows = {
        index: values_of(sheet.rows[index], places, table.columns, run.decimal_comma)[0]
        for index in range(run.next_row, end)
        if index not in skip
    }
    refused = table.write(list(rows.values()), known, run.by)
    run.written += refused.count(None)
    run.refused += [
        {"row": sheet.lines[index], "column": next(iter(error.fields), ""), "text": error.message}
        for index, error in zip(rows, refused, strict=True)
        if error
    ]
    run.next_row = end
    if end == run.rows:
        run.done_at = clock.now()
        record(run.by, "import.done", run, table=run.kind, written=run.written, refused=len(run.refused))
    run.save(update_fields=["next_row", "written", "refused", "done_at"])
    return run.done_at is None
