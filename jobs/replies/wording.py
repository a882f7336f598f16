"""What the customer reads on the page of a link, by document language; and the room's lines of a card's history.

The page states what law may hang on. Words that a lawyer of the country asks for go here, in one place; what was shown is
kept with each answer.
"""

from __future__ import annotations

from collections.abc import Mapping

SENTENCES = {
    "link.made": "Made a link to {number} for the customer",
    "link.mailed": "Mailed the link to {number} to {to}",
    "link.revoked": "Revoked a link to {number}",
    "link.opened": "The link to {number} was opened for the first time",
    "link.answered": "{said_by} answered {number} by the link",
}

_EN = {
    "for": "For",
    "machine": "Machine",
    "photos": "Photos",
    "photo": "Photo",
    "document": "The whole document as PDF",
    "yes": "yes",
    "no": "no",
    "open": "later",
    "accepted": "you said yes",
    "declined": "you said no",
    "limit": "we went on with this within the limit you gave us",
    "before-accepted": "You said yes to this in the revision before. Please answer again: this is what holds now.",
    "before-declined": "You said no to this in the revision before.",
    "before-limit": "We went on with this within the limit you gave us, as the revision before had it. Please answer: this is what holds now.",
    "firm": "at a firm price",
    "optional": "optional, not in the total",
    "with-part": "goes with the part, with the same answer",
    "answer": "Your answer",
    "kind-estimate": "An estimate: what we expect it to cost. What is not marked as firm we charge by hours and parts at these "
    "prices, and we ask before going beyond it.",
    "kind-quotation": "A firm quotation: for what you order here we charge these prices, no more.",
    "kind-additional": "A notice of additional work: it comes on top of what was agreed, and none of it is done without your "
    "yes, unless it lies within a limit that you gave us before.",
    "statement-estimate": "With my yes I ask {shop} to carry out the lines marked yes, as {title} {number} describes them.",
    "statement-quotation": "With my yes I order the lines marked yes from {shop} at the prices of {title} {number}.",
    "statement-additional": "With my yes I ask {shop} to carry out the additional lines marked yes, as {title} {number} "
    "describes them, on top of what was agreed.",
    "kept": "With your answer we keep the time, the network address it came from, the wording and a fingerprint of the "
    "document.",
    "rights": "What the law gives you, such as a right to withdraw, differs by country and is not lessened by this page.",
    "name": "Your name",
    "sign": "Sign with your finger, if you like",
    "sign_hint": "Your name alone is enough.",
    "clear": "Clear",
    "send": "Send my answer",
    "all": "Yes to everything",
    "all_but": "Yes to everything but what is optional",
    "thanks": "Thank you. Your answer is with us.",
    "said": "{name}, {when}",
    "left": "What you left open you can still answer here.",
    "change": "To change an answer, call us.",
    "call": "Questions? Call us:",
    "again": "Please look again",
    "no-name": "Please type your name.",
    "no-answers": "Please say yes or no to at least one line.",
    "bad-signature": "The signature did not come through. Sign again, or leave it: your name is enough.",
    "answered": "Meanwhile something was recorded on this document. Please look at it, then answer what is left, or call us.",
    "not-recorded": "We could not take your answer in just now. Nothing of it was lost from this page: call us, and we write it down "
    "for you.",
    "stale": "This page was open too long. Please look at it once more and send it again.",
    "closed": "This link opens nothing any more",
    "closed-revoked": "We have closed this link.",
    "closed-superseded": "There is a newer version of the document. Ask us for the link to it.",
    "closed-withdrawn": "We have taken the document back.",
    "closed-expired": "The time to answer is over. Ask us for a new link if you still want the work.",
    "closed-closed": "The job is closed.",
    "unknown": "This link is not known",
    "unknown-why": "It may have been cut off on its way. Open it from the mail again, or call us.",
    "wait": "Please wait a little",
    "wait-why": "There were too many tries from your network. Try again in {seconds} seconds, or call us.",
}
_DE = {
    "for": "Für",
    "machine": "Maschine",
    "photos": "Fotos",
    "photo": "Foto",
    "document": "Das ganze Dokument als PDF",
    "yes": "ja",
    "no": "nein",
    "open": "später",
    "accepted": "Sie haben ja gesagt",
    "declined": "Sie haben nein gesagt",
    "limit": "damit haben wir im Rahmen des von Ihnen genannten Betrags weitergemacht",
    "before-accepted": "In der Fassung davor haben Sie ja gesagt. Bitte antworten Sie noch einmal: jetzt gilt dies hier.",
    "before-declined": "In der Fassung davor haben Sie nein gesagt.",
    "before-limit": "Damit haben wir im Rahmen des von Ihnen genannten Betrags weitergemacht, wie die Fassung davor es "
    "beschrieb. Bitte antworten Sie: jetzt gilt dies hier.",
    "firm": "zum Festpreis",
    "optional": "wahlweise, nicht in der Summe",
    "with-part": "gehört zum Teil und teilt dessen Antwort",
    "answer": "Ihre Antwort",
    "kind-estimate": "Ein Kostenvoranschlag: was wir als Kosten erwarten. Was nicht als fest bezeichnet ist, berechnen wir nach "
    "Stunden und Teilen zu diesen Preisen, und wir fragen, bevor wir darüber hinausgehen.",
    "kind-quotation": "Ein Festpreisangebot: was Sie hier bestellen, berechnen wir zu diesen Preisen, nicht mehr.",
    "kind-additional": "Eine Mitteilung über Zusatzarbeiten: sie kommen zum Vereinbarten hinzu, und nichts davon geschieht "
    "ohne Ihr Ja, außer im Rahmen eines Betrags, den Sie uns vorher genannt haben.",
    "statement-estimate": "Mit meinem Ja beauftrage ich {shop} mit den mit Ja bezeichneten Zeilen, wie {title} {number} sie "
    "beschreibt.",
    "statement-quotation": "Mit meinem Ja bestelle ich bei {shop} die mit Ja bezeichneten Zeilen zu den Preisen von {title} "
    "{number}.",
    "statement-additional": "Mit meinem Ja beauftrage ich {shop} mit den mit Ja bezeichneten zusätzlichen Zeilen, wie {title} "
    "{number} sie beschreibt, über das Vereinbarte hinaus.",
    "kept": "Mit Ihrer Antwort bewahren wir die Zeit, die Netzadresse, von der sie kam, den Wortlaut und einen Fingerabdruck des "
    "Dokuments auf.",
    "rights": "Was Ihnen das Gesetz gibt, etwa ein Widerrufsrecht, ist von Land zu Land verschieden und wird durch diese Seite "
    "nicht geschmälert.",
    "name": "Ihr Name",
    "sign": "Wenn Sie möchten, unterschreiben Sie mit dem Finger",
    "sign_hint": "Ihr Name allein genügt.",
    "clear": "Löschen",
    "send": "Antwort senden",
    "all": "Ja zu allem",
    "all_but": "Ja zu allem, was nicht wahlweise ist",
    "thanks": "Danke. Ihre Antwort ist bei uns.",
    "said": "{name}, {when}",
    "left": "Was Sie offen gelassen haben, können Sie hier noch beantworten.",
    "change": "Um eine Antwort zu ändern, rufen Sie uns an.",
    "call": "Fragen? Rufen Sie uns an:",
    "again": "Bitte noch einmal ansehen",
    "no-name": "Bitte geben Sie Ihren Namen ein.",
    "no-answers": "Bitte sagen Sie zu mindestens einer Zeile ja oder nein.",
    "bad-signature": "Die Unterschrift ist nicht angekommen. Unterschreiben Sie noch einmal oder lassen Sie es: Ihr Name genügt.",
    "answered": "Inzwischen wurde zu diesem Dokument etwas eingetragen. Bitte sehen Sie es an und beantworten Sie, was noch offen ist, "
    "oder rufen Sie uns an.",
    "not-recorded": "Ihre Antwort konnten wir gerade nicht annehmen. Auf dieser Seite ging nichts verloren: rufen Sie uns an, wir "
    "tragen sie für Sie ein.",
    "stale": "Diese Seite war zu lange offen. Bitte sehen Sie sie noch einmal an und senden Sie sie neu.",
    "closed": "Dieser Link öffnet nichts mehr",
    "closed-revoked": "Wir haben diesen Link geschlossen.",
    "closed-superseded": "Es gibt eine neuere Fassung des Dokuments. Fragen Sie uns nach dem Link dazu.",
    "closed-withdrawn": "Wir haben das Dokument zurückgenommen.",
    "closed-expired": "Die Zeit für eine Antwort ist vorbei. Fragen Sie uns nach einem neuen Link, wenn Sie die Arbeit noch "
    "wünschen.",
    "closed-closed": "Der Auftrag ist abgeschlossen.",
    "unknown": "Diesen Link kennen wir nicht",
    "unknown-why": "Vielleicht ist er unterwegs abgeschnitten worden. Öffnen Sie ihn noch einmal aus der Nachricht, oder rufen "
    "Sie uns an.",
    "wait": "Bitte warten Sie ein wenig",
    "wait-why": "Aus Ihrem Netz kamen zu viele Versuche. Versuchen Sie es in {seconds} Sekunden wieder, oder rufen Sie uns an.",
}
_WORDS = {"en": _EN, "de": _DE}


def words(language: str) -> Mapping[str, str]:
    """English where the document's language has none yet."""
    return _WORDS.get(language, _EN)
