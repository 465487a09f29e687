"""What a calibration found: what told frame and tip apart, both, the references, the fit."""

from __future__ import annotations

import numpy as np

from drypoint import materials
from drypoint.calibration import Calibration, Known
from drypoint.calibration.result import Direction
from drypoint.figures.area import ideal_area
from drypoint.figures.benchnoise import correlated, correlation_map, correlations
from drypoint.figures.calibration import calibrated_area, reference_hardness
from drypoint.figures.calibration import residuals as residual_figure
from drypoint.figures.labels import number, plural
from drypoint.report.bench import (
    AREA_WORDS,
    area_parameters,
    area_range,
    found_words,
    instrument,
    value_with_u,
)
from drypoint.report.calibration_words import (
    UM2,
    PER_mN,
    area_at,
    calibration_of,
    compliance,
    depth_words,
    keys_of,
    level_of,
    percent,
    pm,
    table_depths,
    three_depths,
    with_minus,
    words_of_input,
)
from drypoint.report.model import (
    Block,
    Column,
    Drawing,
    Facts,
    Heading,
    Items,
    Paragraph,
    Section,
    Table,
)
from drypoint.report.specimens import NOT_STATED
from drypoint.report.words import DASH, level_text, plain, typeset
from drypoint.run.bench_result import BenchResult
from drypoint.uncertainty.rounding import round_pair

#: Most inputs whose correlations stand in a table; of more a map is drawn.
_MOST_IN_TABLE = 4
#: Most reference rows listed.
_MOST_ROWS = 200
#: Shares below this are left out of the table of sources.
_LEAST_SHARE = 0.001


def identified(result: BenchResult) -> Section:
    """What identified what, and what the tests alone can hardly tell."""
    i = calibration_of(result).identification
    blocks: list[Block] = [
        Items(tuple(with_minus(s) for s in i.sentences)),
        Table(
            "Combinations of inputs, worst determined first, as the tests alone determine them "
            "under the chosen form; uncertainties relative to the size of each input's effect.",
            (Column("No.", "number"), Column("Relative u / %", "number"),
             Column("Combination", wide=True)),
            tuple((str(n), _relative(d), _combination(d)) for n, d in enumerate(i.directions, 1)),
            "What the tests alone leave open is closed by the statement above.",
        ),
        Facts((("Identified by", "; ".join(i.by)),
               ("Condition of the whole fit", f"{number(i.condition, 2)} (1 would be ideal; "
                "from about a million on the numbers lose figures)"))),
    ]  # fmt: skip
    return Section("identified", "What tells frame and tip apart", tuple(blocks))


def _relative(d: Direction) -> str:
    return number(100 * d.u, 2) if np.isfinite(d.u) and d.u < 100 else "not determined"


def _combination(d: Direction) -> str:
    out = ""
    for name, share in d.parts:
        sign = (" − " if share < 0 else " + ") if out else ("−" if share < 0 else "")
        out += f"{sign}{abs(share):.2f} {words_of_input(name)}"
    return out


def tip_and_frame(result: BenchResult) -> Section:
    """Tip and frame with their uncertainties, where these come from, and how they hang together."""
    c = calibration_of(result)
    blocks: list[Block] = [
        Heading(f"Tip {c.tip.name}"),
        Facts(_tip(result)),
        area_parameters(c.tip),
        _areas(result),
        Drawing((calibrated_area(result),)),
        Heading("Frame"),
        Facts((*instrument(result.batch), *_frame(result))),
        Heading("Where the uncertainty comes from"),
        _shares(result),
        Heading("How the inputs hang together"),
        *_correlation(c, result.invented),
    ]
    if len(c.candidates) > 1:
        blocks += [Heading("Number of terms"), _candidates(c)]
    return Section("found", "Tip and frame", tuple(blocks))


def _tip(result: BenchResult) -> tuple[tuple[str, str], ...]:
    t = calibration_of(result).tip
    keys = result.study.file.tips.get(t.name)
    pairs = [("Shape", t.geometry.shape)]
    stated = result.before.tip.geometry  # as certified; what was found stands in the next table
    if stated.angle is not None:
        of = "Nominal or certified face angle" if stated.sides else "Half angle"
        pairs.append((of, value_with_u(float(np.degrees(stated.angle)),
                                       float(np.degrees(stated.u_angle)), "°")))  # fmt: skip
    papers = "; ".join(s.certificate.origin for s in result.certificates if s.of == t.name)
    pairs += [
        ("Modulus of the indenter E_i", value_with_u(t.E_i / 1e9, t.u_E_i / 1e9, " GPa")),
        ("Poisson's ratio of the indenter", value_with_u(t.nu_i, t.u_nu_i, "")),
        ("Certificate", papers or (keys.certificate if keys else "") or NOT_STATED),
        ("Serial number", keys.serial if keys and keys.serial else NOT_STATED),
        ("Area function", AREA_WORDS[t.area.kind]),
        ("Valid for contact depths", area_range(t)),
        ("Found under", found_words(t.area.found_with)),
    ]
    return tuple(pairs)


def _areas(result: BenchResult) -> Table:
    c = calibration_of(result)
    rows = []
    for h in table_depths(result):
        A = area_at(result, h)
        left, right = round_pair(A.value / UM2, A.u / UM2)
        ideal = float(ideal_area(c.tip, np.array([h]))[0])
        rows.append((f"{h * 1e9:.4g}", left, right, number(100 * A.u / A.value, 2),
                     number(100 * A.U / A.value, 2), f"{A.value / ideal:.3f}"))  # fmt: skip
    return Table(
        f"Area at chosen contact depths; U for {level_text(level_of(result))}.",
        (Column("h_c / nm", "number"), Column("A_p / µm²", "number"), Column("u / µm²", "number"),
         Column("u / %", "number"), Column("U / %", "number"), Column("Area / ideal", "number")),
        tuple(rows),
    )  # fmt: skip


def _frame(result: BenchResult) -> tuple[tuple[str, str], ...]:
    f = calibration_of(result).frame
    course = result.calibrated.course
    return (
        ("Compliance C_f", value_with_u(f.compliance / PER_mN, f.u_compliance / PER_mN, " nm/mN")),
        ("Force scale", value_with_u(f.force_scale, f.u_force_scale, "")),
        ("Depth scale", value_with_u(f.depth_scale, f.u_depth_scale, "")),
        ("From", f.origin),
        ("Settled over the rounds of reduction",
         ", ".join(typeset(f"{v / PER_mN:.5g}") for v in course) + " nm/mN"),
    )  # fmt: skip


def _shares(result: BenchResult) -> Table:
    known: list[Known] = [compliance(result)]
    heads = ["C_f"]
    for h in three_depths(result):
        known.append(area_at(result, h))
        heads.append(f"A_p at {depth_words(h)}")
    sources = list(dict.fromkeys(s for k in known for s in k.shares))
    rows = []
    for s in sources:
        shares = [k.shares.get(s, 0.0) for k in known]
        if max(shares) >= _LEAST_SHARE:
            rows.append((s, shares))
    rows.sort(key=lambda r: -max(r[1]))
    return Table(
        "Shares of the variance in percent: what to make better first.",
        (Column("Source"), *(Column(f"{h} / %", "number") for h in heads)),
        tuple((_source(s), *(f"{100 * v:.1f}" for v in shares)) for s, shares in rows),
        "“Reference tests” is the scatter and noise of the tests; all other sources are shared by "
        "all tests and do not become smaller with more of them.",
    )


def _source(name: str) -> str:
    text = words_of_input(name)
    return text[0].upper() + text[1:]


def _correlation(c: Calibration, invented: bool) -> list[Block]:
    inputs = correlated(c.linked)
    n = len(inputs.names)
    if n < 2:
        return [Paragraph("Only one input has an uncertainty; nothing hangs together.")]
    if n > _MOST_IN_TABLE:
        return [Drawing((correlation_map(c.linked, invented=invented),))]
    r = correlations(inputs)
    names = [words_of_input(i) for i in inputs.names]
    return [
        Table(
            "Correlation of the inputs that the calibration carries into every result.",
            (Column("Input"), *(Column(name, "number") for name in names)),
            tuple((names[i], *(typeset(f"{v:.3f}") for v in r[i])) for i in range(n)),
            "Inputs without uncertainty are left out.",
        )
    ]


def _candidates(c: Calibration) -> Table:
    best = min(k.criterion for k in c.candidates)
    used = len(c.tip.area.parameters.names)
    return Table(
        f"Numbers of terms that were tried; the least {c.form.select} was taken. What the "
        "choice leaves open is part of the uncertainty.",
        (Column("Terms", "number"), Column(f"{c.form.select} above the least", "number"),
         Column("Weight", "number"), Column("C_f ± u (tests alone) / (nm/mN)", "number"),
         Column("Inequalities that hold it", "number"), Column("")),
        tuple(
            (str(k.terms), _criterion(k.criterion - best), _weight(k.weight),
             pm(k.C_f / PER_mN, k.u_C_f / PER_mN), str(k.held),
             "taken" if k.terms == used else "")
            for k in sorted(c.candidates, key=lambda k: k.terms)
        ),
    )  # fmt: skip


def _criterion(difference: float) -> str:
    return f"{difference:.1f}" if np.isfinite(difference) else "too few tests"


def _weight(w: float) -> str:
    return f"{w:.3f}" if w >= 0.0005 else "< 0.001"


def references(result: BenchResult) -> Section:
    """The reference materials and where their constants come from."""
    c, keys = calibration_of(result), keys_of(result)
    rows = []
    for r in keys.references:
        packaged = result.study.specimen(r.specimen).reference
        name, source = r.specimen, "stated in the recipe"
        if packaged is not None:
            m = materials.load(packaged)
            name = m.name
            if r.E_GPa is None:
                source = f"{m.citation} ({m.mark})"
        if r.certificate:
            source = f"{r.certificate}; {source}" if r.E_GPa is None else r.certificate
        known = next((m for m in c.tests.materials if m.name == name), None)
        if known is None:
            continue
        rows.append((
            r.specimen, name, known.face or "–", pm(known.E / 1e9, known.u_E / 1e9),
            pm(known.nu, known.u_nu), pm(known.M / 1e9, known.u_M / 1e9), source,
        ))  # fmt: skip
    table = Table(
        "Reference materials with standard uncertainties; the area found goes with 1/E_r².",
        (Column("Specimen"), Column("Material"), Column("Crystal face"),
         Column("E ± u / GPa", "number"), Column("nu ± u", "number"),
         Column("E/(1 − nu²) ± u / GPa", "number"), Column("Source", wide=True)),
        tuple(rows),
        "A value without ± counts as exact. The value of a crystal holds for the face that is "
        "named; its E is that of the isotropic solid with the same nu and E/(1 − nu²)."
        if any(m.face for m in c.tests.materials)
        else "A value without ± counts as exact.",
    )  # fmt: skip
    return Section("references", "Reference materials", (table,))


def residuals(result: BenchResult) -> Section:
    """What the fit leaves over, and every reference test."""
    c = calibration_of(result)
    s = c.scatter
    facts = (
        ("Weighted sum of squares", f"{c.chi_squared:.1f} for {plural(c.dof, 'degree')} of "
         "freedom (scatter included in the weights)"),
        ("Scatter beyond the records' own noise",
         f"{percent(s.row)} of the contact compliance from unloading to unloading"
         + (f", {percent(s.test)} from test to test" if s.test else "")),
        ("Inequalities that hold the solution", str(c.held) if c.held else "none"),
    )  # fmt: skip
    return Section(
        "residuals",
        "Fit and residuals",
        (
            Facts(facts),
            Drawing((residual_figure(result),)),
            Drawing((reference_hardness(result),)),
            _rows(c),
        ),
    )


def _signed(value: float) -> str:
    """Two decimals, and no sign before nothing."""
    return typeset(f"{round(float(value), 2) + 0.0:.2f}")


def _rows(c: Calibration) -> Table:
    marked = {i for f in c.findings for i in f.rows}
    shown = range(min(len(c.tests), _MOST_ROWS))
    rows = []
    for i in shown:
        rows.append((
            c.tests.label(i) + (" *" if i in marked else ""),
            c.tests.materials[int(c.tests.material[i])].name,
            plain(round(float(c.tests.F[i]) * 1e3, 3), 4),
            plain(float(c.rows.h_c[i]) * 1e9, 4),
            plain(float(c.rows.area_seen[i]) / UM2, 4),
            _signed(100 * c.rows.residual[i] / c.rows.predicted[i]),
            _signed(c.rows.standardised[i]),
            plain(float(c.rows.hardness[i]) / 1e9, 4),
            plain(float(c.tests.ratio[i]), 3) if np.isfinite(c.tests.ratio[i]) else DASH,
        ))  # fmt: skip
    note = "* named in a finding." if marked else ""
    if len(c.tests) > _MOST_ROWS:
        note += f" The first {_MOST_ROWS} of {len(c.tests)} unloadings."
    return Table(
        "Reference tests one by one: the area each alone implies, and what the fit leaves over.",
        (Column("Test"), Column("Material"), Column("F_max / mN", "number"),
         Column("h_c / nm", "number"), Column("Area implied / µm²", "number"),
         Column("Residual / %", "number"), Column("Residual / u", "number"),
         Column("H / GPa", "number"), Column("h_p/h_max", "number")),
        tuple(rows),
        note.strip(),
    )  # fmt: skip
