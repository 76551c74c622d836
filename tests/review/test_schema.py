"""Anything that the API's own description allows, and much that it does not, gets an answer and never a server error."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from hypothesis import HealthCheck, given, settings

from tagger.review.app import create_app
from tagger.review.safety import Door

schemathesis = pytest.importorskip("schemathesis")
pytestmark = pytest.mark.slow

PAGE_TOKEN = "page-token-of-the-test"


@pytest.fixture(scope="module")
def address(pattern: Path) -> Any:
    """A real server over the invented library."""
    door = Door(frozenset({"127.0.0.1:8497"}), page_token=PAGE_TOKEN)
    server = uvicorn.Server(uvicorn.Config(create_app(pattern, door), port=8497, log_level="critical"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        thread.join(0.05)
    yield "http://127.0.0.1:8497"
    server.should_exit = True
    thread.join(10)


def test_no_request_breaks_the_server(address: str) -> None:
    headers = {"x-page-token": PAGE_TOKEN, "origin": address}
    described = schemathesis.openapi.from_url(f"{address}/api/openapi.json")
    operations = [found.ok() for found in described.get_all_operations()]
    assert len(operations) >= 8
    for operation in operations:

        @settings(max_examples=60, deadline=None, database=None, suppress_health_check=list(HealthCheck))
        @given(case=operation.as_strategy())
        def attack(case: Any) -> None:
            answer = case.call(base_url=address, headers=headers)
            assert answer.status_code < 500, (case.method, case.path, answer.text)

        attack()
