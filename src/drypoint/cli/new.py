"""What the command ``new`` does."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from drypoint.cli.show import set_aside_lines
from drypoint.cli.start import free, reused
from drypoint.errors import RecordError
from drypoint.recipe import starting_recipe
from drypoint.records import Layout, Understanding, starting_recipe_records
from drypoint.records.looking import look_at
from drypoint.records.starting import alike, why_lost, with_specimens
from drypoint.store import atomic_write


def write_new(study: Path, files: Sequence[Path], name: str, shape: str) -> int:
    """Write a starting study file; an existing file is never replaced. Return 0 when every file
    was read without a question, 3 otherwise."""
    free(study)
    looks: list[Understanding] = []
    records, root = "", study.parent.resolve()
    if files:
        looks = look_at(files, Layout(), root)
        records = starting_recipe_records(looks, root)
        _nothing_read(looks)
    text = starting_recipe(name, records, shape=shape)
    study.parent.mkdir(parents=True, exist_ok=True)
    atomic_write(study, text.encode("utf-8"))
    print("".join(f"{line}\n" for line in reused(looks)), end="")
    print(f"Written: {study}")
    said = [*_specimen_lines(looks), *_trouble_lines(looks)]
    print("".join(f"{line}\n" for line in said), end="")
    trouble = any(u.questions or u.faults for u in looks)
    if trouble:
        print("Answer what is open in the study file: take the # away from the line that is right.")
    print("Look through it: specimens, Poisson's ratio, tip, frame.")
    print(f"Then: drypoint run {study}")
    return 3 if trouble else 0


def _nothing_read(looks: Sequence[Understanding]) -> None:
    """Refuse to write a study of files none of which is a record."""
    groups, lost = alike(looks)
    if groups:
        return
    shown = "; ".join(f"{u.path}: {why_lost(u)}" for u in lost[:5])
    raise RecordError(
        f"No file could be read. {shown}" + (f"; and {len(lost) - 5} more" if lost[5:] else ""),
        remedy="No study file was written. To see what is understood of a file: "
        "drypoint inspect FILE",
    )


def _specimen_lines(looks: Sequence[Understanding]) -> list[str]:
    """The specimens that were proposed, and how many files each has."""
    groups, _ = alike(with_specimens(looks))
    files: dict[str, set[str]] = {}
    for group in groups:
        files.setdefault(group[0].header["specimen"], set()).update(u.path for u in group)
    if not files:
        return []
    each = ", ".join(f"{name} ({_count(len(paths), 'file')})" for name, paths in files.items())
    return [f"Specimens, from headers and file names: {each}"]


def _trouble_lines(looks: Sequence[Understanding]) -> list[str]:
    """What could not be read, and what is open, file by file."""
    out: list[str] = []
    faults = [f for u in looks for f in u.faults]
    if faults:
        out += [f"Not read, {len(faults)}:", *set_aside_lines(faults)]
    asked: dict[str, list[str]] = {}
    for u in looks:
        for q in u.questions:
            asked.setdefault(q.what, []).append(u.path)
    if asked:
        out.append(f"Open, {_count(len(asked), 'question')}:")
    for what, paths in asked.items():
        more = f" and {_count(len(paths) - 1, 'more file')}" if len(paths) > 1 else ""
        out.append(f"  {paths[0]}{more}: {what}")
    return out


def _count(n: int, word: str) -> str:
    return f"{n} {word}{'' if n == 1 else 's'}"
