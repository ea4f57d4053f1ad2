"""Print one of the README's set-up commands: `readme_block.py 1` the demo, `2` the tests."""

import re
import sys
from pathlib import Path

text = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
start = re.search(r"(?m)^#+ Start\b.*$", text)
if start is None:
    sys.exit("README.md has no heading 'Start'")
blocks = re.findall(r"```sh\n(.*?)```", text[start.end() :], re.DOTALL)
sys.stdout.write(blocks[int(sys.argv[1]) - 1])
