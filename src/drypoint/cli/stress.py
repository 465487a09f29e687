"""What the command ``stress`` does."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drypoint.cli.show import table
from drypoint.cli.work import watching
from drypoint.errors import StressError, Where

if TYPE_CHECKING:
    from drypoint.recipe.stressing import StressKeys
    from drypoint.report.model import Table
    from drypoint.run.elastic_first import ElasticAnswer
    from drypoint.run.stressing import StressResult
    from drypoint.stress import Problem


@dataclass(frozen=True)
class Options:
    """What is given on the command line in place of a study."""

    shape: str
    angle_deg: float | None
    radius_nm: float | None
    rigid: bool
    layers: tuple[str, ...]
    solid: str
    force_mN: float | None
    depth_nm: float | None
    cycles: int
    friction: float
    quality: str


def vtu_choice(text: str | None, out: Path | None) -> str | None:
    """Which fields are to be written; ``None`` leaves it to the study."""
    if text is None:
        return None
    if text not in ("none", "peak", "every step"):
        raise StressError(
            f"“{text}” says not of which steps fields are to be written.",
            remedy="Allowed: --vtu none, --vtu peak, --vtu 'every step'.",
        )
    if out is None and text != "none":
        raise StressError("Fields have nowhere to go.", remedy="Give a folder with --out.")
    return text


def study_command(
    path: Path, names: list[str], vtu: str | None, out: Path | None, fresh: bool, quiet: bool
) -> int:
    """Solve the stress runs of a study, all or some by name; write them where asked."""
    from drypoint.recipe import load_study
    from drypoint.run.stressing import run_stress

    study = load_study(path)
    wanted = names or list(study.file.stress)
    if not wanted:
        raise StressError(
            "This study asks for no stress run.",
            where=Where(str(path)),
            remedy="Add a table [stress.NAME], or give a tip, a load and solids as options.",
        )
    results = []
    for name in wanted:
        with watching(quiet) as watch:
            results.append(
                run_stress(study, name, use_cache=not fresh, watch=watch, first=_say_first)
            )
        _say(results[-1])
    if study.file.study.invented:
        print("The data of this study are invented.")
    if out is not None:
        _write(results, out, {r.name: vtu or study.file.stress[r.name].vtu for r in results})
    return 3 if any(r.run.stopped for r in results) else 0


def options_command(given: Options, vtu: str, out: Path | None, fresh: bool, quiet: bool) -> int:
    """Solve what the options state, through a cache in the folder of the results."""
    from drypoint.recipe.ruling import section_faults
    from drypoint.recipe.to_stress import problem_of
    from drypoint.recipe.to_tip import tip_of
    from drypoint.run.stressing import run_problem
    from drypoint.store import Cache

    keys = _keys(given)
    assert keys.shape is not None
    for fault in section_faults((), keys.shape):
        raise StressError(f"{fault.path[-1]}: {fault.what}", remedy=fault.allowed)
    problem = problem_of("stress", keys, tip_of(given.shape, keys.shape))
    cache = Cache.beside(out) if out is not None and not fresh else None
    with watching(quiet) as watch:
        result = run_problem(problem, cache=cache, watch=watch, first=_say_first)
    _say(result)
    if out is not None:
        _write([result], out, {result.name: vtu}, keys)
    return 3 if result.run.stopped else 0


def _keys(given: Options) -> StressKeys:
    """The options as the keys of a study file, checked like those."""
    from pydantic import ValidationError

    from drypoint.recipe.problems import from_pydantic
    from drypoint.recipe.stressing import StressKeys
    from drypoint.tips.geometry import PYRAMIDS

    angle = "face_angle_deg" if given.shape in PYRAMIDS else "half_angle_deg"
    shape: dict[str, Any] = {
        "shape": given.shape,
        angle: given.angle_deg,
        "radius_nm": given.radius_nm,
    }
    if given.shape in PYRAMIDS and given.radius_nm is not None:
        shape["area"] = {"kind": "blunted"}
    body = {
        "shape": {k: v for k, v in shape.items() if v is not None},
        "rigid": given.rigid,
        "layers": [_inline(text, "--layer") for text in given.layers],
        "substrate": _inline(given.solid, "--solid"),
        "force_mN": given.force_mN,
        "depth_nm": given.depth_nm,
        "cycles": given.cycles,
        "friction": given.friction,
        "quality": given.quality,
    }
    body = {k: v for k, v in body.items() if v is not None}
    try:
        return StressKeys.model_validate_json(json.dumps(body))
    except ValidationError as error:
        faults = from_pydantic(error.errors(), StressKeys)
        text = " ".join(
            f"{'.'.join(map(str, f.path))}: {f.what} {f.allowed}".strip() for f in faults
        )
        raise StressError(
            text, remedy="The keys are those of [stress.NAME] in a study file."
        ) from None


_PAIR = re.compile(r'\s*(\w+)\s*=\s*("[^"]*"|\[.*\]|[^,\[\]"=]+?)\s*(?:,|$)')


def _inline(text: str, option: str) -> dict[str, Any]:
    """``E_GPa = 240, nu = 0.25, name = film`` as a table."""
    out: dict[str, Any] = {}
    at = 0
    body = text.strip()
    while at < len(body):
        found = _PAIR.match(body, at)
        if found is None or found[1] in out:
            raise StressError(
                f"{option} “{text}” cannot be read from “{body[at:]}” on.",
                remedy="Write KEY = VALUE with commas between, for example: "
                "E_GPa = 240, nu = 0.25, hardness_GPa = 18, thickness_nm = 400.",
            )
        out[found[1]] = _value(found[2])
        at = found.end()
    return out


def _value(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        pass
    try:
        return json.loads(text)
    except ValueError:
        return text.strip('"')


def _say_first(problem: Problem, answer: ElasticAnswer) -> None:
    """What is known before the finite elements start."""
    from drypoint.report.stress_words import elastic_words, problem_words
    from drypoint.run.elastic_first import names_of

    if problem.name:
        print(f"{problem.name}: ", end="")
    print(problem_words(problem, names_of(problem)))
    print(" ".join(elastic_words(problem, answer)))
    print(f"Finite elements: {problem.estimate().words()}.", flush=True)


def _say(result: StressResult) -> None:
    from drypoint.report.stress_words import (
        CANNOT,
        error_words,
        found_words,
        seen_table,
        solids_table,
        uncertain_table,
    )

    print()
    if result.run.stopped:
        print(f"The run ended early: {result.run.stopped}. What follows holds up to there.")
    for line in found_words(result):
        print(f"  {line}")
    for one in (seen_table(result), solids_table(result), uncertain_table(result)):
        if one is not None:
            print("\n" + _text(one))
    print(f"\n{error_words(result)}")
    print(f"Not in the model: {CANNOT[0]}\n")


def _text(one: Table) -> str:
    return f"{one.caption}\n" + table(
        [c.head for c in one.columns], [list(row) for row in one.rows]
    )


def _write(
    results: list[StressResult], out: Path, vtu: dict[str, str], keys: StressKeys | None = None
) -> None:
    """Tables, figures and fields as one whole set; an earlier one stays until all is there."""
    from drypoint.recipe import canonical_hash, dumps
    from drypoint.report import stress_pictures
    from drypoint.run.stress_tables import (
        stress_summary,
        stress_tables,
        write_record,
        write_vtu,
    )
    from drypoint.store import Origin, atomic_write, new_results, write_json, write_table
    from drypoint.version import __version__

    invented = any(r.invented for r in results)
    key = canonical_hash([r.key for r in results])
    origin = Origin({}, key, "", __version__, 0, invented=invented)
    with new_results(out, origin) as place:
        for stem, frame in stress_tables(results).items():
            write_table(frame, place / stem, invented=invented)
        for one in results:
            write_record(one, place)
            write_vtu(one, place, vtu[one.name])
            for picture in stress_pictures(one):
                atomic_write(place / f"{picture.name}.png", picture.png())
        if keys is not None:
            body = {"stress": {"NAME": keys.model_dump(mode="python", exclude_unset=True)}}
            atomic_write(place / "stress.toml", dumps(body).encode("utf-8"))
        said = {"invented": invented, "stress": [stress_summary(r) for r in results]}
        write_json(said, place / "summary.json")
    print(f"Results: {out}")
