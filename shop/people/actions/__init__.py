"""Writes of the people room, by subject: `signing` (who gets in), `own` (what one does for oneself), `staff` (what the
owner does), `tablets` (the shared bench tablet)."""
