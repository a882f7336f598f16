from django.db import models


class Counter(models.Model):
    series = models.CharField(max_length=40)  # "card", "invoice"
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = (models.UniqueConstraint(fields=("series", "year"), name="numbering_series_year"),)
