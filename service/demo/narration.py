"""Turns what happens into plain words on a terminal."""

import textwrap

WIDTH = 100


class Narration:
    """Prints the story: chapters, sentences, what was sent, what came back, and lists of things."""

    def __init__(self) -> None:
        self._chapter = 0

    def chapter(self, title: str) -> None:
        """Begin the next numbered chapter."""
        self._chapter += 1
        print(f"\n{'─' * WIDTH}\n{self._chapter}. {title}\n{'─' * WIDTH}", flush=True)

    def heading(self, title: str) -> None:
        """Begin a part of a chapter."""
        print(f"\n  {title}", flush=True)

    def say(self, text: str) -> None:
        """A paragraph."""
        print(textwrap.fill(text, WIDTH), flush=True)

    def sent(self, request: str, what: str = "") -> None:
        """A request that went out, and what it holds."""
        self._hung(f"  -> {request}", what)

    def came(self, status: int, text: str) -> None:
        """What came back: the HTTP status and what it means."""
        self._hung(f"  <- {status}", text)

    def item(self, text: str) -> None:
        """One thing of a list."""
        print(textwrap.fill(text, WIDTH, initial_indent="       - ", subsequent_indent="         "), flush=True)

    def items(self, texts: list[str], *, most: int = 12) -> None:
        """A list of things; of a long one the first, and how many more there are."""
        for text in texts[:most]:
            self.item(text)
        if len(texts) > most:
            self.item(f"... and {len(texts) - most} more")

    def block(self, text: str) -> None:
        """A document, shown as it is behind a bar."""
        for line in text.rstrip().splitlines():
            for part in _parts(line.replace("\t", " ")):
                print(f"  | {part}".rstrip())
        print(flush=True)

    def command(self, line: str) -> None:
        """A line to be typed, unbroken so that it can be copied."""
        print(f"  $ {line}", flush=True)

    def _hung(self, head: str, text: str) -> None:
        whole = f"{head}  {text}".rstrip()
        print(textwrap.fill(whole, WIDTH, subsequent_indent=" " * 8, break_long_words=False), flush=True)


def _parts(line: str) -> list[str]:
    """A long line of a document in lines that fit, hung below its beginning; what fits stays as it is."""
    if len(line) <= WIDTH - 4:
        return [line]
    return textwrap.wrap(line, WIDTH - 4, subsequent_indent="    ", break_long_words=False)
