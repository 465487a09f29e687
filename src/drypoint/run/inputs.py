"""Every file that a study's numbers come from, as its patterns find them now."""

from __future__ import annotations

from collections.abc import Iterable

from drypoint.recipe import Study
from drypoint.recipe.to_scratch import track_files
from drypoint.store.manifest import file_sha256


def input_hashes(study: Study, also: Iterable[str] = ()) -> dict[str, str]:
    """SHA-256 of each raw file by its name in the study; patterns are searched again.

    Parameters
    ----------
    study : Study
    also : iterable of str
        Further names (pictures and tables that were inputs before); those missing are left out.

    Raises
    ------
    RecipeError
        When a pattern finds no file, or a file that another table has too.
    """
    names: list[str] = []
    for i in range(len(study.file.records)):
        names += study.record_files(i)
    for i in range(len(study.file.tracks)):
        names += track_files(study, i)
    if study.file.tests_table is not None:
        names.append(study.file.tests_table.file.replace("\\", "/"))
    names += [n for n in also if (study.folder / n).is_file()]
    return {n: file_sha256(study.folder / n) for n in sorted(set(names))}
