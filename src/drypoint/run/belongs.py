"""Two studies in one folder: neither may write over what the other has written."""

from __future__ import annotations

from pathlib import Path

from drypoint.errors import StoreError, Where
from drypoint.recipe import Study
from drypoint.store.manifest import read_manifest

#: Under this name the list of a result set says which study file it was made from.
STUDY = "study"


def check_results(study: Study, folder: Path) -> None:
    """Refuse a folder that holds the results of another study beside this one.

    Raises
    ------
    StoreError
        When they are of another study file that is still there.
    """
    try:
        named = str(read_manifest(folder).origin.more.get(STUDY, ""))
    except StoreError:
        return  # nothing there yet; what else is wrong with the folder is said when it is written
    check_owner(study, named, folder, "results", "folder")


def check_owner(study: Study, named: str, folder: Path, what: str, key: str) -> None:
    """Refuse a folder where ``named`` is another study file in this study's folder.

    ``what`` is in the folder, ``key`` of ``[output]`` names it.

    Raises
    ------
    StoreError
        When there is such a file.
    """
    if named in ("", study.path.name) or not study.path.with_name(named).is_file():
        return
    raise StoreError(
        f"The {what} in this folder are of another study, {named}."
        if what.endswith("s")
        else f"The {what} in this folder is of another study, {named}.",
        where=Where(str(folder)),
        remedy=f'Give one of the two a folder of its own: {key} = "..." under [output].',
    )
