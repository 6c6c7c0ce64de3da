"""The API under whatever its own description allows: never a fault of the server."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from tests.web.conftest import HOST, ORIGIN, demo_into

from linkwright.store import Store
from linkwright.web.app import create_app


@pytest.mark.filterwarnings("ignore")  # what the fuzzer itself warns of
def test_no_request_is_a_fault_of_the_server(tmp_path: Path) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True) as store:
        demo_into(store)
        app = create_app(store, frozenset({HOST}))
        schema = schemathesis.openapi.from_asgi("/openapi.json", app, headers={"host": HOST})
        tried = []
        for found in schema.get_all_operations():
            operation = found.ok()  # type: ignore[union-attr]

            @settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck), database=None)
            @given(case=operation.as_strategy())
            def ask(case: Any) -> None:
                answered = case.call(headers={**ORIGIN, "host": HOST})
                assert answered.status_code < 500, (case.method, case.path, answered.status_code)

            ask()
            tried.append(operation.path)
        assert {"/api/field", "/plan/try", "/api/air/levels", "/join"} <= set(tried)
