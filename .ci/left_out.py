"""Reads the results of all runs. Fails when a test ran in none of them, or was skipped for a reason that a complete
machine can't have."""

import sys
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

# a run on the other database
ALLOWED = {"sqlite": ("needs PostgreSQL", "needs Redis"), "postgres": ("needs SQLite",)}


def main(paths: list[str]) -> int:
    ran, skipped, bad = set(), {}, []
    for path in map(Path, paths):
        allowed = ALLOWED["sqlite" if path.stem.startswith("sqlite") else "postgres"]
        counts = Counter()
        for case in ElementTree.parse(path).iter("testcase"):  # noqa: S314 - our own file
            name = f"{case.get('classname')}::{case.get('name')}"
            skip = case.find("skipped")
            if skip is None:
                ran.add(name)
                counts["ran"] += 1
                continue
            reason = (skip.get("message") or "").strip()
            counts[reason] += 1
            skipped[name] = reason
            if skip.get("type") == "pytest.xfail" or not reason.startswith(allowed):
                bad.append(f"{path.name}: {name}: {reason}")
        print(f"{path.name}: " + ", ".join(f"{count} {what}" for what, count in counts.most_common()))
    never = [f"ran nowhere: {name}: {reason}" for name, reason in skipped.items() if name not in ran]
    for line in sorted(set(bad + never)):
        print(line, file=sys.stderr)
    return 1 if bad or never or not ran else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
