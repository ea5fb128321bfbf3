"""The marks of one resource while it is walked."""

from service.basics.stored import Mark, TextMark
from service.fhir import moments
from service.fhir.search.hashed import key, paired, system
from service.fhir.search.text import fold


class Found:
    """What was found so far; `date` is the resource's own date, in microseconds, which most marks bear."""

    __slots__ = ("date", "marks", "organization", "present", "texts", "type")

    def __init__(self, organization: str, type_: str, date: int) -> None:
        self.organization, self.type, self.date = organization, type_, date
        self.marks: set[Mark] = set()
        self.texts: set[TextMark] = set()
        self.present = 0

    def _key(self, parameter: str, value: str) -> int:
        return key(self.organization, self.type, parameter, value)

    def value(self, parameter: str, value: str) -> None:
        """The resource bears this value."""
        self.marks.add(Mark(self._key(parameter, value), self.date, self.date))

    def token(self, parameter: str, of_system: str, code: str) -> None:
        """The resource bears this code of this system ("" for none)."""
        self.marks.add(Mark(self._key(parameter, code), self.date, system(of_system)))

    def stretch(self, parameter: str, value: str, stretch: moments.Range | None) -> None:
        """The resource bears this stretch of time, or of numbers in the unit that `value` names."""
        if stretch is not None:
            self.marks.add(Mark(self._key(parameter, value), *stretch))

    def pair(self, parameter: str, code: tuple[str, str], value: tuple[str, str]) -> None:
        """One element bears both: (system, code) twice."""
        low, _ = paired(value[1], value[0])
        self.marks.add(Mark(self._key(parameter, code[1]), low, system(code[0])))

    def text(self, parameter: str, text: str) -> None:
        """The resource bears this text, to be found by its beginning or exactly."""
        self.texts.add(TextMark(self._key(parameter, ""), fold(text)))
        self.value(f"{parameter}:exact", text)
