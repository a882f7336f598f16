"""What this room adds to the history of a card, which a mechanic reads too: no amounts."""

SENTENCES = {
    "sublet.recorded": "Recorded invoice {number} of {supplier} for {stage}",
    "sublet.taken-back": "Took back invoice {number} of {supplier} for {stage}",
}
