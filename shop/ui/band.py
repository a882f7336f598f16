"""Where a reading lies on its limit band: geometry only, in the units of the drawing (viewBox 0..320)."""

from dataclasses import dataclass
from decimal import Decimal

WIDTH = Decimal(320)
EDGE = Decimal(14)  # room for the arrow of a reading beyond the drawing


@dataclass(frozen=True)
class Band:
    """x positions; `low`/`high` None = no such limit; `beyond` -1/+1 = the reading lies off the drawing."""

    low: Decimal | None
    high: Decimal | None
    band_from: Decimal
    band_to: Decimal
    tick: Decimal | None
    whisker_from: Decimal | None
    whisker_to: Decimal | None
    beyond: int

    @property
    def band_width(self) -> Decimal:
        return self.band_to - self.band_from


def lay_out(
    reading: Decimal | None, low: Decimal | None, high: Decimal | None, uncertainty: Decimal | None = None
) -> Band:
    """Place limits, reading and its expanded uncertainty (same unit, half width) on one scale.

    Two limits: the band takes the middle half of the drawing. One limit: it stands in the middle and the
    scale is taken from the reading's distance. Raises ValueError without any limit or with low > high.
    """
    if low is None and high is None:
        raise ValueError("a band needs at least one limit")
    if low is not None and high is not None:
        if low > high:
            raise ValueError("the lower limit lies above the upper")
        centre = (low + high) / 2
        span = (high - low) or abs(centre) / 100 or Decimal(1)
    else:
        centre = low if low is not None else Decimal(str(high))
        away = abs(reading - centre) if reading is not None else Decimal(0)
        span = max(away * Decimal("1.3"), abs(centre) / 50) or Decimal(1)

    def x(value: Decimal) -> Decimal:
        raw = WIDTH / 2 + (value - centre) / span * WIDTH / 2
        return min(max(raw, EDGE), WIDTH - EDGE).quantize(Decimal("0.1"))

    def off(value: Decimal) -> int:
        raw = WIDTH / 2 + (value - centre) / span * WIDTH / 2
        return -1 if raw < EDGE else 1 if raw > WIDTH - EDGE else 0

    low_x = x(low) if low is not None else None
    high_x = x(high) if high is not None else None
    whisker = uncertainty is not None and reading is not None and uncertainty > 0
    return Band(
        low=low_x,
        high=high_x,
        band_from=low_x if low_x is not None else -EDGE,  # open on that side
        band_to=high_x if high_x is not None else WIDTH + EDGE,
        tick=x(reading) if reading is not None else None,
        whisker_from=x(reading - uncertainty) if whisker else None,  # type: ignore[operator]
        whisker_to=x(reading + uncertainty) if whisker else None,  # type: ignore[operator]
        beyond=off(reading) if reading is not None else 0,
    )
