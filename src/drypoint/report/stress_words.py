"""What is said of a stress run, in the report and on the terminal: sentences, tables of strings."""

from __future__ import annotations

import numpy as np

from drypoint.figures.labels import number
from drypoint.figures.stress_maps import largest_tension
from drypoint.report.model import Column, Table
from drypoint.report.words import DASH, plain, typeset
from drypoint.run.elastic_first import ElasticAnswer, ElasticYield, names_of
from drypoint.run.stress_uncertain import doubt_text
from drypoint.run.stressing import StressResult
from drypoint.stress import Material, Problem
from drypoint.uncertainty.rounding import round_pair

#: What an axisymmetric model cannot show, and what else the run does not know.
CANNOT = (
    "The tip is a body of revolution with the real tip's area at every depth. Stresses at the "
    "edges of a pyramid, cracks from its corners, and pile-up at its sides are not in it.",
    "Nothing cracks, comes off or creeps in the model. Where a tension is near the strength of "
    "the solid or of the bond, the real specimen may crack, and all that follows is different.",
    "The numbers of the solids are taken as they are stated. How well they are known is in the "
    "elastic answer and in the loads of first yield; what it brings to the other results is told "
    "where the study asks for it.",
)


def force_words(F: float, u: float = 0.0) -> str:
    """A force (N) in mN, or in µN where it is small; with its standard uncertainty where known."""
    factor, unit = (1e3, "mN") if F >= 1e-5 else (1e6, "µN")
    if not u > 0:
        return f"{number(F * factor)} {unit}"
    value, spread = round_pair(F * factor, u * factor)
    return f"({value} ± {spread}) {unit}"


def _length(x: float, u: float) -> str:
    if not u > 0:
        return f"{number(x * 1e9)} nm"
    value, spread = round_pair(x * 1e9, u * 1e9)
    return f"({value} ± {spread}) nm"


def _begin(name: str) -> str:
    return name[:1].upper() + name[1:]


def _where(depth: float, radius: float) -> str:
    side = "on the axis" if radius < 1e-12 else f"{number(radius * 1e9)} nm off the axis"
    return f"{number(depth * 1e9)} nm below the surface, {side}"


def solid_words(m: Material) -> str:
    """A solid in a few words: ``E = 240 GPa, ν = 0.25, Y = 7.7 GPa``."""
    words = f"E = {number(m.E / 1e9)} GPa, ν = {m.nu:g}"
    if not np.isfinite(m.first_yield):
        return f"{words}, elastic"
    words += f", Y = {number(m.first_yield / 1e9)} GPa"
    if m.exponent:
        words += f", hardening exponent {m.exponent:g}"
    if m.slope:
        words += f", hardening {number(m.slope / 1e9)} GPa"
    return words + (", by table" if m.table else "")


def problem_words(problem: Problem, names: tuple[str, ...]) -> str:
    """Tip, load and layers in a sentence or two."""
    p, stack = problem.protocol, problem.stack
    goal = f"{number(p.force * 1e3)} mN" if p.force else f"{number(p.depth * 1e9)} nm"
    tip = problem.profile
    kind = "rigid" if tip.E_i is None else f"E_i = {number(tip.E_i / 1e9)} GPa"
    rub = f", friction {problem.friction:g}" if problem.friction else ""
    solids = []
    for name, m, s, layer in zip(
        names, stack.materials, stack.stresses, (*stack.layers, None), strict=True
    ):
        size = f"{number(layer.thickness * 1e9)} nm, " if layer is not None else ""
        held = f", residual stress {typeset(number(s / 1e9))} GPa" if s else ""
        solids.append(f"{name} ({size}{solid_words(m)}{held})")
    peaks = p.peaks
    times = ""
    if len(peaks) > 1:
        same = min(peaks) == max(peaks)
        times = f" {len(peaks)} times" if same else f" in {len(peaks)} cycles of rising load"
    return f"Tip {tip.name} ({kind}{rub}) to {goal}{times} on {' on '.join(solids)}."


def elastic_words(problem: Problem, answer: ElasticAnswer) -> list[str]:
    """The elastic answer in sentences."""
    given = [
        "the prescribed " if asked == found else ""
        for asked, found in (
            (problem.protocol.force, answer.force),
            (problem.protocol.depth, answer.depth),
        )
    ]
    out = [
        f"If nothing yielded, {given[0]}{force_words(answer.force, answer.u_force)} would press "
        f"the tip {given[1]}{_length(answer.depth, answer.u_depth)} deep, with a contact radius of "
        f"{_length(answer.radius, answer.u_radius)} (exact solution of the layered half-space)."
    ]
    for m, y in zip(problem.stack.materials, answer.first_yield, strict=True):
        if not np.isfinite(m.first_yield):
            continue
        if y.always:
            out.append(f"{_begin(y.name)} yields at once, at any force: the tip is sharp.")
        elif np.isnan(y.force):
            out.append(f"{_begin(y.name)} would not yield.")
        else:
            out.append(
                f"{_begin(y.name)} would first yield at {force_words(y.force, y.u_force)}, "
                f"{_where(y.depth, y.radius)}.{_most(problem, y)}"
            )
    return out


def _most(problem: Problem, y: ElasticYield) -> str:
    """What the uncertainty of a first yield comes from, the largest parts first."""
    if not y.u_force > 0:
        return ""
    parts = sorted(y.parts, key=lambda p: -abs(p.u))
    whole = y.u_force**2
    names, shares = names_of(problem), [(p, p.u**2 / whole) for p in parts[:3]]
    told = [f"{doubt_text(p.doubt, names)} {100 * s:.0f} %" for p, s in shares if s >= 0.01]
    return f" Of its variance: {', '.join(told)}."


def found_words(result: StressResult) -> list[str]:
    """What was found, in sentences: yield, contact, tension, interfaces, what is left."""
    run, k = result.run, result.run.peak
    out = [
        f"{force_words(run.force[k])} press the tip {number(run.depth[k] * 1e9)} nm deep; the "
        f"contact has a radius of {number(run.contact_radius[k] * 1e9)} nm."
    ]
    out += yield_words(result)
    rise = run.pile_up
    out.append(
        f"At the edge of the contact the surface "
        f"{'piles up' if rise > 0 else 'sinks in'} by {number(abs(rise) * 1e9)} nm."
    )
    value, r, z = largest_tension(run, k)
    out.append(f"Largest tension at the peak: {_tension(value, r, z)}.")
    for n, one in enumerate(result.interfaces(k)):
        shear = float(np.abs(one.shear).max())
        at = float(one.r[np.argmax(np.abs(one.shear))])
        after = result.interfaces(-1)[n]
        pull = max(float(one.normal.max()), float(after.normal.max()), 0.0)
        out.append(
            f"Interface {n + 1}: pressed by up to {number(-float(one.normal.min()) / 1e9)} GPa at "
            f"the peak, sheared by up to {number(shear / 1e9)} GPa {number(at * 1e9)} nm off the "
            f"axis; pulled by at most {number(pull / 1e9)} GPa."
        )
    if not np.any(run.plastic_strain[-1]):
        out.append("Nothing yielded: no impression is left.")
    elif run.force[-1] == 0:
        value, r, z = largest_tension(run, -1)
        out.append(
            f"The tip leaves the impression at {number(run.depth[-1] * 1e9)} nm. Largest tension "
            f"left behind: {_tension(value, r, z)}."
        )
    return out


def _tension(value: float, r: float, z: float) -> str:
    return f"{number(value / 1e9)} GPa, {_where(max(-z, 0.0), r)}"


def yield_words(result: StressResult) -> list[str]:
    """First yield of every solid."""
    peak = f"{number(float(result.run.force.max()) * 1e3)} mN"
    how = {
        "finite elements": "{0} first yields at {1}.",
        "elastic": "{0} first yields at {1}, before the first load step (elastic answer).",
        "at once": "{0} yields at once, at any force: the tip is sharp.",
        "not reached": "{0} does not yield up to " + peak + ".",
        "elastic solid": "{0} is taken as elastic.",
    }
    return [
        how[y.how].format(_begin(y.name), force_words(y.force, y.u_force))
        for y in result.first_yield
    ]


def error_words(result: StressResult) -> str:
    """The run's own errors, in one or two sentences."""
    e, run = result.run.errors, result.run
    energy = f"work neither stored nor dissipated {typeset(f'{run.balance:+.2%}')}"
    if e is None:
        return f"Errors of steps and mesh were not estimated; {energy}."
    parts = ", ".join(
        f"{what} {typeset(f'{value:+.2%}')}"
        for what, value in (("steps", e.steps), ("mesh", e.mesh), ("overlap", e.overlap))
    )
    return (
        f"Errors of the force at a given depth, estimated from runs with half the steps and half "
        f"the elements: {parts}; scatter {e.ripple:.2%}; {energy}."
    )


def seen_rows(result: StressResult) -> list[tuple[str, str, str, str, str]]:
    """Quantity, unit, as the instrument sees it, as it is, difference."""
    seen, run = result.seen, result.run
    if seen is None:
        return []
    pairs = (
        ("Contact area", "µm²", seen.area * 1e12, seen.true_area * 1e12),
        ("Hardness", "GPa", seen.H_IT / 1e9, run.hardness / 1e9),
        ("Reduced modulus", "GPa", seen.E_r / 1e9, result.true_E_r / 1e9),
    )
    return [
        (what, unit, plain(a), plain(b), typeset(f"{100 * (a / b - 1):+.1f} %"))
        for what, unit, a, b in pairs
    ]


def seen_table(result: StressResult) -> Table | None:
    """What the instrument would see beside what is true."""
    rows = seen_rows(result)
    if not rows:
        return None
    return Table(
        f"{result.name}: what the analysis of the unloading finds, beside what is true in the "
        "model.",
        (Column("Quantity"), Column("Unit"), Column("As seen", "number"),
         Column("True", "number"), Column("Difference", "number")),
        tuple(rows),
        "As seen: contact depth and stiffness of the unloading, area function of the tip, β = 1. "
        "True area: out to the edge of the contact. True modulus: that of the layered half-space "
        "at the true contact radius.",
    )  # fmt: skip


def uncertain_table(result: StressResult) -> Table | None:
    """What the stated uncertainties of the solids bring; ``None`` where it is not asked for."""
    if not result.uncertain:
        return None
    rows, names = [], names_of(result.problem)
    for one in result.uncertain:
        value, u = round_pair(one.value, one.u)
        most = [p for p in one.parts if one.share(p) >= 0.05][:3]
        said = ", ".join(f"{doubt_text(p.doubt, names)} {100 * one.share(p):.0f} %" for p in most)
        rows.append((_begin(one.quantity), one.unit, f"{typeset(value)} ± {u}", said))
    return Table(
        f"{result.name}: what is not known exactly of solids, tip and load brings.",
        (Column("Result", wide=True), Column("Unit"), Column("Value", "number"),
         Column("Largest shares of the variance", wide=True)),
        tuple(rows),
        "± is the standard uncertainty from these alone, taken as independent; errors of the run "
        "and what the model leaves out are not in it.",
    )  # fmt: skip


def solids_table(result: StressResult) -> Table:
    """First yield and largest stresses of every solid."""
    from drypoint.run.stress_tables import stress_tables

    rows = []
    for row in stress_tables([result])["stress_solids"].to_dicts():
        force = row["first_yield_F_mN"]
        rows.append(
            (
                row["solid"],
                DASH if force is None else plain(force),
                DASH if not row["u_first_yield_F_mN"] else plain(row["u_first_yield_F_mN"], 2),
                row["first_yield_by"],
                plain(row["largest_plastic_strain"]),
                plain(row["largest_von_mises_GPa"]),
                plain(row["largest_tension_GPa"]),
                plain(row["largest_tension_after_GPa"]),
            )
        )
    return Table(
        f"{result.name}: first yield of every solid, and its largest values at the peak and at "
        "the end.",
        (Column("Solid"), Column("First yield / mN", "number"), Column("u / mN", "number"),
         Column("By", wide=True),
         Column("Plastic strain", "number"), Column("Von Mises / GPa", "number"),
         Column("Tension / GPa", "number"), Column("Tension left / GPa", "number")),
        tuple(rows),
        "u: standard uncertainty of the first yield from what is stated of solids and tip, by the "
        "elastic answer; a dash where nothing is stated or there is no such load. "
        "Means over an element; plastic strain, von Mises stress and tension (largest principal "
        "stress) at the peak, the last column at the end.",
    )  # fmt: skip
