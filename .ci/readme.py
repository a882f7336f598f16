"""Prints the n-th fenced code block of the README, which must be one line: what the README promises is what is run."""

import re
import sys
from pathlib import Path

blocks = re.findall(r"^```[a-z]*\n(.*?)^```$", Path("README.md").read_text(), re.M | re.S)
block = blocks[int(sys.argv[1]) - 1].strip()
if "\n" in block:
    sys.exit(f"block {sys.argv[1]} of the README is more than one line")
print(block)
