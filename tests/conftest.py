"""Fixtures for every room of the tests."""

from tests.builders.engines import books, database_url, databases, engine, module_books, organization

__all__ = ["books", "database_url", "databases", "engine", "module_books", "organization"]
