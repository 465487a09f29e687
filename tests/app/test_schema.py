"""The endpoints against their own description (OpenAPI), with drawn requests: never a fault of the
server's own, and every refusal in words. Invented data."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
import schemathesis
from app_demo import BASE, KEY, ORIGIN, PORT
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from starlette.testclient import TestClient

from drypoint.app import Settings, create_app


@pytest.fixture(scope="module")
def door(run_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A workbench over a copy, whose streams end at once."""
    root = tmp_path_factory.mktemp("schema") / "studies"
    shutil.copytree(run_demo, root)
    told = Settings(root, port=PORT, upload_bytes=100_000)
    app = create_app(told, lambda: True)
    with TestClient(app, base_url=BASE, headers=ORIGIN, raise_server_exceptions=False) as client:
        client.get(f"/open?token={told.token}")
        yield client


@pytest.fixture(scope="module")
def document(door: TestClient) -> dict[str, Any]:
    found: dict[str, Any] = door.get("/api/openapi.json").json()
    return found


def test_every_endpoint_is_described(door: TestClient, document: dict[str, Any]) -> None:
    app: Any = door.app
    served = {
        (method, route.path.replace(":path}", "}"))
        for route in app.routes
        if getattr(route, "path", "").startswith("/api/")
        for method in route.methods - {"HEAD"}
    }
    described = {
        (method.upper(), path) for path, methods in document["paths"].items() for method in methods
    }
    assert served == described
    for methods in document["paths"].values():
        for what in methods.values():
            assert what["summary"]
            for body in what.get("requestBody", {}).get("content", {}).values():
                Draft202012Validator.check_schema(body["schema"])


@settings(
    max_examples=150, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)
@given(data=st.data())
def test_what_is_drawn_is_answered_in_words(
    door: TestClient, document: dict[str, Any], data: st.DataObject
) -> None:
    schema = schemathesis.openapi.from_dict(document)
    operations = [o.ok() for o in schema.get_all_operations()]
    operation = data.draw(st.sampled_from(operations), label="endpoint")
    case = data.draw(operation.as_strategy(), label="request")
    known = data.draw(st.booleans(), label="a study that is there")
    path = operation.path
    for name, value in (case.path_parameters or {}).items():
        text = KEY if name == "key" and known else str(value)
        path = path.replace("{" + name + "}", quote(text, safe=""))
    body: dict[str, Any] = {}
    if operation.method.upper() in ("POST", "PUT"):
        drawn = case.body if isinstance(case.body, (dict, list, str, int, float)) else {}
        body = {"content": json.dumps(drawn), "headers": {"content-type": "application/json"}}
    answer = door.request(operation.method.upper(), path, params=case.query or {}, **body)
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400 and "json" in answer.headers.get("content-type", ""):
        error = answer.json()["error"]
        assert error["what"] and error["text"] and set(error) >= {"kind", "where", "remedy"}
    assert "default-src 'self'" in answer.headers["content-security-policy"]
