from __future__ import annotations

from django import forms

from .kinds import KINDS

COMMA = {"auto": None, "point": False, "comma": True}


class FileForm(forms.Form):
    kind = forms.ChoiceField(label="What is in it", choices=[(k.name, k.title) for k in KINDS.values()])
    file = forms.FileField(label="File", help_text="CSV in UTF-8 (comma, semicolon or tab) or XLSX, at most 15 MB.")
    decimals = forms.ChoiceField(
        label="Decimal sign",
        choices=[("auto", "As the file looks"), ("point", "Point: 12.50"), ("comma", "Comma: 12,50")],
    )
