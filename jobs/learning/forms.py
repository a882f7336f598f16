from __future__ import annotations

from django import forms


class SetAsideForm(forms.Form):
    reason = forms.CharField(
        max_length=200,
        label="Why these hours say nothing about the next job",
        help_text="“Crane broke down, two days lost”",
    )
