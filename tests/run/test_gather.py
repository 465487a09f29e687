"""Budgets, Monte Carlo, comparisons and reruns on the demo, and the rule of a tip."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from drypoint.errors import RecipeError, TipError
from drypoint.recipe import load_study, read_study
from drypoint.reduction.inputs import systematic_inputs
from drypoint.reduction.options import AnalysisOptions, Options
from drypoint.reduction.rule import SCALE, rule_scale
from drypoint.run import StudyResult, run_study
from drypoint.run.budgets import series_budget, test_budget
from drypoint.run.rerun import Change, changes_between, parse_change, rerun
from drypoint.tips.build import ideal_tip
from drypoint.tips.tip import Bench


@pytest.mark.parametrize("symbol", ["H_IT", "E_IT", "h_c"])
def test_a_budget_comes_to_what_is_reported(demo_result: StudyResult, symbol: str) -> None:
    for specimen in demo_result.specimens:
        b = series_budget(demo_result, specimen, symbol)
        s = demo_result.series[specimen][symbol]
        assert b.u == pytest.approx(s.u, rel=1e-12)
        assert sum(r.share for r in b.rows) == pytest.approx(1.0, abs=1e-9)
    row = demo_result.tests_table.row(0, named=True)
    t = test_budget(demo_result, row["test"], "H_IT")
    assert t.u / 1e9 == pytest.approx(row["u_H_IT_GPa"], rel=1e-12)


def test_monte_carlo_and_linear_propagation_agree(demo_result: StudyResult) -> None:
    """Both ends of the 95 % interval (JCGM 101, in spirit): within 15 % of U (the
    film's Poisson's ratio enters squared). The
    standard uncertainties differ for few tests, since a t distribution is wider than its u."""
    assert len(demo_result.trials) == 2 * len(demo_result.specimens)
    for t in demo_result.trials:
        s = demo_result.series[t.specimen][t.symbol]
        low, high = (float(v) for v in t.mc.symmetric)
        assert abs(low - (s.mean - s.expanded)) < 0.15 * s.expanded
        assert abs(high - (s.mean + s.expanded)) < 0.15 * s.expanded


def test_rerun_tells_what_moved_by_how_much(declared_demo: Path) -> None:
    study = load_study(declared_demo)
    changes = [
        *parse_change("analysis.beta=1.034", study),
        *parse_change("analysis.epsilon=0.75", study),
    ]
    found = rerun(study, changes)
    e = next(m for m in found.moved if (m.specimen, m.symbol) == ("glass", "E_r"))
    # E_r = sqrt(pi) S / (2 beta sqrt(A)): beta alone divides it by 1.034.
    assert e.before + e.by["analysis.beta"] == pytest.approx(e.before / 1.034, rel=1e-12)
    assert e.before + sum(e.by.values()) + e.together == pytest.approx(e.after, rel=1e-12)
    h = next(m for m in found.moved if (m.specimen, m.symbol) == ("glass", "H_IT"))
    assert h.by["analysis.beta"] == 0.0
    assert h.by["analysis.epsilon"] < 0.0
    assert "by_analysis.beta" in found.table().columns


def test_rerun_with_another_tip_and_recipe(declared_demo: Path, tmp_path: Path) -> None:
    study = load_study(declared_demo)
    tip = tmp_path / "other.toml"
    tip.write_text('shape = "modified Berkovich"\n', encoding="utf-8")
    (change,) = parse_change(f"tip={tip}", study)
    assert change.key == "tips.B1"
    found = rerun(study, [change])
    h = next(m for m in found.moved if (m.specimen, m.symbol) == ("film", "H_IT"))
    # A sharp tip has less area at the same depth than the blunted one.
    assert h.after > h.before
    other = read_study(study.text.replace("beta = 1.0", "beta = 1.05"), study.path)
    assert changes_between(study, other) == [Change("analysis.beta", 1.05)]


def test_rerun_refuses_nonsense(demo_study: Path) -> None:
    study = load_study(demo_study)
    with pytest.raises(RecipeError, match="no change"):
        parse_change("beta", study)
    with pytest.raises(RecipeError, match="Nothing is changed"):
        rerun(study, [])
    with pytest.raises(RecipeError, match="betta"):
        rerun(study, parse_change("analysis.betta=1", study))


def _found(rule: dict[str, str]) -> Bench:
    tip = ideal_tip("modified Berkovich", u_angle=1e-3)
    return Bench(replace(tip, area=replace(tip.area, found_with=tuple(rule.items()))))


def test_a_tip_under_another_rule_is_refused() -> None:
    with pytest.raises(TipError, match=r"beta = 1\.05"):
        rule_scale(_found({"beta": "1.05"}).tip, AnalysisOptions(beta=1.0))
    with pytest.raises(TipError, match=r"epsilon = 0\.75"):
        rule_scale(_found({"epsilon": "0.75"}).tip, AnalysisOptions())
    with pytest.raises(TipError, match="radial"):
        rule_scale(_found({"radial_correction": "true"}).tip, AnalysisOptions())
    assert rule_scale(_found({"beta": "1.0", "epsilon": "exponent"}).tip, AnalysisOptions()) == 1.0


def test_recalibration_on_request_scales_the_area() -> None:
    """A ~ 1 / beta^2 at the same stiffness of the reference (Oliver and Pharr 1992)."""
    scale = rule_scale(
        _found({"beta": "1.05"}).tip, AnalysisOptions(beta=1.0, recalibrate_tip=True)
    )
    assert scale == pytest.approx(1.05**2)
    # gamma(0.17, 70.3 deg) = 1.0949: Hay, Bolshakov & Pharr 1999 (C).
    radial = rule_scale(
        _found({"radial_correction": "true", "reference": "fused silica"}).tip,
        AnalysisOptions(recalibrate_tip=True),
    )
    assert radial == pytest.approx(1.0949**2, rel=2e-4)


def test_at_equal_beta_it_cancels_in_the_modulus_and_not_in_the_hardness() -> None:
    """A tip found under a beta that is uncertain: E_r ~ 1/(beta sqrt(A)), H ~ 1/A."""
    bench = _found({"beta": "1.05", "E_r_GPa": "69.6", "u_E_r_GPa": "0.7"})
    options = Options(analysis=AnalysisOptions(beta=1.05, u_beta=0.02))
    joint = systematic_inputs(bench, options, {"s": (0.3, 0.0)})
    i, j = joint.index("beta"), joint.index(SCALE)
    beta, scale = joint.mean[i], joint.mean[j]
    # Relative derivatives of E_r and of H with respect to beta and scale.
    to_E = np.zeros(len(joint.names))
    to_E[i], to_E[j] = -1 / beta, -0.5 / scale
    to_H = np.zeros(len(joint.names))
    to_H[j] = -1 / scale
    # What is left in the modulus is the reference's own 0.7/69.6.
    assert np.sqrt(to_E @ joint.cov @ to_E) == pytest.approx(0.7 / 69.6, rel=1e-9)
    expected = 2 * np.hypot(0.02 / 1.05, 0.7 / 69.6)
    assert np.sqrt(to_H @ joint.cov @ to_H) == pytest.approx(expected, rel=1e-9)


def test_two_tips_and_own_choices_stay_apart(declared_demo: Path) -> None:
    own_demo = declared_demo
    text = own_demo.read_text().replace(
        "[tips.B1]\n", '[tips.B2]\nshape = "modified Berkovich"\nu_angle_deg = 0.1\n\n[tips.B1]\n'
    )
    for specimen in ("glass", "film", "steel", "tempered"):
        tip = "B2" if specimen == "steel" else "B1"
        text = text.replace(
            f'specimen = "{specimen}"\n', f'specimen = "{specimen}"\ntip = "{tip}"\n', 1
        )
    text = text.replace(
        "[specimens.film]",
        "[specimens.glass.analysis]\nbeta = 1.05\nu_beta = 0.01\n\n[specimens.film]",
    )
    own_demo.write_text(text, encoding="utf-8")
    result = run_study(own_demo, write=False)
    names = result.tests.inputs.names
    assert {"tip.angle@B1", "tip.radius@B1", "tip.angle@B2"} <= set(names)
    assert sum(n.startswith("beta") for n in names) == 2
    both = {"steel", "glass"}
    for specimen in both:
        i = names.index("tip.angle@B2")
        moves = result.series[specimen]["H_IT"].sensitivity[i] != 0.0
        assert moves == (specimen == "steel")
