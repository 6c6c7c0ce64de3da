"""The jobs and the browser of the pages' own tests."""

from tests.web.conftest import browser, demo, empty, store

__all__ = ["browser", "demo", "empty", "store"]
