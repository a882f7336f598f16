"""The catalogue: parts, their units and kinds, prices and replacements."""
