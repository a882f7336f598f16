"""A stale form: what somebody else saved stands beside what was typed, and nothing typed is lost.

    answer = submit(request, form, ...)
    if answer is None and stale(form):
        set_beside(form, stored)        # stored: {field: value} of the newer version, with "version"
    ... in the template, inside the form or above it: {% newer form %}

The form has a hidden `version` field. It is raised to the newer version, so that saving again is a knowing decision.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from shop.kernel.errors import Stale


def stale(form: forms.BaseForm) -> bool:
    """True when the form was refused because a newer version had been saved."""
    return isinstance(getattr(form, "refusal", None), Stale)


def set_beside(form: forms.BaseForm, stored: Mapping[str, Any]) -> None:
    """Note on `form` where the stored values differ from the typed ones, and take up the newer version."""
    form.newer = [  # type: ignore[attr-defined]
        {"label": form[name].label, "stored": _shown(field, stored[name]), "typed": _shown(field, typed)}
        for name, field in form.fields.items()
        if name in stored and name != "version"
        if _plain(typed := form.cleaned_data.get(name)) != _plain(stored[name])
    ]
    data: Any = form.data.copy()  # type: ignore[attr-defined]
    data[form.add_prefix("version")] = str(stored["version"])
    form.data = data


def _plain(value: Any) -> Any:
    return "" if value is None or value == [] else value


def _shown(field: forms.Field, value: Any) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(_shown(field, v) for v in value)
    for known, label in getattr(field, "choices", ()):
        if not isinstance(label, list | tuple) and str(known) == str(value if value is not None else ""):
            return str(label)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)
