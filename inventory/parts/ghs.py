"""Hazards of a chemical after the UN Globally Harmonized System (GHS): what its codes say, which pictograms and signal word
they ask for. Plain values.

Hazard statements (H) with class, pictogram and signal word, and precautionary statements (P): GHS, tenth revised edition
(2023), annexes 1 and 3, as listed by the US NIH's PubChem; H350i, H360F ... H361fd are the variants of Regulation (EC)
1272/2008, annex III. Precedence of pictograms: GHS 1.4.10.5.3.1. Where a code stands for several categories the severer
signal word is taken. None of it replaces the supplier's label and safety data sheet: they rule.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from shop.kernel.errors import field_error

from .ghs_codes import HAZARDS, PRECAUTIONS

PICTOGRAMS: Final = {
    "GHS01": "Exploding bomb", "GHS02": "Flame", "GHS03": "Flame over circle", "GHS04": "Gas cylinder",
    "GHS05": "Corrosion", "GHS06": "Skull and crossbones", "GHS07": "Exclamation mark", "GHS08": "Health hazard",
    "GHS09": "Environment",
}  # fmt: skip
SIGNALS: Final = {"D": "Danger", "W": "Warning"}
MOST: Final = 60

_FORM = re.compile(r"H[0-9]{3}[A-Za-z]{0,2}(\+H[0-9]{3}[A-Za-z]{0,2})*|P[0-9]{3}(\+P[0-9]{3})*")
_SKIN_AND_EYE = {"H315", "H319", "H320"}
_HARMFUL = {"H302", "H312", "H332"}
_SKIN_ALLERGY = "H317"
_BREATHING_ALLERGY = "H334"


@dataclass(frozen=True, slots=True)
class Statement:
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Hazards:
    """What a label says. `signal`: "Danger", "Warning" or "". `pictograms`: codes such as GHS02, in their order."""

    signal: str
    pictograms: tuple[str, ...]
    statements: tuple[Statement, ...]
    precautions: tuple[Statement, ...]

    def __bool__(self) -> bool:
        return bool(self.statements or self.precautions)

    @property
    def pictures(self) -> list[tuple[str, str]]:
        """(code, name) of the pictograms."""
        return [(code, PICTOGRAMS[code]) for code in self.pictograms]

    @property
    def short(self) -> str:
        """For a line of a label: "Danger: H225 H319"."""
        codes = " ".join(s.code for s in self.statements)
        return f"{self.signal}: {codes}" if self.signal else codes


def check(codes: Iterable[str], *, field: str = "hazards") -> list[str]:
    """The codes as they are kept: each once, H before P, in order. Several joined by + are one statement.

    Raises BadInput (code "bad-hazard") for what isn't on the lists, and for more than 60.
    """
    found: set[str] = set()
    for given in codes:
        code = _cased(given)
        if not _FORM.fullmatch(code):
            raise field_error(
                field, f"“{code[:24]}” is not an H or P code. Write it like H225 or P305+P351+P338.", code="bad-hazard"
            )
        if not _known(code):
            raise field_error(
                field,
                f"{code} is not on the GHS list of hazard and precautionary statements. Read section 2 of the safety data "
                "sheet again; codes that begin with EUH belong into the note.",
                code="bad-hazard",
            )
        found.add(code)
    if len(found) > MOST:
        raise field_error(field, "These are more codes than one product has.", code="too-large")
    return sorted(found)


def read(codes: Iterable[str]) -> Hazards:
    """What the codes of a product come to. Codes that aren't on the lists, from before they were checked, count as text."""
    given = list(codes)
    single = [one for code in given if code[:1] == "H" for one in code.split("+")]
    known = [HAZARDS[one] for one in single if one in HAZARDS]
    signal = SIGNALS[min(w)] if (w := [k.signal for k in known if k.signal]) else ""
    return Hazards(
        signal,
        _pictograms(single),
        tuple(Statement(c, _text(c)) for c in given if c[:1] == "H"),
        tuple(Statement(c, _text(c)) for c in given if c[:1] == "P"),
    )


def _pictograms(single: list[str]) -> tuple[str, ...]:
    """With the precedence of GHS 1.4.10.5.3.1: the skull makes the exclamation mark of acute toxicity needless, corrosion that
    of skin and eye irritation, the health hazard of breathing allergies that of skin allergy and of skin and eye irritation."""
    found = {p for one in single if one in HAZARDS for p in HAZARDS[one].pictograms}
    needless: set[str] = set()
    if "GHS06" in found:
        needless |= _HARMFUL
    if any(one in ("H314", "H318") for one in single):
        needless |= _SKIN_AND_EYE
    if _BREATHING_ALLERGY in single:
        needless |= {_SKIN_ALLERGY, *_SKIN_AND_EYE}
    marked = {one for one in single if one in HAZARDS and "GHS07" in HAZARDS[one].pictograms}
    if marked and marked <= needless:
        found.discard("GHS07")
    return tuple(sorted(found))


def _cased(code: str) -> str:
    """Upper case but for the letters behind the digits, which tell H360Fd from H360FD."""
    text = "".join(code.split())[:80]
    return "+".join(one[:1].upper() + one[1:] if one[:1] in "hp" else one for one in text.split("+"))


def _known(code: str) -> bool:
    lists = HAZARDS if code[0] == "H" else PRECAUTIONS
    return code in lists or all(one in lists for one in code.split("+"))


def _text(code: str) -> str:
    """The statement in words; of a combination that has no sentence of its own, its parts one after the other."""
    if code[0] == "H":
        said = [HAZARDS[one].text for one in ([code] if code in HAZARDS else code.split("+")) if one in HAZARDS]
    else:
        said = [PRECAUTIONS[one] for one in ([code] if code in PRECAUTIONS else code.split("+")) if one in PRECAUTIONS]
    return " ".join(f"{s}." if s and s[-1] not in ".!…" else s for s in said)
