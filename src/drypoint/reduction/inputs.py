"""The systematic inputs of a reduction, gathered into one joint distribution."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from drypoint.errors import ReductionError
from drypoint.reduction.options import SOURCES, Options
from drypoint.reduction.rule import beta_and_scale, rule_scale
from drypoint.reduction.zero_laws import by_law
from drypoint.tips.area import tip_joint
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint, join, single


def systematic_inputs(
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    specimens: Iterable[str] | None = None,
) -> Joint:
    """Joint distribution of everything that all tests share.

    Parameters
    ----------
    bench : Bench
        Its ``linked`` distribution, where a calibration gave one, replaces the separate entries.
    options : Options
        Brings beta and a fixed epsilon with their uncertainties.
    poisson : mapping
        Specimen -> (nu, standard uncertainty).
    specimens : iterable of str, optional
        The specimens that are tested, by default those of ``poisson``; each has a law of first
        contact of its own where :func:`~drypoint.reduction.zero_laws.by_law` holds.

    Returns
    -------
    Joint
        Names: ``tip.*`` (with ``tip.scale`` for a tip found on a reference under a stated rule),
        ``zero.law.SPECIMEN`` (where zeros are found by a shared law), ``frame.C_f``,
        ``force_scale``, ``depth_scale``, ``zero.exponent``, ``beta``, ``epsilon``
        (when fixed), ``nu.SPECIMEN``.
    """
    a = options.analysis
    parts = [*tip_joint(bench.tip), *bench.frame.joint()]
    z = options.zero
    shared = by_law(z)
    u_n = z.u_exponent if z.method == "first contact" and not shared else 0.0
    parts.append(single("zero.exponent", z.exponent, u_n, SOURCES["zero.u_exponent"]))
    if shared:
        for name in sorted(poisson if specimens is None else set(specimens)):
            parts.append(single(f"zero.law.{name}", 0.0, 1.0, SOURCES["zero.law"]))
    if rule_scale(bench.tip, a) != 1.0 and bench.linked is not None:
        raise ReductionError(
            f"Tip “{bench.tip.name}” and its frame were found together under another beta or "
            "radial correction than this analysis uses.",
            remedy="Calibrate again under the rule of this study; recalibrate_tip moves a tip "
            "alone.",
        )
    parts.append(beta_and_scale(bench.tip, a, SOURCES["analysis.beta"]))
    if a.epsilon is not None:
        parts.append(single("epsilon", a.epsilon, a.u_epsilon, "fixed in the recipe"))
    for name, (nu, u_nu) in poisson.items():
        parts.append(single(f"nu.{name}", nu, u_nu, "declared for the specimen"))
    whole = join(parts)
    if bench.linked is not None:
        unknown = [n for n in bench.linked.names if n not in whole.names]
        if unknown:
            raise ReductionError(
                "The calibration brings inputs that this analysis does not use: "
                + ", ".join(unknown)
                + ".",
                remedy="Calibrate again under the beta and epsilon rule of this study.",
            )
        whole = whole.replace(bench.linked)
    return whole
