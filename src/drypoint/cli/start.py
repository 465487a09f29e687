"""What the commands ``new`` and ``inspect`` do."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path

from drypoint.cli.show import set_aside_lines
from drypoint.errors import DecisionError, RecipeError, Where
from drypoint.recipe import starting_recipe
from drypoint.records import Layout, Understanding, read, starting_recipe_records, understand
from drypoint.records.segments import KIND_NAMES, Kind, find_segments
from drypoint.store import atomic_write

DELIMITERS = {"tab": "\t", "comma": ",", "semicolon": ";", "blanks": " ", "bar": "|"}


def write_new(study: Path, files: Sequence[Path], name: str, shape: str) -> None:
    """Write a starting study file; an existing file is never replaced."""
    _free(study)
    records = ""
    if files:
        looks = [understand(f, root=study.parent.resolve()) for f in files]
        records = starting_recipe_records(looks)
    text = starting_recipe(name, records, shape=shape)
    study.parent.mkdir(parents=True, exist_ok=True)
    atomic_write(study, text.encode("utf-8"))
    print(f"Written: {study}")
    print("Look through it: Poisson's ratio, tip, frame. Then: drypoint run " + str(study))


def _free(path: Path) -> None:
    if path.exists():
        raise RecipeError(
            "There is a file of that name already; it is left as it is.",
            where=Where(str(path)),
            remedy="Choose another name, or move the old file away.",
        )


def show_files(
    files: Sequence[Path],
    write: Path | None,
    delimiter: str | None,
    decimal: str | None,
    encoding: str | None,
    brief: bool,
) -> int:
    """Print what is understood of each file; return 0 when all is clear, 3 when one is not."""
    if write is not None:
        _free(write)
    sign = DELIMITERS.get(delimiter, delimiter) if delimiter else None
    layout = Layout(delimiter=sign, decimal=decimal, encoding=encoding)
    root = write.parent.resolve() if write is not None else None
    looks = [understand(f, layout, root=root) for f in files]
    for path, look in zip(files, looks, strict=True):
        print("\n".join(_brief(look) if brief else _full(path, look, layout)))
        if not brief:
            print()
    open_files = [u for u in looks if not u.clear or u.faults]
    if write is not None:
        text = starting_recipe(write.stem, starting_recipe_records(looks))
        write.parent.mkdir(parents=True, exist_ok=True)
        atomic_write(write, text.encode("utf-8"))
        print(f"Starting study file: {write}")
    if open_files:
        print(f"{len(open_files)} of {len(looks)} files need a look.")
    return 3 if open_files else 0


def _brief(u: Understanding) -> list[str]:
    state = "clear" if u.clear and not u.faults else "needs a look"
    roles = ", ".join(f"{c.role} [{c.unit}]" for c in u.columns if c.role)
    return [f"{u.path}: {state}; {len(u.tests)} tests; {roles}"]


def _full(path: Path, u: Understanding, layout: Layout) -> list[str]:
    names = {"\t": "tab", ",": "comma", ";": "semicolon", " ": "blanks", "|": "bar"}
    out = [u.path]
    if u.sha256:
        out.append(f"  SHA-256   {u.sha256}")
    if u.encoding:
        packed = ", gzip" if u.compressed else ""
        out.append(f"  text      {u.encoding}{packed}")
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
    for t in u.tests:
        rate = f", {t.rate_Hz:.4g} Hz, {t.duration_s:.4g} s" if t.rate_Hz else ", no time"
        size = ""
        if t.max_force_N is not None and t.max_depth_m is not None:
            size = f", up to {t.max_force_N * 1e3:.4g} mN and {t.max_depth_m * 1e9:.4g} nm"
        out.append(f"  test {t.name}: {t.samples} samples{rate}{size}")
        out += [f"    gap of {s:.3g} s after line {line}" for line, s in t.gaps]
    if u.clear:
        out += _segments(path, layout)
    out += [f"  missing   {m}" for m in u.missing]
    out += [f"  note      {n}" for n in u.notes]
    for q in u.questions:
        out.append(f"  question  {q.what}")
        out += [f"            {line}" for line in (q.choices or (q.toml,))]
    out += ["  set aside" + line[1:] for line in set_aside_lines(u.faults)]
    return out


def _segments(path: Path, layout: Layout) -> list[str]:
    outcome = read([path], layout)
    if not len(outcome.batch):
        return []
    segments = find_segments(outcome.batch)
    out = []
    for i, info in enumerate(outcome.batch.tests):
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


def unknown_test(test: str, known: Sequence[str], path: Path) -> DecisionError:
    """The error for a test that a study does not have, with the nearest names."""
    near = difflib.get_close_matches(test, known, 3)
    return DecisionError(
        f"The study has no test “{test}”.",
        where=Where(str(path), test=test),
        remedy="Did you mean: " + ", ".join(near) + "?" if near else "See results/tests.csv.",
    )
