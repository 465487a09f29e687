"""What the commands ``inspect`` and ``layouts`` do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from drypoint.cli.show import set_aside_lines
from drypoint.errors import RecipeError, Where
from drypoint.recipe import starting_recipe
from drypoint.records import (
    Layout,
    Understanding,
    read,
    starting_recipe_records,
)
from drypoint.records.columns import toml_line
from drypoint.records.looking import look_at
from drypoint.records.passes import find_passes, track_and_kind
from drypoint.records.saved import (
    remove_layout,
    save_layout,
    saved_layouts,
    shape_of,
    with_answers,
)
from drypoint.records.segments import KIND_NAMES, Kind, find_segments
from drypoint.store import atomic_write

DELIMITERS = {"tab": "\t", "comma": ",", "semicolon": ";", "blanks": " ", "bar": "|"}
#: Tests of one file that are shown one by one.
_MOST_TESTS = 40


def reused(looks: Sequence[Understanding]) -> list[str]:
    """Which saved layouts were used, and for how many files."""
    names = Counter(u.saved for u in looks if u.saved)
    return [
        f"Layout “{name}” reused for {n} file{'s' if n > 1 else ''}; it is one of: drypoint layouts"
        for name, n in names.items()
    ]


def _save(name: str, looks: Sequence[Understanding], layout: Layout) -> None:
    """Keep the answered layout for files of the shape of those just looked at."""
    shapes = {shape_of(u) for u in looks}
    open_files = [u.path for u in looks if u.questions]
    if open_files:
        raise RecipeError(
            f"The layout is not saved: questions about {open_files[0]} are open.",
            remedy="Answer each with --answer and the line that is right.",
        )
    shape = next(iter(shapes), None)
    if len(shapes) != 1 or shape is None:
        raise RecipeError(
            "The layout is not saved: the files are of several shapes, or have no names of columns."
            if len(shapes) > 1
            else "The layout is not saved: the file has no names of columns to know it by.",
            remedy="Give files that are laid out alike.",
        )
    print(f"Layout “{name}” saved: {save_layout(name, shape, layout)}")


def show_layouts(remove: str | None) -> None:
    """Print the saved layouts, or remove one."""
    if remove is not None:
        print(f"Removed: {remove_layout(remove)}")
        return
    found = saved_layouts()
    for s in found:
        names = ", ".join(n for n in s.shape.names if n)
        print(f"{s.name}: {s.shape.kind} with the columns {names}")
        for role, c in s.layout.columns.items():
            line = toml_line(role, c.name or "", c.index or 0, c.unit, c.scale, c.attributes)
            print(f"  {line}")
    if not found:
        print("No layout is saved. To save one: drypoint inspect FILES --save-layout NAME")


def free(path: Path) -> None:
    """Refuse to write where there is a file."""
    if path.exists():
        raise RecipeError(
            "There is a file of that name already; it is left as it is.",
            where=Where(str(path)),
            remedy="Choose another name, or move the old file away.",
        )


@dataclass(frozen=True)
class Given:
    """What was given to ``inspect`` besides the files."""

    write: Path | None = None
    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    inside: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    save: str | None = None
    brief: bool = False


def show_files(files: Sequence[Path], given: Given) -> int:
    """Print what is understood of each file; return 0 when all is clear, 3 when one is not."""
    write = given.write
    if write is not None:
        free(write)
    sign = DELIMITERS.get(given.delimiter, given.delimiter) if given.delimiter else None
    layout = Layout(
        delimiter=sign, decimal=given.decimal, encoding=given.encoding, inside=given.inside
    )
    layout = with_answers(layout, list(given.answers))
    root = write.parent.resolve() if write is not None else None
    looks = look_at(files, layout, root)
    for look in looks:
        print("\n".join(_brief(look) if given.brief else _full(look, root)))
        if not given.brief:
            print()
    print("".join(f"{line}\n" for line in reused(looks)), end="")
    open_files = [u for u in looks if not u.clear or u.faults]
    if write is not None:
        text = starting_recipe(write.stem, starting_recipe_records(looks, root))
        write.parent.mkdir(parents=True, exist_ok=True)
        atomic_write(write, text.encode("utf-8"))
        print(f"Starting study file: {write}")
    if given.save is not None:
        _save(given.save, looks, layout)
    if open_files:
        print(f"{len(open_files)} of {len(looks)} files need a look.")
    return 3 if open_files else 0


def _brief(u: Understanding) -> list[str]:
    state = "clear" if u.clear and not u.faults else "needs a look"
    roles = ", ".join(f"{c.role} [{c.unit}]" for c in u.columns if c.role)
    return [f"{u.path}: {state}; {len(u.tests)} tests; {roles}"]


def _full(u: Understanding, root: Path | None) -> list[str]:
    names = {"\t": "tab", ",": "comma", ";": "semicolon", " ": "blanks", "|": "bar"}
    kinds = {"workbook": "workbook", "hdf5": "HDF5", "parquet": "Parquet"}
    out = [u.path]
    if u.places:
        more = f" and {len(u.places) - 5} more" if len(u.places) > 5 else ""
        out.append(f"  inside    {', '.join(u.places[:5])}{more}")
    if u.saved:
        out.append(f"  saved     layout {u.saved} reused")
    if u.sha256:
        out.append(f"  SHA-256   {u.sha256}")
    if u.encoding:
        packed = ", gzip" if u.compressed else ""
        out.append(f"  text      {u.encoding}{packed}")
    if u.kind in kinds:
        out.append(f"  kind      {kinds[u.kind]}")
    if u.kind == "workbook" and u.first_data_line:
        out.append(
            f"  rows      names in {u.header_line or '-'}, units in {u.unit_line or '-'}, "
            f"numbers from {u.first_data_line}"
        )
    if u.delimiter:
        mark = {".": "point", ",": "comma"}.get(u.decimal or "", "not needed")
        out.append(f"  layout    columns by {names[u.delimiter]}, decimal {mark}")
        out.append(
            f"  lines     names in {u.header_line or '-'}, units in {u.unit_line or '-'}, "
            f"numbers from {u.first_data_line or '-'}"
        )
    for k, v in u.header.items():
        out.append(f"  header    {k}: {v}")
    for c in u.columns:
        unit = f" [{c.unit}]" if c.unit else ""
        out.append(f"  column {c.index:2d} “{c.name}”{unit}: {c.role or 'not used'} ({c.why})")
    for t in u.tests[:_MOST_TESTS]:
        rate = f", {t.rate_Hz:.4g} Hz, {t.duration_s:.4g} s" if t.rate_Hz else ", no time"
        size = ""
        if t.max_force_N is not None and t.max_depth_m is not None:
            size = f", up to {t.max_force_N * 1e3:.4g} mN and {t.max_depth_m * 1e9:.4g} nm"
        out.append(f"  test {t.name}: {t.samples} samples{rate}{size}")
        out += [f"    gap of {s:.3g} s after line {line}" for line, s in t.gaps]
    if len(u.tests) > _MOST_TESTS:
        out.append(f"  test … and {len(u.tests) - _MOST_TESTS} more")
    if u.clear:
        out += _passes(u, root) or _segments(u, root)
    out += [f"  missing   {m}" for m in u.missing]
    out += [f"  note      {n}" for n in u.notes]
    for q in u.questions:
        out.append(f"  question  {q.what}")
        out += [f"            {line}" for line in (q.choices or (q.toml,))]
    out += ["  set aside" + line[1:] for line in set_aside_lines(u.faults)]
    return out


def _passes(u: Understanding, root: Path | None) -> list[str]:
    """Passes of scratch tracks; nothing where the file holds none."""
    if not any(c.role == "position" for c in u.columns):
        return []
    batch = read([(root or Path()) / u.path], replace(u.layout, track=True)).batch
    out = []
    for i, info in enumerate(batch.tests[:_MOST_TESTS]):
        s = batch.span(i)
        codes = batch.segment[s] if batch.segment_labels else None
        way, deep = np.ptp(batch.channels["position"][s]), np.ptp(batch.depth[s])
        if not way > 5 * (deep if np.isfinite(deep) else 0.0):
            continue
        found = find_passes(batch.channels["position"][s], batch.force[s], codes,
                            batch.segment_labels)  # fmt: skip
        track, kind = track_and_kind(info.name)
        said = found.counted
        if kind and len(found.passes) == 1:
            said = f"{kind}, by its name, of track {track}"
            found = replace(found, passes=(replace(found.passes[0], kind=kind),))
        by = f", told apart by {found.by}" if found.by else ""
        out.append(f"  passes    {info.name}: {said}{by}")
        out += [f"            {r}" for r in found.remarks]
        for p in found.passes:
            x, F = batch.channels["position"][s][p.start : p.stop], batch.force[s][p.start : p.stop]
            out.append(
                f"            {p.kind}: {p.stop - p.start} samples, {np.nanmin(x) * 1e6:.4g} to "
                f"{np.nanmax(x) * 1e6:.4g} µm, {np.nanmin(F) * 1e3:.4g} to "
                f"{np.nanmax(F) * 1e3:.4g} mN"
            )
    if out:
        out.append("            a scratch track: name its file under [[tracks]], not [[records]]")
    return out


def _segments(u: Understanding, root: Path | None) -> list[str]:
    outcome = read([(root or Path()) / u.path], u.layout)
    if not len(outcome.batch):
        return []
    segments = find_segments(outcome.batch)
    out = []
    mine = {t.name for t in u.tests[:_MOST_TESTS]}
    for i, info in enumerate(outcome.batch.tests):
        if info.name not in mine:
            continue
        control = "force" if segments.control[i] == 0 else "depth"
        found = segments.of(i)
        cycles = max((c for *_, c in found), default=0)
        words = []
        for kind, a, b, _ in found[:12]:
            t = outcome.batch.time[a:b]
            long = f" {t[-1] - t[0]:.3g} s" if len(t) and t[0] == t[0] else f" {b - a} samples"
            words.append(KIND_NAMES[Kind(kind)] + long)
        more = " …" if len(found) > 12 else ""
        out.append(
            f"  segments  {info.name}: {control} control, {cycles} cycle"
            f"{'s' if cycles != 1 else ''}: {', '.join(words)}{more}"
        )
    return out
