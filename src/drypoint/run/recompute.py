"""Derive the results of a study again from its raw files, without any cache, and compare them with
those on the disk, byte for byte first and then value by value."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import polars as pl

from drypoint.errors import DrypointError, StoreError
from drypoint.parsing import json_value
from drypoint.recipe import Study, load_study
from drypoint.run.differences import Difference, table_differences, value_differences
from drypoint.run.progress import Watch
from drypoint.run.result import StudyResult
from drypoint.run.study_run import run_study
from drypoint.run.write import write_results
from drypoint.store.atomic import cannot_write, is_left, new_tag
from drypoint.store.manifest import NAME, Manifest, Origin, read_manifest
from drypoint.store.tables import read_csv

Verdict = Literal["identical", "equal", "different", "underivable"]
_FEW = 5
_TAG = re.compile(r"[0-9a-f]+-\d+-[0-9a-f]+")


@dataclass(frozen=True)
class Recomputed:
    """How results derived afresh compare with those on the disk.

    ``verdict``: ``identical`` to the bit; ``equal`` within 1e-3 u and 1e-5 relative; ``different``;
    ``underivable``, with ``reason``. ``elsewhere`` names what is another program, library or
    processor than the results on the disk were made with.
    """

    verdict: Verdict
    differences: tuple[Difference, ...] = ()
    elsewhere: tuple[str, ...] = ()
    reason: str = ""

    @property
    def holds(self) -> bool:
        """Whether the results follow from the raw files."""
        return self.verdict in ("identical", "equal")

    @property
    def words(self) -> str:
        """The answer in one sentence."""
        if self.verdict == "identical":
            return "Recomputed from the raw files: identical to the bit."
        if self.verdict == "underivable":
            return f"The results cannot be derived again: {self.reason}"
        listed = difference_words(self.differences)
        other = f" Not the same as then: {', '.join(self.elsewhere)}." if self.elsewhere else ""
        if self.verdict == "equal":
            return (
                f"Recomputed from the raw files: equal within 1e-3 u and 1e-5 relative.{other} "
                f"Largest: {listed}."
            )
        return f"Recomputed from the raw files: different. {listed}.{other}"


def recompute(study: Study | Path | str, *, watch: Watch | None = None) -> Recomputed:
    """Derive a study's results again and compare them with the results on the disk.

    Parameters
    ----------
    study : Study, Path or str
    watch : Watch, optional
        Sees progress and may stop the work.

    Returns
    -------
    Recomputed
        What cannot be derived is an answer, not an exception.
    """
    watch = watch or Watch()
    try:
        if not isinstance(study, Study):
            study = load_study(study)
        then = read_manifest(study.results)
        result = run_study(study, watch=watch, write=False, use_cache=False)
        with fresh_set(result, watch) as folder:
            now = read_manifest(folder)
            differences = tuple(set_differences(folder, now, study.results, then))
    except DrypointError as error:
        if error.__class__.__name__ == "Cancelled":
            raise
        return Recomputed("underivable", reason=str(error))
    elsewhere = tuple(environment_changes(then.origin, now.origin))
    if not differences:
        return Recomputed("identical", elsewhere=elsewhere)
    verdict: Verdict = "equal" if all(d.within for d in differences) else "different"
    return Recomputed(verdict, differences, elsewhere)


@contextmanager
def fresh_set(result: StudyResult, watch: Watch) -> Iterator[Path]:
    """A temporary result set made from a result; of a calibration, the set of the calibration."""
    # Beside the study, so that a served folder is not left; what a kill leaves is removed later.
    for left in result.study.folder.glob(".drypoint-again-*"):
        tag = left.name.removeprefix(".drypoint-again-")
        if _TAG.fullmatch(tag) and is_left(tag, left):
            shutil.rmtree(left, ignore_errors=True)
    place = result.study.folder / f".drypoint-again-{new_tag()}"
    folder = place / "results"
    try:
        place.mkdir()
        if result.study.file.calibration is not None:
            from drypoint.run.bench_tables import write_bench
            from drypoint.run.calibrating import calibrate_study

            write_bench(calibrate_study(result.study, watch=watch, use_cache=False), folder)
        else:
            write_results(result, folder)
        yield folder
    except OSError as error:
        raise cannot_write(place, error) from error
    finally:
        shutil.rmtree(place, ignore_errors=True)


def set_differences(fresh: Path, now: Manifest, kept: Path, then: Manifest) -> Iterator[Difference]:
    """Every file of two result sets that is not the same, and in what."""
    for name in sorted({*now.files, *then.files}):
        if name not in then.files or not (kept / name).is_file():
            yield Difference(name, "", 0, None, float("inf"), "is missing")
        elif name not in now.files:
            yield Difference(name, "", 0, None, float("inf"), "is additional")
        else:
            ours, theirs = (fresh / name).read_bytes(), (kept / name).read_bytes()
            if ours != theirs:
                yield from _inside(name, fresh / name, kept / name)


def _inside(name: str, ours: Path, theirs: Path) -> list[Difference]:
    """In what two files of one name differ."""
    bare = Difference(name, "", 0, None, float("inf"), "is not the file that is computed")
    try:
        if name.endswith(".json"):
            a, b = (json_value(p.read_text(encoding="utf-8")) for p in (ours, theirs))
            found = value_differences(name, _compared(a), _compared(b))
            # The program, its libraries and the processor are named apart from the values.
            return found or ([] if _compared(a) == _compared(b) else [bare])
        if name.endswith((".csv", ".parquet")):
            return table_differences(name, _table(ours), _table(theirs)) or [bare]
    except (ValueError, OSError, pl.exceptions.PolarsError):
        pass
    return [bare]


def _compared(summary: Any) -> Any:
    """A summary without what it says of program, libraries and processor."""
    if not isinstance(summary, Mapping) or not isinstance(summary.get("provenance"), Mapping):
        return summary
    apart = ("version", "program_sha256", "processor", "libraries")
    kept = {k: v for k, v in summary["provenance"].items() if k not in apart}
    return {**summary, "provenance": kept}


def _table(path: Path) -> pl.DataFrame:
    if path.suffix == ".parquet":
        return pl.read_parquet(path)
    return read_csv(path)


def difference_words(found: tuple[Difference, ...]) -> str:
    """The largest differences, largest first."""
    ranked = sorted(found, key=lambda d: (-(d.in_u or 0.0), -d.relative, d.table, d.column))
    more = f"; and {len(ranked) - _FEW} more" if len(ranked) > _FEW else ""
    return "; ".join(d.words for d in ranked[:_FEW]) + more


def environment_changes(then: Origin, now: Origin) -> Iterator[str]:
    """Which of program, libraries and processor are others than then, a phrase each."""
    if then.version != now.version:
        yield f"Drypoint {now.version} (then {then.version})"
    was, here = then.more, now.more
    old, new = was.get("program_sha256", ""), here.get("program_sha256", "")
    if old and old != new and then.version == now.version:
        yield f"the program's files ({str(new)[:12]}, then {str(old)[:12]})"
    before, after = was.get("libraries") or {}, here.get("libraries") or {}
    for n in sorted({*before, *after}) if before else ():
        if before.get(n) != after.get(n):
            yield f"{n} {after.get(n, 'absent')} (then {before.get(n, 'absent')})"
    if was.get("processor") and was["processor"] != here.get("processor"):
        yield f"processor {here.get('processor')} (then {was['processor']})"


def refuse_unequal(result: StudyResult, watch: Watch) -> None:
    """Refuse to go on unless the results on the disk are, byte for byte, those of ``result``.

    Raises
    ------
    StoreError
        Names the tables that differ and the largest differences in units of u.
    """
    from drypoint.errors import Where

    place = result.study.results
    then = read_manifest(place)
    with fresh_set(result, watch) as folder:
        now = read_manifest(folder)
        names = [
            n
            for n in sorted({*now.files, *then.files})
            if now.files.get(n) != then.files.get(n)
            or (folder / n).read_bytes() != (place / n).read_bytes()
        ]
        found = tuple(set_differences(folder, now, place, then))
    if not names:
        return
    elsewhere = list(environment_changes(then.origin, now.origin))
    why = f" Made elsewhere: {', '.join(elsewhere)}." if elsewhere else ""
    listed = f" {difference_words(found)}." if found else ""
    shown = ", ".join(names[:_FEW]) + (
        f" and {len(names) - _FEW} more" if len(names) > _FEW else ""
    )
    raise StoreError(
        "The results on the disk are not those that the raw files give here; nothing was "
        f"signed. Files that differ: {shown}.{listed}{why}",
        where=Where(str(place / NAME)),
        remedy=f"Run the study here, look at it, and sign that: drypoint run "
        f"{result.study.path.name}.",
    )
