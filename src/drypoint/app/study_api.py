"""Endpoints that every view of a study uses: its state, decisions, undo, work, events, recipe."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from typing import Any

from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.jobs import Job, Jobs
from drypoint.app.session import OLDER, Session, State
from drypoint.errors import DrypointError
from drypoint.recipe import Decision, parse_decision, read_study, touches, turns
from drypoint.recipe.decisions import unknown_test
from drypoint.run.critical_loads import check_load

#: Seconds between looks at the files of a study, for what others change.
_LOOK_S = 2.0


class Act(Form):
    """What a person decides; as an entry of the decisions file."""

    what: str
    who: str
    why: str
    test: str | None = None
    cycle: int | None = None
    value: Any = None


class Acts(Form):
    """Decisions, and the version of the study they were made on."""

    version: str
    decisions: list[Act] = Field(min_length=1, max_length=1000)


class Turn(Form):
    """Undo or redo: by whom, and on which version."""

    version: str
    who: str = Field(min_length=1, max_length=200)


class Wish(Form):
    """Work to begin."""

    kind: str
    options: dict[str, Any] = Field(default_factory=dict)


class Recipe(Form):
    """Text of the study file, and the version that it was made from."""

    text: str
    version: str


class RecipeText(Form):
    """Text of a study file, to be looked at only."""

    text: str


def jobs_of(request: Request) -> Jobs:
    """All work of this workbench."""
    jobs: Jobs = request.app.state.jobs
    return jobs


def values_of(state: State) -> dict[str, Any]:
    """A study's state as plain values."""
    decisions = state.journal.decisions
    due = turns(decisions)
    return {
        "name": state.study.name,
        "invented": state.study.file.study.invented,
        "version": state.version,
        "standing": state.standing,
        "accepted_sha256": state.accepted_sha256,
        "decisions": [_decision_values(d) for d in decisions],
        "undo": _decision_values(decisions[due.undo[-1] - 1]) if due.undo else None,
        "redo": _decision_values(decisions[due.redo[-1] - 1]) if due.redo else None,
        "notes": list(state.journal.notes),
    }


def _decision_values(d: Decision) -> dict[str, Any]:
    return d.model_dump(mode="json")


def study_state(request: Request) -> dict[str, Any]:
    """State of a study."""
    return values_of(session_of(request).state())


def decide(request: Request, body: Acts) -> dict[str, Any]:
    """Write decisions; work that they make necessary begins at once."""
    session = session_of(request)
    made = [_decision(a) for a in body.decisions]
    _check_tests(session, made)
    return after_write(request, session, session.decide(made, body.version), made)


def undo_last(request: Request, body: Turn) -> dict[str, Any]:
    """Take the newest decision back."""
    session = session_of(request)
    return after_write(request, session, session.undo(body.who, body.version))


def redo_last(request: Request, body: Turn) -> dict[str, Any]:
    """Put the decision that was undone last in force again."""
    session = session_of(request)
    return after_write(request, session, session.redo(body.who, body.version))


def _decision(act: Act) -> Decision:
    body = act.model_dump(exclude_none=True)
    if act.what not in ("exclude", "include", "remark"):
        body["value"] = act.value
    return parse_decision(json.dumps(body))


def _check_tests(session: Session, made: list[Decision]) -> None:
    state = session.state()
    if state.results is None or state.work != "run":
        return
    known = state.results.table("tests")["test"].to_list()
    tracks: list[str] = []
    if "tracks.parquet" in state.results.manifest.files:
        tracks = state.results.table("tracks")["track"].to_list()
    for d in made:
        if d.what == "critical_load":
            _check_load(state, d, tracks)
        elif d.test is not None and d.test not in known and d.test not in tracks:
            raise unknown_test(d.test, [*known, *tracks], state.study.path)


def _check_load(state: State, d: Decision, tracks: list[str]) -> None:
    """As the command does: the track, the candidate that is meant, and the event are known."""
    assert state.results is not None and d.test is not None
    if d.test not in tracks:
        raise unknown_test(d.test, tracks, state.study.path)
    spots: list[tuple[float, float, float]] = []
    if "track_candidates.parquet" in state.results.manifest.files:
        table = state.results.table("track_candidates")
        mine = table.filter(table["track"] == d.test)
        spots = list(mine.select("load_mN", "low_mN", "high_mN").iter_rows())
    check_load(state.study, d.test, d.value or {}, spots)


def after_write(
    request: Request, session: Session, state: State, made: list[Decision] | None = None
) -> dict[str, Any]:
    """The state after a write, and the work that it makes necessary, begun."""
    job = None
    felt = made is None or any(touches(d) != "report" for d in made)
    if state.standing == OLDER and felt:
        job = jobs_of(request).start(state.work, session.key, session.path, {})
    return {**values_of(state), "job": job.values() if job is not None else None}


def list_jobs(request: Request) -> list[dict[str, Any]]:
    """Work on a study, oldest first."""
    return [j.values() for j in jobs_of(request).of(session_of(request).key)]


def start_job(request: Request, body: Wish) -> dict[str, Any]:
    """Begin work on a study."""
    session = session_of(request)
    return jobs_of(request).start(body.kind, session.key, session.path, body.options).values()


def one_job(request: Request) -> dict[str, Any]:
    """A piece of work."""
    return jobs_of(request).get(request.path_params["job"]).values()


def stop_job(request: Request) -> dict[str, Any]:
    """Stop a piece of work; earlier results stay."""
    return jobs_of(request).stop(request.path_params["job"]).values()


def recipe_text(request: Request) -> dict[str, Any]:
    """Text of the study file."""
    session = session_of(request)
    now = session.on_disk()  # text and version of the same bytes
    try:
        text = now.data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = ""
    text = text.replace("\r\n", "\n")
    return {"text": text, "version": now.version, "file": session.path.name}


def check_recipe(request: Request, body: RecipeText) -> dict[str, Any]:
    """Say whether a text would be a right study file; nothing is written."""
    study = read_study(body.text, session_of(request).path)
    return {"right": True, "name": study.name, "notes": list(study.notes)}


def write_recipe(request: Request, body: Recipe) -> dict[str, Any]:
    """Replace the study file by a text that is right."""
    session = session_of(request)
    return after_write(request, session, session.write_recipe(body.text, body.version))


async def events(request: Request) -> Response:
    """Server-sent events: ``job`` with each change of work, ``study`` when its files change."""
    session = session_of(request)
    if request.method == "HEAD":
        return Response(media_type="text/event-stream")
    jobs = jobs_of(request)
    loop = asyncio.get_running_loop()
    queue: asyncio.Queue[Job] = asyncio.Queue()

    def observe(job: Job) -> None:
        if job.study == session.key:
            loop.call_soon_threadsafe(queue.put_nowait, job)

    leave = jobs.observe(observe)

    async def tell() -> AsyncIterator[str]:
        try:
            seen = await run_in_threadpool(_stamp, session)
            yield "retry: 1000\n\n"
            for job in jobs.of(session.key):
                if not job.over:
                    yield _event("job", job.values())
            while not request.app.state.closing():
                try:
                    job = await asyncio.wait_for(queue.get(), _LOOK_S)
                    yield _event("job", job.values())
                    if not job.over:
                        continue
                except TimeoutError:
                    yield ": still here\n\n"
                now = await run_in_threadpool(_stamp, session)
                if now != seen:
                    seen = now
                    yield _event("study", await run_in_threadpool(_brief, session))
        finally:
            leave()

    return StreamingResponse(tell(), media_type="text/event-stream")


def _event(name: str, values: Any) -> str:
    return f"event: {name}\ndata: {json.dumps(values, ensure_ascii=False)}\n\n"


def _stamp(session: Session) -> tuple[Any, ...]:
    """Times and sizes of the files that make a study's state."""
    stem = session.path.with_suffix("")
    kept = (".decisions.jsonl", ".signatures.jsonl")
    files = [session.path, *(stem.with_name(stem.name + ending) for ending in kept)]
    with contextlib.suppress(DrypointError):
        study = session.state().study
        files.append(study.results / "manifest.json")
        # Calibrations, which the command line may accept while a page is open.
        named = [b.file for b in study.file.benches.values()]
        if study.file.calibration is not None:
            named.append(study.file.calibration.file)
        files += [study.folder / name.replace("\\", "/") for name in named]
    out: list[Any] = []
    for path in files:
        try:
            stat = path.stat()
            out.append((stat.st_mtime_ns, stat.st_size))
        except OSError:
            out.append(None)
    return tuple(out)


def _brief(session: Session) -> dict[str, Any]:
    try:
        state = session.state()
    except DrypointError as error:
        return {"fault": str(error)}
    return {"version": state.version, "standing": state.standing}


_S = "/api/studies/{key}"
ENDPOINTS = (
    Endpoint("GET", _S, study_state, "State of a study"),
    Endpoint("POST", f"{_S}/decisions", decide, "Write decisions", body=Acts),
    Endpoint("POST", f"{_S}/undo", undo_last, "Undo the newest decision", body=Turn),
    Endpoint("POST", f"{_S}/redo", redo_last, "Redo what was undone last", body=Turn),
    Endpoint("GET", f"{_S}/jobs", list_jobs, "Work on a study"),
    Endpoint("POST", f"{_S}/jobs", start_job, "Begin work", body=Wish),
    Endpoint("GET", "/api/jobs/{job}", one_job, "A piece of work"),
    Endpoint("POST", "/api/jobs/{job}/stop", stop_job, "Stop a piece of work"),
    Endpoint("GET", f"{_S}/events", events, "What happens, as it does", gives="text/event-stream"),
    Endpoint("GET", f"{_S}/recipe", recipe_text, "Text of the study file"),
    Endpoint("POST", f"{_S}/recipe/check", check_recipe, "Look at a text", body=RecipeText),
    Endpoint("POST", f"{_S}/recipe", write_recipe, "Replace the study file", body=Recipe),
)
