"""Layouts that a user saved, found again by the shape of a file: its kind, columns and units."""

from __future__ import annotations

import json
import os
import re
import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

from drypoint.errors import RecipeError, Where
from drypoint.parsing import toml_document
from drypoint.records.columns import toml_line
from drypoint.records.layout import ROLES, Column, Layout

if TYPE_CHECKING:
    from drypoint.records.understanding import Understanding

#: Names the folder for what a user keeps between studies.
HOME = "DRYPOINT_HOME"
_NAME = re.compile(r"\w[\w.\- ]{0,60}")
_PLAIN = tuple(f.name for f in fields(Layout) if f.name != "columns")


@dataclass(frozen=True)
class Shape:
    """What tells that two files are laid out alike."""

    kind: str
    delimiter: str | None
    names: tuple[str, ...]
    units: tuple[str, ...]


@dataclass(frozen=True)
class Saved:
    """A layout with its name, and the shape of the files that it is for."""

    name: str
    shape: Shape
    layout: Layout


def home() -> Path:
    """The folder for what a user keeps: ``DRYPOINT_HOME``, or the system's place for settings."""
    given = os.environ.get(HOME, "").strip()
    return Path(given) if given else platformdirs.user_config_path("drypoint", appauthor=False)


def shape_of(u: Understanding) -> Shape | None:
    """The shape of a file that was looked at; ``None`` where no names of columns were found."""
    names = tuple(" ".join(c.name.split()) for c in u.columns)
    if u.kind is None or not any(names):
        return None
    return Shape(u.kind, u.delimiter, names, u.units)


def saved_layouts() -> list[Saved]:
    """All saved layouts, by name.

    Raises
    ------
    RecipeError
        One of the files is damaged.
    """
    folder = home() / "layouts"
    if not folder.is_dir():
        return []
    return [_read(path) for path in sorted(folder.glob("*.toml"))]


def find_layout(u: Understanding, known: list[Saved]) -> tuple[str, Layout] | None:
    """Name and layout saved for files of this shape."""
    shape = shape_of(u)
    return next(((s.name, s.layout) for s in known if s.shape == shape), None)


def save_layout(name: str, shape: Shape, layout: Layout) -> Path:
    """Keep a layout for files of a shape; one of the same name is replaced.

    Raises
    ------
    RecipeError
        The name is none, or another layout is saved for files of this shape.
    """
    path = _path(name)
    for other in saved_layouts():
        if other.shape == shape and other.name != name:
            raise RecipeError(
                f"The layout “{other.name}” is saved for files of this shape already.",
                where=Where(str(path)),
                remedy=f"Save it under that name, or remove it: drypoint layouts --remove "
                f"{json.dumps(other.name)}",
            )
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_text(_text(shape, layout), encoding="utf-8", newline="\n")
    part.replace(path)
    return path


def remove_layout(name: str) -> Path:
    """Delete a saved layout.

    Raises
    ------
    RecipeError
        There is none of that name.
    """
    path = _path(name)
    if not path.is_file():
        known = ", ".join(s.name for s in saved_layouts()) or "none"
        raise RecipeError(
            f"There is no saved layout “{name}”.", where=Where(str(path)), remedy=f"Saved: {known}."
        )
    path.unlink()
    return path


def with_answers(layout: Layout, answers: list[str]) -> Layout:
    """A layout with lines of TOML as the questions offer them (``decimal = ","``).

    Raises
    ------
    RecipeError
        A line is no TOML, or its key is none of a layout.
    """
    values: dict[str, Any] = {name: getattr(layout, name) for name in _PLAIN}
    columns = dict(layout.columns)
    for line in answers:
        try:
            table = toml_document(line.replace(" and ", "\n") if '" and ' in line else line)
            for key, value in table.items():
                if key in ROLES:
                    columns[key] = Column(**value)
                elif key in _PLAIN:
                    values[key] = tuple(value) if key == "inside" else value
                else:
                    raise ValueError(f"“{key}” is no key of a layout")
        except (tomllib.TOMLDecodeError, TypeError, ValueError) as error:
            raise RecipeError(
                f"The answer “{line}” cannot be used: {error}.",
                remedy="Give it as the question shows it, for example "
                '--answer \'depth = {name = "Depth", unit = "nm"}\'.',
            ) from error
    return Layout(**values, columns=columns)


def _path(name: str) -> Path:
    if not _NAME.fullmatch(name) or name.endswith((".", " ")):
        raise RecipeError(
            f"“{name}” is no name for a layout.", remedy="Use letters, digits, “-” and “_”."
        )
    return home() / "layouts" / f"{name}.toml"


def _text(shape: Shape, layout: Layout) -> str:
    lines = ["[shape]", f"kind = {_quote(shape.kind)}"]
    if shape.delimiter is not None:
        lines.append(f"delimiter = {_quote(shape.delimiter)}")
    lines.append(f"names = [{', '.join(map(_quote, shape.names))}]")
    lines.append(f"units = [{', '.join(map(_quote, shape.units))}]")
    lines += ["", "[layout]"]
    for name in _PLAIN:
        value = getattr(layout, name)
        if value in (None, (), False):
            continue
        if isinstance(value, tuple):
            lines.append(f"{name} = [{', '.join(map(_quote, value))}]")
        else:
            shown = _quote(value) if isinstance(value, str) else repr(value).lower()
            lines.append(f"{name} = {shown}")
    if layout.columns:
        lines += ["", "[layout.columns]"]
        lines += [
            toml_line(role, c.name or "", c.index or 0, c.unit, c.scale, c.attributes)
            for role, c in layout.columns.items()
        ]
    return "\n".join(lines) + "\n"


def _quote(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _read(path: Path) -> Saved:
    try:
        table = toml_document(path.read_text(encoding="utf-8"))
        shape, layout = table["shape"], dict(table["layout"])
        columns = {k: Column(**v) for k, v in layout.pop("columns", {}).items()}
        layout["inside"] = tuple(layout.get("inside", ()))
        return Saved(
            path.stem,
            Shape(
                shape["kind"], shape.get("delimiter"), tuple(shape["names"]), tuple(shape["units"])
            ),
            Layout(**layout, columns=columns),
        )
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError, TypeError) as error:
        raise RecipeError(
            "This saved layout cannot be read.",
            where=Where(str(path)),
            remedy="Delete the file, and save the layout again.",
        ) from error
