"""Indirect verification: tests on a certified block that the calibration did not use.

Error e = mean - certified value; expanded uncertainty of the error U = k sqrt(u_mean^2 + u_cert^2);
E_n = e / U; repeatability as coefficient of variation [iso14577-2-2015] [iso13528-2015].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.calibration.problems import CalibrationError
from drypoint.reduction.result import Reduction
from drypoint.uncertainty.propagation import coverage_factor, welch_satterthwaite

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Block:
    """A reference block's certificate for one quantity: value and expanded uncertainty, SI."""

    name: str
    quantity: str
    value: float
    U: float
    k: float = 2.0
    number: str = ""
    issued: date | None = None
    valid_until: date | None = None

    def __post_init__(self) -> None:
        if not (self.value > 0 and self.U >= 0 and self.k > 0):
            raise CalibrationError(
                f"The certificate of block “{self.name}” has no sensible value or uncertainty.",
                remedy="Give the value, the expanded uncertainty and its coverage factor.",
            )

    @property
    def u(self) -> float:
        """Standard uncertainty, U / k."""
        return self.U / self.k


@dataclass(frozen=True)
class Limits:
    """Limits of the decision, relative to the certified value.

    ``error`` and ``repeatability`` default to 5 %, a common choice for blocks; the standard's own
    table goes first where the reader holds it. ``fewest`` tests.
    """

    error: float = 0.05
    repeatability: float = 0.05
    fewest: int = 5

    @property
    def rule(self) -> str:
        """The decision rule in words."""
        return (
            f"Pass: the error is at most {100 * self.error:g} % of the certified value, |E_n| is "
            f"at most 1, the coefficient of variation is at most {100 * self.repeatability:g} %, "
            f"and the expanded uncertainty of the error is itself at most {100 * self.error:g} %. "
            "Fail: the error, |E_n| or the coefficient of variation is above its limit, whatever "
            "the uncertainty. Undecided: none of them is, but the uncertainty of the error is too "
            f"large to tell, there are fewer than {self.fewest} tests, or the conditions of the "
            "comparison are not met."
        )


@dataclass(frozen=True)
class Verification:
    """One quantity verified. ``verdict``: ``"pass"``, ``"fail"`` or ``"undecided"``."""

    block: Block
    limits: Limits
    n: int
    mean: float
    u_mean: float
    error: float
    relative_error: float
    U_error: float
    E_n: float
    variation: float
    verdict: str
    reasons: tuple[str, ...]
    rule: str


def verify(
    values: ArrayLike,
    block: Block,
    *,
    u_systematic: float,
    u_random: ArrayLike | None = None,
    limits: Limits = Limits(),
    day: date | None = None,
    calibrated_on: Sequence[str] = (),
    epsilon: float | None = None,
    radial_correction: bool = True,
) -> Verification:
    """Compare tests on a block with its certificate.

    Parameters
    ----------
    values : array, shape (n,)
        The quantity of each test, SI.
    u_systematic : float
        Standard uncertainty of the mean from what all tests share.
    u_random : array, optional
        Each test's own, to be held against the scatter.
    calibrated_on : sequence of str
        Reference materials (or blocks) that the calibration used.
    epsilon, radial_correction
        The rule of the analysis; verification asks for variable epsilon (``None``) and the radial
        correction [iso14577-2-2015].

    Raises
    ------
    CalibrationError
        When the block served in the calibration, or there is no test.
    """
    v = np.asarray(values, dtype=np.float64)
    v = v[np.isfinite(v)]
    if block.name in calibrated_on:
        raise CalibrationError(
            f"Block “{block.name}” was used in the calibration; it cannot verify it.",
            remedy="Test another certified block.",
        )
    if not len(v):
        raise CalibrationError(
            f"No test on block “{block.name}” gave {block.quantity}.",
            remedy="Look at the flags of these tests.",
        )
    n = len(v)
    mean, sd = float(v.mean()), float(v.std(ddof=1)) if n > 1 else np.nan
    u_type_a = (
        sd / n**0.5
        if n > 1
        else (float(np.asarray(u_random).ravel()[0]) if u_random is not None else np.nan)
    )
    u_a = u_type_a if np.isfinite(u_type_a) else 0.0
    u_mean = float(np.hypot(u_a, u_systematic))
    dof = welch_satterthwaite(
        np.array([u_a**2, u_systematic**2, block.u**2]), np.array([max(n - 1, 1), np.inf, np.inf])
    )
    U = coverage_factor(dof) * float(np.hypot(u_mean, block.u))
    error = mean - block.value
    En = error / U if U > 0 else (0.0 if error == 0 else float(np.copysign(np.inf, error)))
    cv = sd / mean if n > 1 else np.nan
    verdict, reasons = _decide(error / block.value, U / block.value, En, cv, n, limits)
    open_ = _conditions(block, day, epsilon, radial_correction)
    if open_ and verdict == "pass":
        verdict = "undecided"
    return Verification(
        block, limits, n, mean, u_mean, error, error / block.value, U, En, cv, verdict,
        (*reasons, *open_), limits.rule,
    )  # fmt: skip


def _decide(
    e: float, U: float, En: float, cv: float, n: int, limits: Limits
) -> tuple[str, tuple[str, ...]]:
    bad, dim = [], []
    if abs(e) > limits.error:
        bad.append(f"The error, {100 * e:+.2f} %, is above the limit of {100 * limits.error:g} %.")
    if abs(En) > 1:
        bad.append(
            f"|E_n| = {abs(En):.2f} is above 1: the error is larger than its expanded uncertainty, "
            f"{100 * U:.2f} %; some uncertainty is missing or the bench is off."
        )
    if cv > limits.repeatability:
        bad.append(
            f"The coefficient of variation, {100 * cv:.2f} %, is above the limit of "
            f"{100 * limits.repeatability:g} %."
        )
    if limits.error < U:
        dim.append(
            f"The expanded uncertainty of the error, {100 * U:.2f} %, is larger than the limit of "
            f"{100 * limits.error:g} %: agreement would say little. Make the uncertainty smaller: "
            "more tests, a better reference, a better certificate."
        )
    if n < limits.fewest:
        dim.append(f"{n} tests; the rule asks for {limits.fewest}. Measure more.")
    if bad:
        return "fail", tuple(bad + dim)
    if dim:
        return "undecided", tuple(dim)
    return "pass", (
        f"The error, {100 * e:+.2f} %, and the coefficient of variation, {100 * cv:.2f} %, are "
        f"within their limits, and |E_n| = {abs(En):.2f}.",
    )


def _conditions(block: Block, day: date | None, epsilon: float | None, radial: bool) -> list[str]:
    said = []
    if epsilon is not None or not radial:
        said.append(
            "The block was not analysed with variable epsilon and the radial correction on, as the "
            "practice asks."
        )
    if day is not None and block.valid_until is not None and day > block.valid_until:
        said.append(
            f"The block's certificate ended on {block.valid_until.isoformat()}. Have it certified "
            "again."
        )
    if day is not None and block.issued is not None and day < block.issued:
        said.append(
            f"The tests are dated {day.isoformat()}, before the block's certificate "
            f"({block.issued.isoformat()}). Check the dates."
        )
    return said


def verify_reduction(
    r: Reduction,
    block: Block,
    *,
    limits: Limits = Limits(),
    day: date | None = None,
    calibrated_on: Sequence[str] = (),
    epsilon: float | None = None,
    radial_correction: bool = True,
) -> Verification:
    """:func:`verify` on the tests of a reduction: what they share is taken once, not averaged."""
    q = r[block.quantity]
    good = np.isfinite(q.value)
    J = q.sensitivity[good].mean(axis=0) if np.any(good) else np.zeros(len(r.inputs.names))
    return verify(
        q.value[good], block, u_systematic=float(np.sqrt(max(J @ r.inputs.cov @ J, 0.0))),
        u_random=q.u_random[good], limits=limits, day=day, calibrated_on=calibrated_on,
        epsilon=epsilon, radial_correction=radial_correction,
    )  # fmt: skip
