"""What this room adds to the history of a card."""

SENTENCES = {
    "need.added": "Listed {quantity} of {part} as needed for {stage}",
    "need.changed": "Changed how much of {part} is needed for {stage}: {before}, now {quantity}",
    "need.removed": "Took {part} off what {stage} needs",
    "need.kept": "Kept {quantity} of {part} on the shelf for {stage}",
    "need.let-go": "Gave what was kept of {part} back to the shelf",
    "need.declined": "Noted that the customer declined {part} for {stage} ({ref}); it isn't kept any more",
    "need.wanted-again": "Noted that the customer wants {part} for {stage} after all ({ref})",
    "need.answer-dropped": "{part} for {stage} is left out of {ref}, so the customer's no to it counts no longer",
    "need.came": "Kept {quantity} of {part} for {stage} that came with order {order}",
    "need.ordered": "Put {quantity} of {part} for {stage} onto the draft order to {supplier}",
    "need.moved-here": "Moved {quantity} of {part} to {stage} that card {other} had",
    "need.moved-away": "Gave card {other} {quantity} of {part} that {stage} had",
    "need.another": "Needs another {quantity} of {part} for {stage}",
    "part.drawn": "Drew {quantity} of {part} {name} for {stage}",
    "part.return": "Returned {quantity} of {part} from {stage}",
    "part.fit": "Fitted {quantity} of {part} in {stage}",
    "part.trial": "Fitted {quantity} of {part} for trial in {stage}",
    "part.spoiled": "Spoiled {quantity} of {part} in {stage}",
    "part.off": "Took {quantity} of {part} off again in {stage}",
    "part.correct": "Noted that {quantity} of {part} were not fitted in {stage} after all",
}
