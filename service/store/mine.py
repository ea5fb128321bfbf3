"""Statements into rows of one organisation, and of no other."""

from functools import lru_cache

from service.store.session import Row, Session


@lru_cache(maxsize=512)
def place_of_organization(sql: str) -> int:
    """How many values come before the organisation in a statement; ValueError when it has none."""
    if sql.startswith("INSERT"):
        if "(organization, " not in sql:
            raise ValueError("a row without its organisation")
        return 0
    head, found, _ = sql.partition("organization = ?")
    if not found:
        raise ValueError("a statement that does not ask for the organisation")
    return head.count("?")


class Mine:
    """One organisation's rows through one session."""

    def __init__(self, session: Session, organization: str) -> None:
        self.organization = organization
        self._session = session

    def _mine(self, sql: str, *params: object) -> list[Row]:
        """The one way to rows: every statement says whose they are, and the organisation is put in here."""
        place = place_of_organization(sql)
        return self._session.rows(sql, *params[:place], self.organization, *params[place:])
