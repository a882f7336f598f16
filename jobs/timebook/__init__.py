"""Hours: clock on, clock off, manual bookings, corrections as new rows."""
