"""Document numbers without gaps: a counter row per series and year, locked in the transaction that uses it."""
