"""What a proposal says for itself. On plain values."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from shop.kernel.quantity import Quantity

CLASS_WORDS: Final = {
    "none": "never asked for", "smooth": "asked for steadily", "erratic": "asked for often, in uneven amounts",
    "intermittent": "asked for now and then", "lumpy": "asked for now and then, in uneven amounts",
}  # fmt: skip
METHOD_WORDS: Final = {"croston": "Croston", "sba": "Croston without its bias (SBA)", "tsb": "TSB"}


def sentence(quantity: Decimal, unit: str, figures: Mapping[str, Any]) -> str:
    """Why so much and why now, in one sentence."""

    def said(value: Any) -> str:
        return str(Quantity(Decimal(value), unit))

    there = [f"{said(figures['on_hand'])} on the shelf"]
    for name, words in (("reserved", "kept for cards"), ("known", "more needed by cards"), ("coming", "on the way")):
        if Decimal(figures[name]):
            there.append(f"{said(figures[name])} {words}")
    text = f"Order {said(quantity)}: with {_and(there)}"
    risk = Decimal(figures["risk_percent"])
    if Decimal(figures["position"]) < 0:
        text += " what is known to be needed is not covered"
    elif figures["by_hand"]:
        text += f" it is at the {said(figures['by_hand'])} or fewer at which this part is ordered"
    else:
        text += f" it runs short in {_of_hundred(risk)} before the next delivery ({figures['wait_days']} days)"
    if Decimal(figures["level"]) > 0:
        text += f"; enough in {figures['service_percent']} of 100 cases: {said(figures['level'])}"
    for reason in figures["reasons"]:
        text += f"; {reason}"
    return text[:599] + "."


def _of_hundred(percent: Decimal) -> str:
    return "most cases" if percent > 99 else f"{max(percent, Decimal(1)):.0f} of 100 cases"


def _and(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]
