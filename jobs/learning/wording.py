"""What this room adds to the history of a card."""

SENTENCES = {
    "learning.set-aside": "Set the hours of {stage} aside: they don't count for the standard hours",
    "learning.brought-back": "Let the hours of {stage} count for the standard hours again",
}
