"""Text of a TOML file, and its keys; faults with file and line."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.errors import PathError, RecipeError, Where
from drypoint.parsing import MOST_TOML, BoundError, toml_document

Document = dict[str, Any]


def read_text(path: Path) -> str:
    """The text of a study file (UTF-8, with or without mark)."""
    return text_of(read_file(path), path)


def read_file(path: Path) -> bytes:
    """The bytes of a study file, or of a file that it names."""
    try:
        raw = paths.read_bytes(path, most=4 * MOST_TOML + 1)
    except PathError as error:
        raise RecipeError(error.what, where=error.where, remedy=error.remedy) from error
    except FileNotFoundError as error:
        raise RecipeError(
            "There is no such file.",
            where=Where(str(path)),
            remedy="Check the name, or make a study with “drypoint new”.",
        ) from error
    except OSError as error:
        raise RecipeError(
            f"The file cannot be read: {error.strerror or error}.",
            where=Where(str(path)),
            remedy="Check the path and your rights.",
        ) from error
    if len(raw) > 4 * MOST_TOML:
        raise RecipeError(
            f"Invalid file: got more than {4 * MOST_TOML / 1e6:g} MB; expected a text of at most "
            f"{MOST_TOML / 1e6:g} million characters.",
            where=Where(str(path)),
            remedy="Check whether this is the file that was meant.",
        )
    return raw


def text_of(raw: bytes, path: Path) -> str:
    """The text of such bytes."""
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise RecipeError(
            "The text is not UTF-8.",
            where=Where(str(path), line=line),
            remedy="Save the file as UTF-8.",
        ) from error


def parse(text: str, path: Path) -> Document:
    """The keys of a TOML text."""
    try:
        return toml_document(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        line = int(found[1]) if found else text.count("\n") + 1
        column = int(found[2]) if found else None
        what = re.sub(r"\s*\(at .*\)$", "", str(error))
        if isinstance(error, BoundError):
            raise RecipeError(
                f"Invalid text: {what}.",
                where=Where(str(path), line=line, column=column),
                remedy="No study needs more; look at this place of the file.",
            ) from error
        raise RecipeError(
            f"This is not valid TOML: {what}.",
            where=Where(str(path), line=line, column=column),
            remedy="Text stands in quotes, tables in [brackets], and each key once: name = value.",
        ) from error
