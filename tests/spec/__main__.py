"""Prints the drawn grids as one chapter of Markdown: python -m tests.spec"""

import sys

from tests.spec.grid import HERE


def chapter() -> str:
    """The grids in order, as they are tested."""
    texts = [path.read_text(encoding="utf-8").strip() for path in sorted(HERE.glob("*.md"))]
    return "\n\n".join(texts) + "\n"


if __name__ == "__main__":
    sys.stdout.write(chapter())
