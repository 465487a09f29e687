"""The report: preview, files to take along, signatures and whether they hold."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import Field
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from drypoint import paths
from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.faults import NotFound
from drypoint.app.pages import View
from drypoint.app.session import CURRENT, State, overtaken
from drypoint.app.snippets import report_python
from drypoint.app.study_api import jobs_of
from drypoint.errors import LedgerError, Where
from drypoint.recipe.hashing import canonical_hash
from drypoint.report.signed import origin_hash, origin_in
from drypoint.run.checking import Check, check_signatures
from drypoint.run.signing import (
    Signature,
    read_signatures,
    standing_on_disk,
    values_of,
)

#: A report in a frame: its own style and pictures, no script, no form, nothing from elsewhere.
POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'self'; sandbox"
)
_KINDS = {"report.html": "text/html; charset=utf-8", "report.pdf": "application/pdf"}


class Wanted(Form):
    """A file of the report; of a signature by its number, else of the state as it is."""

    name: str
    signature: int | None = Field(default=None, ge=1)


class Sign(Form):
    """A signature: name, remark, meaning, and the version of the study that was looked at.

    With a passphrase it is made with the key of that person in the user's folder.
    """

    version: str
    who: str = Field(min_length=1, max_length=200)
    why: str = Field(min_length=1, max_length=1000)
    ledger: bool = True
    meaning: Literal["author", "review", "approval"] = "approval"
    passphrase: str = Field(default="", max_length=1000, repr=False)


def context(request: Request, state: State) -> Mapping[str, Any]:
    """What the page's template knows."""
    return {"has_results": state.results is not None}


def standing(request: Request) -> dict[str, Any]:
    """Version, signatures, and whether the report that was written says what the study says."""
    state = session_of(request).state()
    now = standing_on_disk(state.study)
    written = False
    if state.standing == CURRENT and state.results is not None:
        o = state.results.manifest.origin
        due = origin_hash(
            o.recipe_hash, o.decisions_hash, canonical_hash(dict(o.inputs)), o.version, now
        )
        written = origin_in(state.study.reports / "report.html") == due
    return {
        "state": state.version,
        "standing": state.standing,
        "version": now.version,
        "changes": list(now.changes),
        "written": written,
        "pdf": written and (state.study.reports / "report.pdf").is_file(),
        "signatures": [_values(s) for s in now.signatures],
        "signed": [s.who for s in now.mine],
        "command": shlex.join(["drypoint", "sign", str(state.study.path), "--who"]),
        "study": str(state.study.path),
        "ledger": _ledger(),
        "enter": not state.study.file.study.invented,
        "report_command": shlex.join(["drypoint", "report", str(state.study.path)]),
        "python": report_python(state.study.path),
    }


def _ledger() -> str:
    """Where the ledger lies, as it may be shown; what is wrong with its address is said there."""
    from drypoint.ledger.place import find_place

    try:
        return str(find_place())
    except LedgerError as error:
        return error.what


def _values(s: Signature) -> dict[str, Any]:
    values = values_of(s)
    return {
        k: values[k] for k in ("number", "version", "who", "when", "why", "seal", "hash", "words")
    }


def check(request: Request) -> dict[str, Any]:
    """Whether each signature holds; all files are hashed anew."""
    found = check_signatures(session_of(request).state().study)
    return {"checks": [_check(c) for c in found]}


def _check(c: Check) -> dict[str, Any]:
    return {
        "number": c.signature.number,
        "holds": c.holds,
        "broken": bool(c.faults),
        "words": c.words,
        "notes": list(c.notes),
        "changes": list(c.changes) if c.newest else [],
    }


def sign(request: Request, body: Sign) -> dict[str, Any]:
    """Begin to sign the study as it was looked at."""
    session = session_of(request)
    state = session.state()
    if state.version != body.version:
        raise overtaken(state.study.path, state.journal)
    seen = [state.study.recipe_hash, state.journal.sha256]
    options = {
        "who": body.who, "why": body.why, "seen": seen, "ledger": body.ledger,
        "meaning": body.meaning, "passphrase": body.passphrase,
    }  # fmt: skip
    return jobs_of(request).start("sign", session.key, session.path, options).values()


def _file(request: Request, query: Wanted) -> Path:
    state = session_of(request).state()
    if query.name not in _KINDS:
        raise NotFound(f"There is no file “{query.name}”.", remedy="Known: " + ", ".join(_KINDS))
    path = state.study.reports / query.name
    if query.signature is not None:
        signatures = read_signatures(state.study.path)
        if query.signature > len(signatures):
            raise NotFound(f"There is no signature {query.signature}.")
        path = state.study.folder / signatures[query.signature - 1].file(query.name)
    if not (paths.is_inside(path, state.study.folder) and paths.is_file(path)):
        raise NotFound(
            "The report has not been written yet.", where=Where(str(path)), remedy="Write it."
        )
    return path


def page(request: Request, query: Wanted) -> Response:
    """A report's page, for a frame."""
    headers = {"content-security-policy": POLICY, "x-frame-options": "SAMEORIGIN"}
    return FileResponse(_file(request, query), media_type=_KINDS["report.html"], headers=headers)


def download(request: Request, query: Wanted) -> Response:
    """A report's page or PDF, to be kept."""
    path = _file(request, query)
    stem = session_of(request).path.stem
    of = "" if query.signature is None else f"-signature-{query.signature}"
    name = f"{stem}{of}-{query.name}"
    return FileResponse(path, media_type=_KINDS[query.name], filename=name)


_R = "/api/studies/{key}/report"
VIEW = View(
    "report",
    "Report",
    context,
    (
        Endpoint("GET", f"{_R}/standing", standing, "Version and signatures"),
        Endpoint("GET", f"{_R}/check", check, "Whether signatures hold"),
        Endpoint("POST", f"{_R}/sign", sign, "Sign", body=Sign),
        Endpoint("GET", f"{_R}/page", page, "A report's page", query=Wanted, gives="text/html"),
        Endpoint("GET", f"{_R}/file", download, "A report as a file", query=Wanted,
                 gives="application/octet-stream"),
    ),
)  # fmt: skip
