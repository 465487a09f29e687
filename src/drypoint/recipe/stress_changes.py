"""A study with other keys in ``[stress.NAME]``, in memory only; the measured tip of a file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from drypoint import paths
from drypoint.errors import RecipeError, StressError, Where
from drypoint.recipe.base import Section
from drypoint.recipe.benches import LoadedBench, load_benches
from drypoint.recipe.calibrating import BenchKeys
from drypoint.recipe.equipment import TipKeys
from drypoint.recipe.locate import dotted
from drypoint.recipe.problems import Problem, from_pydantic, unknown
from drypoint.recipe.ruling import section_faults
from drypoint.recipe.stressing import StressKeys
from drypoint.recipe.study import Study
from drypoint.recipe.text import parse, read_text

S = TypeVar("S", bound=Section)

#: Keys of which a run has one: a new one takes the place of the others.
_ONE_OF = (("force_mN", "depth_nm"), ("tip", "bench", "shape"))


@dataclass(frozen=True)
class Override:
    """A key of ``[stress.NAME]`` whose value was replaced: its value in the study (``None`` if the
    study leaves it out), and the value used (``None`` if the key was removed)."""

    key: str
    study: Any
    used: Any


@dataclass(frozen=True)
class MeasuredTip:
    """A tip taken from a file or by its name: the keys of ``[stress.NAME]`` that select it, with
    the calibration file where there is one."""

    keys: Mapping[str, Any]
    bench: LoadedBench | None = None


def measured_tip(text: str, study: Study | None = None) -> MeasuredTip:
    """The tip that ``text`` names: a bench or tip of the study, or a file.

    Parameters
    ----------
    text : str
        Name of a bench or tip of the study; or path of a calibration file, or of a TOML file with
        the keys of one tip.
    study : Study, optional

    Raises
    ------
    StressError
        When nothing of that name exists, or the file has other contents.
    RecipeError
        When the file cannot be read.
    """
    benches = list(study.benches) if study is not None else []
    tips = list(study.file.tips) if study is not None else []
    if text in benches:
        return MeasuredTip({"bench": text})
    if text in tips:
        return MeasuredTip({"tip": text})
    path = Path(text)
    if not paths.is_file(path):
        known = [*benches, *tips]
        names = f" Benches and tips of this study: {', '.join(known)}." if known else ""
        raise StressError(
            f"Invalid source of a tip: got “{text}”; expected the path of a calibration file, or "
            "of a TOML file with the keys of one tip"
            + (", or the name of a bench or tip of the study." if study is not None else "."),
            remedy=f"A calibration file is written by “drypoint calibrate --accept”.{names}",
        )
    table = parse(read_text(path), path)
    if "format" in table:
        return _from_calibration(path, study)
    keys = checked(TipKeys, table, str(path))
    faults = section_faults((), keys)
    if keys.area is not None and keys.area.file is not None:
        faults.append(Problem(("area", "file"), "a tip file names another file.", "Leave it out."))
    if faults:
        raise RecipeError(
            faults[0].what, where=Where(str(path), key=dotted(faults[0].path)),
            remedy=faults[0].allowed,
        )  # fmt: skip
    return MeasuredTip({"shape": keys.model_dump(mode="json", exclude_unset=True)})


def _from_calibration(path: Path, study: Study | None) -> MeasuredTip:
    whole = path.resolve()
    found, _, faults = load_benches({path.stem: BenchKeys(file=whole.as_posix())}, whole.parent)
    if faults:
        raise faults[0]
    (bench,) = found.values()
    for name, known in study.benches.items() if study is not None else ():
        if known.sha256 == bench.sha256:
            return MeasuredTip({"bench": name})
    if study is not None and bench.name in {*study.benches, *study.file.tips}:
        # Another calibration of that name: the run is not to be taken for one with the study's.
        bench = replace(bench, name=f"{bench.name}-{bench.sha256[:8]}")
    return MeasuredTip({"bench": bench.name}, bench)


def checked(model: type[S], table: Mapping[str, Any], file: str = "") -> S:
    """Keys from plain values, with the first faults in the words of a study file."""
    try:
        return model.model_validate_json(json.dumps(table, default=str))
    except ValidationError as error:
        faults = from_pydantic(error.errors(), model)
        text = " ".join(f"{dotted(f.path)}: {f.what} {f.allowed}".strip() for f in faults)
        where = Where(file) if file else None
        raise StressError(
            text, where=where, remedy="The keys are those of [stress.NAME] in a study file."
        ) from None


def overridden(
    study: Study, name: str, changes: Mapping[str, Any], tip: MeasuredTip | None = None
) -> tuple[Study, tuple[Override, ...]]:
    """The study with other keys in ``[stress.NAME]``, and what they replaced.

    Parameters
    ----------
    study : Study
    name : str
        A run of the study.
    changes : mapping
        Keys of ``[stress.NAME]`` with plain values; tables and lists are replaced as wholes.
    tip : MeasuredTip, optional
        Replaces tip, bench and shape.

    Raises
    ------
    StressError
        When there is no such run, or a value is not allowed.
    """
    if name not in study.file.stress:
        what, allowed = unknown(name, "a stress run of this study", study.file.stress)
        raise StressError(what, remedy=allowed if study.file.stress else "Add [stress.NAME].")
    was = study.file.stress[name].model_dump(mode="json", exclude_unset=True)
    new = dict(changes) | dict(tip.keys if tip is not None else {})
    now = dict(was)
    for group in _ONE_OF:
        if any(k in new for k in group):
            now = {k: v for k, v in now.items() if k not in group}
    now |= new
    keys = checked(StressKeys, now)
    said = tuple(
        Override(k, was.get(k), now.get(k)) for k in (*now, *(k for k in was if k not in now))
        if was.get(k) != now.get(k)
    )  # fmt: skip
    if not said:
        return study, ()
    file = study.file.model_copy(update={"stress": {**study.file.stress, name: keys}})
    benches = dict(study.benches)
    if tip is not None and tip.bench is not None:
        file = file.model_copy(
            update={"benches": {**file.benches, tip.bench.name: BenchKeys(file=tip.bench.file)}}
        )
        benches[tip.bench.name] = tip.bench
    return replace(study, file=file, benches=benches), said
