"""Uncertainty of the elastic answer and of first yield, against closed forms and brute force."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drypoint.errors import StressError
from drypoint.report.stress_words import elastic_words
from drypoint.run.elastic_first import elastic_answer
from drypoint.run.stressing import problem_key
from drypoint.stress import Doubt, Layer, Material, Problem, Protocol, Stack, cone, sphere

SOLID = Material(200e9, 0.3, 5e9, name="solid")
BALL = Problem(Stack(SOLID), sphere(10e-6), Protocol.to_force(50e-3))
FILM = replace(
    BALL,
    protocol=Protocol.to_force(0.5),
    stack=Stack(
        Material(170e9, 0.22, 5e9, name="wafer"),
        (Layer(Material(300e9, 0.2, 12e9, name="film"), 500e-9, -1e9),),
    ),
)


def test_the_parts_under_a_ball_have_hertzs_powers() -> None:
    """F_Y goes with Y^3 R^2 / E*^2 [johnson1985]; A = 2 pi R h makes the area's share R's."""
    doubts = (Doubt("yield stress", 0.02 * 5e9), Doubt("modulus", 4e9), Doubt("tip area", 0.01))
    (y,) = elastic_answer(replace(BALL, doubts=doubts)).first_yield
    shares = [p.u / y.force for p in y.parts]
    assert shares == pytest.approx([3 * 0.02, -2 * 0.02, 2 * 0.01], rel=0.03)
    assert y.u_force == pytest.approx(y.force * np.sqrt(0.06**2 + 0.04**2 + 0.02**2), rel=0.03)


def test_the_depth_under_a_ball_has_hertzs_powers() -> None:
    """At a force, h goes with (F/E*)^(2/3) R^(-1/3), a with (F R/E*)^(1/3) [hertz1881]."""
    for doubt, depth, radius, force in (
        (Doubt("modulus", 4e9), 2 / 3 * 0.02, 0.02 / 3, 0.0),
        (Doubt("tip area", 0.03), 0.01, 0.01, 0.0),
        (Doubt("load", 0.01), 2 / 3 * 0.01, 0.01 / 3, 0.01),
    ):
        a = elastic_answer(replace(BALL, doubts=(doubt,)))
        found = [a.u_depth / a.depth, a.u_radius / a.radius, a.u_force / a.force]
        assert found == pytest.approx([depth, radius, force], rel=0.03, abs=1e-9)


@pytest.mark.parametrize(
    "doubt",
    [
        Doubt("thickness", 10e-9),
        Doubt("residual stress", 0.2e9),
        Doubt("modulus", 9e9),
        Doubt("ratio", 0.02, 1),
        Doubt("yield stress", 0.2e9, 1),
    ],
)
def test_under_a_film_the_parts_are_what_a_new_search_finds(doubt: Doubt) -> None:
    """The same load looked for anew with the input moved both ways."""
    answer = elastic_answer(replace(FILM, doubts=(doubt,)))
    assert all(y.force > 0 for y in answer.first_yield)
    for k, y in enumerate(answer.first_yield):
        ends = [elastic_answer(FILM.moved(doubt, s)).first_yield[k].force for s in (1.0, -1.0)]
        (part,) = y.parts
        assert part.u == pytest.approx((ends[0] - ends[1]) / 2, rel=0.12, abs=0.004 * y.force)


@settings(max_examples=5, deadline=None)
@given(st.floats(0.001, 0.05), st.floats(0.001, 0.05))
def test_independent_parts_add_in_squares(first: float, second: float) -> None:
    a, b = Doubt("yield stress", first * 5e9), Doubt("modulus", second * 200e9)
    u = [
        elastic_answer(replace(BALL, doubts=d)).first_yield[0].u_force
        for d in ((a,), (b,), (a, b), (b, a))
    ]
    assert u[2] == pytest.approx(np.hypot(u[0], u[1]), rel=1e-12)
    assert u[3] == pytest.approx(u[2], rel=1e-12)


def test_an_input_at_the_end_of_its_range_still_counts() -> None:
    """A ratio of 0.49 ± 0.02 cannot be moved by all of it; the slope is taken nearer by."""
    stack = Stack(replace(SOLID, nu=0.49))
    a = elastic_answer(replace(BALL, stack=stack, doubts=(Doubt("ratio", 0.02),)))
    # h ~ E*^(-2/3), E* = E/(1 - nu^2): dh/h = -(2/3) 2 nu/(1 - nu^2) u [hertz1881]
    assert a.u_depth / a.depth == pytest.approx(2 / 3 * 2 * 0.49 / (1 - 0.49**2) * 0.02, rel=0.02)
    tight = Stack(replace(SOLID, nu=0.499))
    with pytest.raises(StressError):
        elastic_answer(replace(BALL, stack=tight, doubts=(Doubt("ratio", 1.0),)))


def test_a_sharp_tip_has_a_depth_and_no_load_of_first_yield() -> None:
    """F ~ E* h^2 tan: at a force, h goes with E*^(-1/2) [sneddon1965]."""
    sharp = replace(BALL, profile=cone(np.radians(70.3)), doubts=(Doubt("modulus", 4e9),))
    a = elastic_answer(sharp)
    assert a.u_depth / a.depth == pytest.approx(0.01, rel=0.01)
    assert np.isnan(a.first_yield[0].u_force)


def test_what_is_known_better_does_not_start_the_elements_anew() -> None:
    assert problem_key(replace(BALL, doubts=(Doubt("modulus", 4e9),))) == problem_key(BALL)


def test_the_words_tell_the_largest_part_first() -> None:
    doubts = (Doubt("modulus", 1e9), Doubt("thickness", 40e-9))
    words = " ".join(elastic_words(p := replace(FILM, doubts=doubts), elastic_answer(p)))
    assert "Of its variance: thickness of film" in words
    assert "±" in words
    assert "±" not in " ".join(elastic_words(FILM, elastic_answer(FILM)))
