"""Film values of a study: the demo's film against its truth, tables, what cannot be found."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from drypoint.films import by_group
from drypoint.recipe import Decision, append, read_study
from drypoint.run import StudyResult, run_study
from drypoint.run.coatings import coated
from drypoint.run.film_tables import SPREAD, TABLES
from drypoint.run.progress import Watch
from drypoint.store import read_results


def test_the_film_of_the_demo_comes_back(demo_result: StudyResult, demo_study: Path) -> None:
    """The invented film's own modulus lies in the interval; tests at depth alone would not say so.

    The truth is exact layered contact, which tests/contact/test_layered_checks.py holds against
    outside values.
    """
    (one,) = demo_result.films
    truth = json.loads((demo_study.parent / "truth.json").read_text("utf-8"))
    film = next(t for t in truth["tests"] if t["specimen"] == "film")["E_Pa"]
    low, high = one.exact.interval("film.E")
    assert low < film["E_film"] < high
    assert (high - low) / film["E_film"] < 0.4
    mean = demo_result.series["film"]["E_IT"].mean
    assert abs(one.exact.of("film.E")[0] - film["E_film"]) < abs(mean - film["E_film"])
    # Without the model's own error, which this truth does not have, the bench's alone must cover.
    from drypoint.films import infer

    bare = infer(one.tests, one.coating.structure, u_model=0.0)
    low, high = bare.interval("film.E")
    assert low < film["E_film"] < high


def test_tables_and_summary(demo_result: StudyResult, demo_study: Path) -> None:
    results = read_results(demo_study.parent / "results")
    for stem, columns in TABLES.items():
        assert results.table(stem).columns == [*columns, "invented"]
    values = results.table("films")
    exact = values.row(0, named=True)
    assert exact["model"] == "exact layered contact" and exact["low"] < exact["value"]
    assert exact["u"] == pytest.approx(np.hypot(exact["ur"], exact["us"]))
    spread = values.filter(values["model"] == SPREAD).row(0, named=True)
    assert spread["value"] is None and spread["low"] < spread["high"]
    tests = results.table("film_tests")
    assert tests["information_percent"].sum() == pytest.approx(100.0)
    (told,) = results.json("summary.json")["films"]
    assert told["values"][0]["value"] == exact["value"]
    assert told["correlation_with_given"]["film.E"]["film.t"] != 0
    assert told["key"] == demo_result.films[0].key


def test_one_number_is_one_input(demo_result: StudyResult) -> None:
    """The film's Poisson's ratio is the specimen's: it stands once among what is given."""
    names = demo_result.films[0].exact.inputs.names
    assert "nu.film" in names and "film.nu" not in names


def test_an_exclusion_is_felt(own_demo: Path) -> None:
    before = run_study(own_demo, write=False)
    name = before.batch.tests[int(before.cycles.test[before.films[0].rows[0]])].name
    append(
        own_demo.with_name("study.decisions.jsonl"),
        Decision(who="A. Example", what="exclude", test=name, why="for the test"),
    )
    after = run_study(own_demo, write=False)
    gone = len(before.films[0].tests) - len(after.films[0].tests)
    assert gone == 10  # the unloadings of one stepped test
    assert after.films[0].key != before.films[0].key


def test_a_film_that_cannot_be_found_stops_nothing(demo_result: StudyResult) -> None:
    """Where every test went too deep, the failure is named and the rest of the study stands."""
    study = demo_result.study
    text = study.text + "\n[specimens.film.film_analysis]\nup_to_depth = 0.001\n"
    other = replace(demo_result, study=replace(study, file=read_study(text, study.path).file))
    done, failed = coated(other, None, Watch())
    assert not done
    assert failed[0].specimen == "film" and "are deeper than 0.001" in failed[0].reason


def test_grouped_scatter_against_a_block_mean() -> None:
    """Values in blocks that share an error: the uncertainty of the mean is that of block means.

    The outside value is the textbook standard error of a mean of independent block means.
    """
    rng = np.random.default_rng(3)
    blocks = rng.standard_normal(12)
    y = np.repeat(blocks, 5)
    pull = ((y - y.mean()) / len(y))[:, None]
    found = by_group(pull, np.repeat(np.arange(12), 5))
    assert found.cov[0, 0] == pytest.approx(np.var(blocks, ddof=1) / 12)
    assert found.dof == 11
