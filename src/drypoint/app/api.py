"""Endpoints: declared with the forms of what goes in and comes out, documented from that.

A handler gets the request and its body (a checked model, or ``None``). It returns a model, plain
values, or a response. Handlers that are no coroutines run in a thread.
"""

from __future__ import annotations

import inspect
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from drypoint.app.faults import PageError, TooMuch, from_pydantic_body
from drypoint.app.readings import Readings
from drypoint.app.session import Session, Shelf
from drypoint.parsing import json_value
from drypoint.version import __version__

#: Largest body of a request that is no file.
MOST_BYTES = 2_000_000


class Form(BaseModel):
    """Base of what is sent: unknown keys are refused, values are never bent into a type."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


@dataclass(frozen=True)
class Endpoint:
    """One endpoint. ``query`` and ``body`` are forms; ``gives`` is a media type or a form."""

    method: str
    path: str
    handler: Callable[..., Any]
    summary: str
    body: type[Form] | None = None
    query: type[Form] | None = None
    gives: str | type[BaseModel] = "application/json"


def session_of(request: Request) -> Session:
    """The session of the study that the address names."""
    shelf: Shelf = request.app.state.shelf
    return shelf.session(request.path_params["key"])


def readings_of(request: Request) -> Readings:
    """What reads raw files for the pages."""
    readings: Readings = request.app.state.readings
    return readings


async def body_of(request: Request, form: type[Form]) -> Form:
    """The body of a request, checked."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip()
    if kind != "application/json":
        raise PageError("The body is to be JSON (content-type application/json).")
    data = b""
    async for chunk in request.stream():
        data += chunk
        if len(data) > MOST_BYTES:
            raise TooMuch(f"More than {MOST_BYTES // 1_000_000} MB was sent.")
    try:
        json_value(data)  # nesting and numbers within bounds
        return form.model_validate_json(data)
    except ValidationError as error:
        raise from_pydantic_body(error) from error
    except ValueError as error:
        raise PageError(f"The body is not valid JSON: {error}.") from error


def query_of(request: Request, form: type[Form]) -> Form:
    """What stands behind the question mark of an address, checked."""
    given = dict(request.query_params)
    try:
        return form.model_validate_strings(given)
    except ValidationError as error:
        raise from_pydantic_body(error) from error


def routes_of(endpoints: Sequence[Endpoint]) -> list[Route]:
    """Routes of endpoints."""
    return [Route(e.path, _asgi(e), methods=[e.method], name=e.summary) for e in endpoints]


def _asgi(e: Endpoint) -> Callable[[Request], Any]:
    async def handle(request: Request) -> Response:
        given: list[Any] = [request]
        if e.query is not None:
            given.append(query_of(request, e.query))
        if e.body is not None:
            given.append(await body_of(request, e.body))
        if inspect.iscoroutinefunction(e.handler):
            out = await e.handler(*given)
        else:
            out = await run_in_threadpool(e.handler, *given)
        return as_response(out)

    return handle


def as_response(out: Any) -> Response:
    """What a handler returned as a response."""
    if isinstance(out, Response):
        return out
    if isinstance(out, BaseModel):
        return Response(out.model_dump_json(), media_type="application/json")
    return JSONResponse(_finite(out))


def _finite(value: Any) -> Any:
    """Plain values in which what is not known (NaN) is null, since JSON has no NaN."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {k: _finite(v) for k, v in value.items()}
    return [_finite(v) for v in value] if isinstance(value, (list, tuple)) else value


def openapi(endpoints: Sequence[Endpoint]) -> dict[str, Any]:
    """The endpoints as an OpenAPI document."""
    paths: dict[str, dict[str, Any]] = {}
    for e in endpoints:
        names = [p[1:-1].partition(":")[0] for p in e.path.split("/") if p.startswith("{")]
        parameters: list[dict[str, Any]] = [
            {"name": n, "in": "path", "required": True, "schema": {"type": "string"}} for n in names
        ]
        if e.query is not None:
            schema = e.query.model_json_schema()
            needed = schema.get("required", [])
            parameters += [
                {"name": n, "in": "query", "required": n in needed, "schema": s}
                for n, s in schema.get("properties", {}).items()
            ]
        what: dict[str, Any] = {
            "summary": e.summary,
            "parameters": parameters,
            "responses": {
                "200": {"description": "Done.", "content": _content(e.gives)},
                "4XX": {
                    "description": "Not possible: what, where, and what to do.",
                    "content": {"application/json": {"schema": _FAULT}},
                },
            },
        }
        if e.body is not None:
            schema = e.body.model_json_schema(ref_template="#/components/schemas/{model}")
            what["requestBody"] = {
                "required": True,
                "content": {"application/json": {"schema": schema}},
            }
        place = "/".join(
            "{" + p[1:-1].partition(":")[0] + "}" if p.startswith("{") else p
            for p in e.path.split("/")
        )
        paths.setdefault(place, {})[e.method.lower()] = what
    document = {
        "openapi": "3.1.0",
        "info": {"title": "Drypoint workbench", "version": __version__},
        "paths": paths,
    }
    return _with_definitions(document)


def _content(gives: str | type[BaseModel]) -> dict[str, Any]:
    if isinstance(gives, str):
        return {gives: {}}
    schema = gives.model_json_schema(ref_template="#/components/schemas/{model}")
    return {"application/json": {"schema": schema}}


_FAULT = {
    "type": "object",
    "required": ["error"],
    "properties": {
        "error": {
            "type": "object",
            "required": ["kind", "what", "where", "remedy", "text"],
        }
    },
}


def _with_definitions(document: dict[str, Any]) -> dict[str, Any]:
    """Schemas that forms share, moved to where the document keeps them."""
    shared: dict[str, Any] = {}

    def lift(value: Any) -> Any:
        if isinstance(value, dict):
            for name, schema in value.pop("$defs", {}).items():
                shared[name] = lift(schema)
            return {k: lift(v) for k, v in value.items()}
        return [lift(v) for v in value] if isinstance(value, list) else value

    out: dict[str, Any] = lift(json.loads(json.dumps(document)))
    out["components"] = {"schemas": shared}
    return out
