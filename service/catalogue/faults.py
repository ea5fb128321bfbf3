"""All that is wrong with mappings/, told at once."""


class CatalogueFaults(Exception):
    """The mappings cannot be used. `faults` holds each one as "file:line: text"."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults
