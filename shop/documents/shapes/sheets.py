"""Sheets for the bench and the shelf, and the build record handed over with the machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shop.documents.fields import Code, Day, Moment, Prose, Quantity, ShortDay, Text
from shop.documents.shapes.common import Business, Machine, Mark, Party

StageKind = Literal["strip", "clean", "measure", "rework", "sublet", "assemble", "fit", "test", "other"]


@dataclass(frozen=True)
class Signature:
    by: Text
    at: Moment


@dataclass(frozen=True)
class Gate:
    """A condition to sign before a stage starts or finishes; unsigned prints an empty box."""

    text: Text
    when: Literal["start", "finish"] = "finish"
    signed: Signature | None = None


@dataclass(frozen=True)
class Stage:
    """A step of the card. Hours are decimal hours; unsigned prints a place to sign."""

    text: Text
    kind: StageKind = "other"
    position: Text = ""
    detail: Prose = ""
    hours: Quantity | None = None
    after: Text = ""
    """Positions of the stages that come first."""
    assigned: Text = ""
    hold: Text = ""
    gates: tuple[Gate, ...] = ()
    signed: Signature | None = None


@dataclass(frozen=True)
class PartNeeded:
    number: Text
    text: Text
    qty: Quantity
    unit: Text = ""
    bin: Text = ""
    stage: Text = ""
    drawn: Quantity | None = None
    single_use: bool = False


@dataclass(frozen=True)
class JobCard:
    """Bench sheet: what the machine is, what is done in which order, what may not be passed unsigned."""

    number: Text
    code: Code
    """Content of the QR code: what a scanner types to open this card."""
    printed_at: Moment
    business: Business
    customer: Party
    machine: Machine
    stages: tuple[Stage, ...]
    promised: Day | None = None
    booked: Day | None = None
    waits_for: Text = ""
    complaint: Prose = ""
    came_with: Prose = ""
    go_ahead: Text = ""
    parts: tuple[PartNeeded, ...] = ()
    cautions: tuple[Prose, ...] = ()
    notes: tuple[Prose, ...] = ()
    blank_rows: int = 6
    """Empty ruled rows for parts drawn that nobody foresaw."""
    mark: Mark = ""


@dataclass(frozen=True)
class Reading:
    """A measured feature. Values are worded with unit by the caller's rules of precision."""

    feature: Text
    value: Text
    limit: Text = ""
    limit_source: Text = ""
    instrument: Text = ""
    verdict: Literal["", "within", "uncertain", "outside"] = ""
    decision: Text = ""


@dataclass(frozen=True)
class TighteningPass:
    joint: Text
    step: Text
    setting: Text
    reached: Text = ""
    fasteners: Text = ""
    lubrication: Text = ""
    tool: Text = ""
    by: Text = ""


@dataclass(frozen=True)
class LotFitted:
    number: Text
    text: Text
    qty: Quantity
    unit: Text = ""
    lot: Text = ""
    supplier: Text = ""
    serial: Text = ""


@dataclass(frozen=True)
class BuildRecord:
    """Hand-over record: how the machine was built, with measured values, tightening and lots."""

    number: Text
    date: Day
    business: Business
    customer: Party
    machine: Machine
    card_number: Text
    work_done: tuple[Stage, ...] = ()
    readings: tuple[Reading, ...] = ()
    tightening: tuple[TighteningPass, ...] = ()
    lots: tuple[LotFitted, ...] = ()
    final_checks: tuple[Gate, ...] = ()
    running_in: tuple[Prose, ...] = ()
    cautions: tuple[Prose, ...] = ()
    notes: tuple[Prose, ...] = ()
    warranty: Prose = ""
    warranty_from: Day | None = None
    warranty_until: Day | None = None
    released: Signature | None = None
    mark: Mark = ""


@dataclass(frozen=True)
class PickLine:
    number: Text
    text: Text
    qty: Quantity
    unit: Text = ""
    bin: Text = ""
    lot: Text = ""
    expires: ShortDay | None = None
    stage: Text = ""
    tray: Text = ""
    caution: Text = ""


@dataclass(frozen=True)
class PickingList:
    """What to fetch for one card, in walking order of the bins."""

    number: Text
    code: Code
    printed_at: Moment
    business: Business
    card_number: Text
    lines: tuple[PickLine, ...]
    machine: Machine | None = None
    customer: Text = ""
    needed_by: Day | None = None
    tray: Text = ""
    notes: tuple[Prose, ...] = ()
    mark: Mark = ""
