"""A plan as plain values: what cards copy, what a whole new plan is given as. No ORM."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from shop.kernel.findings import Findings

KINDS: Final = frozenset({"strip", "clean", "measure", "rework", "sublet", "assemble", "fit", "test"})
WHENS: Final = frozenset({"start", "finish"})
MOST_STAGES: Final = 200
MOST_GATES: Final = 40
MOST_PARTS: Final = 200
MOST_HOURS: Final = Decimal(1000)
CAUTION: Final = (
    "The maker's manual rules on every value, sequence and lubricant. Follow it and the local rules for lifting, fuel, "
    "pressure and chemicals."
)


@dataclass(frozen=True, slots=True)
class GateDraft:
    text: str
    when: str = "finish"  # "start": before the stage starts


@dataclass(frozen=True, slots=True)
class PartDraft:
    part_id: int
    quantity: Decimal  # in the part's unit


@dataclass(frozen=True, slots=True)
class StageDraft:
    """`after` holds positions in the same plan, counted from 1. `needs_go_ahead` None: as usual for its kind."""

    name: str
    kind: str
    standard_hours: Decimal = Decimal(0)
    after: tuple[int, ...] = ()
    done_by: str = ""
    chargeable: bool = True
    needs_go_ahead: bool | None = None
    instructions: str = ""
    cautions: str = ""
    gates: tuple[GateDraft, ...] = ()
    parts: tuple[PartDraft, ...] = ()


@dataclass(frozen=True, slots=True)
class Blueprint:
    """A plan to copy from. Stages stand in order of position: the first has position 1."""

    id: int
    code: str
    name: str
    cautions: str
    stages: tuple[StageDraft, ...]


def check_plan(values: Mapping[str, Any]) -> dict[str, Any]:
    """The head of a plan, cleaned. Raises BadInput naming every wrong field."""
    clean, found = dict(values), Findings()
    lengths = {"code": 24, "name": 120, "machine_kind": 40, "maker": 80, "model": 80}
    found.lines(clean, lengths, "code", "name")
    found.texts(clean, {"description": 4000, "cautions": 4000})
    if isinstance(clean.get("code"), str):
        clean["code"] = clean["code"].upper()
        if len(clean["code"]) > 24:
            found.add("code", "At most 24 characters fit.")
    found.raise_any()
    return clean


def check_stage(values: Mapping[str, Any]) -> dict[str, Any]:
    """A stage, cleaned. Raises BadInput naming every wrong field."""
    clean, found = dict(values), Findings()
    found.lines(clean, {"name": 120, "done_by": 40}, "name")
    found.texts(clean, {"instructions": 4000, "cautions": 4000})
    found.choice(clean, "kind", KINDS)
    otherwise = f"Give hours from 0 to {MOST_HOURS} with at most 2 decimals, such as 1.25."
    found.amount(clean, "standard_hours", MOST_HOURS, 2, otherwise)
    found.raise_any()
    return clean


def check_gate(values: Mapping[str, Any]) -> dict[str, Any]:
    """A gate, cleaned. Raises BadInput naming every wrong field."""
    clean, found = dict(values), Findings()
    found.lines(clean, {"text": 200}, "text")
    found.choice(clean, "when", WHENS)
    found.raise_any()
    return clean
