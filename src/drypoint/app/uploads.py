"""Files that are dropped on a page: kept as they came, never replacing another, never unpacked."""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path, PurePosixPath
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from drypoint.app.faults import NotFound, Overtaken, PageError, TooMuch
from drypoint.app.own_folders import own_folder
from drypoint.app.places import inside, plain_name
from drypoint.app.settings import MB, Settings
from drypoint.errors import Where
from drypoint.records.find import NO_RECORDS, not_a_record
from drypoint.store.atomic import cannot_write, clean_leftovers, new_tag, sync_folder
from drypoint.store.manifest import file_sha256

#: Beginnings of files that are certainly no records, whatever their names.
_PROGRAMS = (b"MZ", b"\x7fELF", b"#!", b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"\xca\xfe")
_DEEPEST = 6


async def upload(request: Request) -> dict[str, Any]:
    """Take a file into a folder of the workbench.

    Raises
    ------
    PageError
        The name is none, the file is no record by its name or its first bytes, it or its folder
        is too large, or another file of that name is there.
    """
    settings: Settings = request.app.state.settings
    path = await run_in_threadpool(_place, settings.root, request.path_params["path"])
    length = request.headers.get("content-length", "")
    if length.isdigit() and int(length) > settings.upload_bytes:
        raise _too_large(path, settings)
    await run_in_threadpool(_prepare, path, settings)
    partial = path.with_name(f".{path.name}.{new_tag()}.tmp")
    digest, size = hashlib.sha256(), 0
    try:
        with partial.open("xb") as file:
            async for chunk in request.stream():
                if not size and chunk.startswith(_PROGRAMS):
                    raise PageError(
                        "The file is a program, a script or a picture, and no record.",
                        where=Where(path.name),
                        remedy="Drop text, workbooks, Parquet, HDF5, or zip files of these.",
                    )
                size += len(chunk)
                if size > settings.upload_bytes:
                    raise _too_large(path, settings)
                digest.update(chunk)
                await run_in_threadpool(file.write, chunk)
        if not size:
            raise PageError("The file is empty.", where=Where(path.name))
        same = await run_in_threadpool(_settle, partial, path, digest.hexdigest())
    except OSError as error:
        raise cannot_write(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            partial.unlink()
    return {
        "file": path.relative_to(settings.root).as_posix(),
        "bytes": size,
        "sha256": digest.hexdigest(),
        "same": same,
    }


def _place(root: Path, relative: str) -> Path:
    parts = [plain_name(p) for p in PurePosixPath(relative).parts]
    if not 2 <= len(parts) <= _DEEPEST:
        raise PageError("A file is dropped into a folder of a study, not deeper than five folders.")
    path = inside(root, "/".join(parts))
    _check_own(path, root)
    if not_a_record(path):
        raise PageError(
            f"A file that ends in {path.suffix.lower() or 'nothing'} is no record.",
            where=Where(path.name),
            remedy="Taken are text, workbooks, Parquet, HDF5, and zip files of these; not: "
            + ", ".join(sorted(NO_RECORDS))
            + ".",
        )
    return path


def _check_own(path: Path, root: Path) -> None:
    """Refuse a file in a folder that only Drypoint writes into."""
    if (own := own_folder(path, root)) is not None:
        raise PageError(
            f"The folder {own.name} is written by Drypoint only (results, reports, signed "
            "versions); nothing was taken.",
            where=Where(path.name),
            remedy="Drop raw files into another folder of the study.",
        )


def _prepare(path: Path, settings: Settings) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(path.parent, error) from error
    if not path.parent.is_dir():
        raise NotFound("There is no such folder.", where=Where(path.parent.name))
    _check_own(path, settings.root)  # again: the folder may be another one by now
    clean_leftovers(path)
    if sum(1 for _ in path.parent.iterdir()) >= settings.upload_files:
        raise TooMuch(
            f"The folder holds {settings.upload_files} files already.",
            where=Where(path.parent.name),
            remedy="Pack the records as HDF5 or zip, or begin another study.",
        )


def _settle(partial: Path, path: Path, sha256: str) -> bool:
    """Give the file its name; whether the same file was there already."""
    try:
        path.hardlink_to(partial)
    except FileExistsError:
        if path.is_file() and file_sha256(path) == sha256:
            return True
        raise Overtaken(
            "There is another file of that name; it was left as it is.",
            where=Where(path.name),
            remedy="Rename the new one. Raw files are never replaced.",
        ) from None
    except OSError:
        # A file system without links.
        if path.exists():
            raise Overtaken(
                "There is a file of that name already.", where=Where(path.name)
            ) from None
        partial.rename(path)
    sync_folder(path.parent)
    return False


def _too_large(path: Path, settings: Settings) -> TooMuch:
    return TooMuch(
        f"The file is larger than {settings.upload_bytes // MB} MB.",
        where=Where(path.name),
        remedy="Copy it into the folder of the study by other means.",
    )
