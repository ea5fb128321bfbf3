"""Fixtures for every room of the tests."""

import pytest

from tests.builders.engines import books, database_url, databases, engine, module_books, organization

__all__ = ["books", "database_url", "databases", "engine", "module_books", "organization"]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Function]) -> None:
    """Stories that take long and hang little on the engine keep the quick set quick: their second half is long."""
    for item in items:
        if item.get_closest_marker("sqlite_first") and "[postgresql" in item.name:
            item.add_marker(pytest.mark.full)
