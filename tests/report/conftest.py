"""A few tests of the demo, run once for this folder. Its data are invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from bench_study import write_bench_study

from drypoint.recipe import Decision, append, load_study
from drypoint.run import StudyResult, run_study
from drypoint.run.bench_result import BenchResult
from drypoint.run.calibrating import calibrate_study
from drypoint.simulation.demo import make_demo


@pytest.fixture(scope="session")
def result(tmp_path_factory: pytest.TempPathFactory) -> StudyResult:
    """Six glass tests (one excluded), one file of stepped film tests, the whole grid of steel."""
    path = make_demo(tmp_path_factory.mktemp("demo") / "study", seed=5)
    raw = path.parent / "raw"
    for file in [
        *sorted((raw / "glass").glob("*.txt"))[6:-2],
        *sorted((raw / "film").iterdir())[1:],
    ]:
        file.unlink()
    text = path.read_text(encoding="utf-8").replace("trials = 20000", "trials = 400")
    path.write_text(text, encoding="utf-8")
    study = load_study(Path(path))
    why = "a door was slammed during the hold"
    append(study.decisions, Decision(who="M. Example", what="exclude", test="G-05", why=why))
    return run_study(study, write=False, use_cache=False)


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> BenchResult:
    """A calibration on 20 glass tests, verified on five block tests, one certificate too old."""
    path = write_bench_study(tmp_path_factory.mktemp("bench") / "study", per_force=2, blocks=5)
    return calibrate_study(path, use_cache=False)
