"""What a study asks beyond single values: series, comparisons, Monte Carlo."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from drypoint.recipe.base import Positive, Section, Trials, Words, key

Quantity = Literal["H_IT", "E_IT", "E_r", "E_IT_star", "HM", "HM_s", "C_IT", "R_IT", "eta_IT", "S"]


class SeriesKeys(Section):
    """How the tests of a specimen are gathered."""

    depth_bins_nm: Annotated[tuple[Positive, ...], Field(max_length=1000)] = key(
        "Edges of the bins of contact depth in which cycles are gathered; where left out, one bin "
        "for each step of a stepped loading.",
        (),
        unit="nm",
    )
    method: Literal["mean", "huber", "median"] = key(
        "How the tests of a specimen are averaged.", "mean", source="GUM 4.2"
    )


class Comparison(Section):
    """A comparison of two specimens or more."""

    specimens: Annotated[tuple[Words, ...], Field(min_length=2)] = key(
        "Names of the specimens; the first is compared with the others."
    )
    quantity: Quantity = key("What is compared.")
    kind: Literal["difference", "ratio"] = key("Difference, or ratio of the means.", "difference")
    margin: Positive | None = key(
        "Specimens count as equivalent within this margin: in GPa (or the unit of the quantity's "
        "column) for a difference, as a share for a ratio.",
        None,
    )
    power: Annotated[float, Field(gt=0, lt=1)] = key(
        "Power for the number of further tests that would decide.",
        0.8,
        source="common practice in statistics",
    )
    adjust: Literal["tukey", "holm"] = key(
        "How more than two specimens are allowed for: Games-Howell, or Holm.",
        "tukey",
        source="Games and Howell 1976",
    )


class UncertaintyKeys(Section):
    """How uncertainties are propagated."""

    monte_carlo_trials: Trials = key(
        "Trials of a Monte Carlo propagation beside the linear one; 0 for none.",
        0,
        source="GUM Supplement 1",
    )
