"""The whole service, served once per module and engine; every test has an organisation of its own of kind `records`."""

import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.joined import application
from service.store import SqlBooks
from tests.api import running
from tests.conformance.speaking import BASE, ORIGIN


@pytest.fixture(scope="module")
def url(module_books: SqlBooks) -> Iterator[str]:
    app = application(module_books, load(read_folder()), base=BASE, origins=(ORIGIN,))
    with running.served(app) as address:
        yield address


@pytest.fixture
def organization_of() -> str:
    """The organisation of `rest`."""
    return f"records-{uuid.uuid4().hex[:12]}"


@pytest.fixture
def token(module_books: SqlBooks, organization_of: str) -> str:
    return running.register(module_books, organization_of)


@pytest.fixture
def rest(url: str, token: str) -> Iterator[httpx.Client]:
    """A client that may do everything in an organisation of its own, and judges every body it receives."""
    with running.client(url, token) as client:
        yield client


@pytest.fixture
def practice(module_books: SqlBooks, url: str) -> Iterator[httpx.Client]:
    """The same in an organisation where our rules hold."""
    name = f"practice-{uuid.uuid4().hex[:12]}"
    with running.client(url, running.register(module_books, name, kind="practice")) as client:
        yield client


@pytest.fixture
def twenty() -> Iterator[ThreadPoolExecutor]:
    """Twenty callers at once."""
    with ThreadPoolExecutor(20) as callers:
        yield callers
