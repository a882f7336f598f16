"""What this room adds to the history of a card."""

SENTENCES = {
    "time.clocked-on": "Clocked on to {stage}",
    "time.clocked-off": "Clocked {person} off {stage} after {hours} h",
    "time.forgotten": "Ended the forgotten clock of {person} on {stage} with the day: {hours} h",
    "time.booked": "Booked {hours} h of {person} on {stage}, {span}",
    "time.corrected": "Corrected hours of {person} on {stage}: {hours} h, {span}, before {before}",
    "time.moved-away": "Moved hours of {person} ({span}) from {stage} to card {to}",
    "time.taken-out": "Took out hours of {person} on {stage}, {span}",
}
