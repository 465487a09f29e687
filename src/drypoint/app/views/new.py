"""A new study: files dropped or found, what was understood of them, and a study file written."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, get_args

from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from drypoint import materials, paths
from drypoint.app.api import Endpoint, Form, readings_of
from drypoint.app.faults import Overtaken, PageError
from drypoint.app.intake import GroupForm, raw_files
from drypoint.app.pages import page
from drypoint.app.places import find_studies, inside, key_of, plain_name
from drypoint.app.uploads import upload
from drypoint.errors import PathError, Where
from drypoint.locking import lock_file
from drypoint.recipe import starting_recipe
from drypoint.recipe.equipment import TipKeys
from drypoint.records.layout import ROLES
from drypoint.records.listing import name_fault
from drypoint.store import atomic_write
from drypoint.store.manifest import NAME as MANIFEST

#: Shapes of a tip that a study file may name.
TIP_SHAPES: tuple[str, ...] = get_args(TipKeys.model_fields["shape"].annotation)
_CALIBRATION = b'format = "drypoint-calibration"'


class Look(Form):
    """A folder of the workbench, and how groups of its files are to be read. Without groups, all
    its files but those of ``leave_out``."""

    folder: str
    groups: list[GroupForm] = Field(default_factory=list)
    leave_out: list[str] = Field(default_factory=list, max_length=5000)
    preview: bool = True


class Poisson(Form):
    """Poisson's ratio of a specimen with its standard uncertainty."""

    nu: float = Field(gt=-1.0, lt=0.5)
    u_nu: float = Field(ge=0.0)


class NewStudy(Form):
    """All that a new study file says."""

    folder: str
    name: str = Field(min_length=1, max_length=200)
    question: str = ""
    laboratory: str = ""
    operator: str = ""
    groups: list[GroupForm] = Field(min_length=1)
    poisson: dict[str, Poisson] = Field(default_factory=dict)
    shape: str = "modified Berkovich"
    bench: str = ""


async def new_page(request: Request) -> Response:
    """The page for a new study."""
    root: Path = request.app.state.settings.root
    known = await run_in_threadpool(_known, root)
    return page(request, "new.html", known)


def _known(root: Path) -> dict[str, Any]:
    return {
        "title": "New study",
        "view": "studies",
        "module": "new",
        "folders": folders(root),
        "shapes": TIP_SHAPES,
        "benches": benches(root),
        "roles": [r for r in ROLES if r != "ignore"],
        "materials": [materials.load(n) for n in materials.names()],
    }


def folders(root: Path) -> list[dict[str, Any]]:
    """Folders right in the root that hold raw files and no study yet."""
    taken = {p.parent.resolve() for p in find_studies(root)}
    out = []
    for folder in sorted(p for p in root.iterdir() if p.is_dir() and not p.name.startswith(".")):
        if folder.resolve() in taken or folder.is_symlink() or name_fault(folder.name):
            continue
        files = raw_files(folder)
        if files:
            out.append({"name": folder.name, "files": len(files)})
    return out


def benches(root: Path) -> list[str]:
    """Calibration files in the folder of the studies, relative to it; no proposals in results."""
    out = []
    for path in sorted(root.rglob("*.toml")):
        relative = path.relative_to(root)
        if any(p.startswith(".") for p in relative.parts) or len(relative.parts) > 5:
            continue
        if (path.parent / MANIFEST).is_file() or name_fault(relative.as_posix()):
            continue
        try:
            found = _CALIBRATION in paths.read_bytes(path, most=600)
        except (OSError, PathError):
            continue
        if found:
            out.append(relative.as_posix())
    return out


def look(request: Request, body: Look) -> dict[str, Any]:
    """What is understood of the files of a folder."""
    root: Path = request.app.state.settings.root
    folder = inside(root, body.folder)
    if not folder.is_dir():
        return {"groups": []}
    given = (folder, body.groups, body.leave_out, body.preview)
    return {"groups": readings_of(request).read("look", *given)}


def create(request: Request, body: NewStudy) -> dict[str, Any]:
    """Write the study file; one that is there is never replaced."""
    root: Path = request.app.state.settings.root
    folder = inside(root, plain_name(body.folder))
    path = folder / "study.toml"
    if path.exists():
        raise _there(path)
    if body.shape not in TIP_SHAPES:
        raise PageError(f"“{body.shape}” is no shape of a tip.", where=Where(key="shape"))
    bench = ""
    if body.bench:
        place = inside(root, body.bench)
        bench = Path(os.path.relpath(place, folder)).as_posix()
    text = starting_recipe(
        body.name,
        readings_of(request).read("text", folder, body.groups),
        shape=body.shape,
        question=body.question,
        laboratory=body.laboratory,
        operator=body.operator,
        poisson={s: (p.nu, p.u_nu) for s, p in body.poisson.items()},
        bench=bench,
        folder=folder,
    )
    with lock_file(path.with_name(f".{path.name}.lock")):
        if path.exists():
            raise _there(path)
        atomic_write(path, text.encode("utf-8"))
    return {"key": key_of(root, path), "file": path.relative_to(root).as_posix()}


def _there(path: Path) -> Overtaken:
    return Overtaken(
        "There is a study in this folder already; it is left as it is.",
        where=Where(str(path)),
        remedy="Choose another name.",
    )


NEW = (
    Endpoint("POST", "/api/look", look, "What is understood of raw files", body=Look),
    Endpoint("POST", "/api/studies", create, "Write a new study file", body=NewStudy),
    Endpoint("PUT", "/api/files/{path:path}", upload, "Take a raw file into a folder"),
)
