from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower

from .papers import MEASURES, Paper

MM = {"max_digits": 7, "decimal_places": 2}


class LabelPaper(models.Model):
    """Paper that the shop has for labels; see `papers.Paper`. Millimetres."""

    name = models.CharField(max_length=60)
    is_roll = models.BooleanField(default=False)
    width = models.DecimalField(**MM)
    height = models.DecimalField(**MM)
    rows = models.PositiveSmallIntegerField(default=1)
    cols = models.PositiveSmallIntegerField(default=1)
    top = models.DecimalField(**MM, default=0)
    left = models.DecimalField(**MM, default=0)
    right = models.DecimalField(**MM, null=True, blank=True)
    bottom = models.DecimalField(**MM, null=True, blank=True)
    gap_x = models.DecimalField(**MM, default=0)
    gap_y = models.DecimalField(**MM, default=0)
    archived_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ("name", "id")
        constraints = (models.UniqueConstraint(Lower("name"), name="labels_paper_name"),)

    def __str__(self) -> str:
        return self.name

    @property
    def paper(self) -> Paper:
        return Paper(self.is_roll, rows=self.rows, cols=self.cols, **{name: getattr(self, name) for name in MEASURES})

    @property
    def label_size(self) -> str:
        """ "70 × 37.1 mm" """
        width, height = (round(side, 1).normalize() for side in self.paper.label)
        return f"{width:f} × {height:f} mm"
