"""Carry a calibration study through the rooms: read, calibrate, verify, study noise and drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from drypoint import materials
from drypoint.calibration import (
    Block,
    Calibrated,
    CalibrationError,
    ConstantHardness,
    Constraint,
    Finding,
    ForceOverStiffnessSquared,
    Form,
    KnownCompliance,
    Limits,
    NoiseStudy,
    Reference,
    SecondMaterial,
    calibrate_batch,
    leading_from_angle,
    noise_study,
    past_date,
    quiet_stretches,
    verify_reduction,
)
from drypoint.errors import RecipeError, Where
from drypoint.recipe import Effective, Study, load_study, read_journal
from drypoint.recipe.benches import certificate
from drypoint.recipe.calibrating import BlockKeys, CalibrationKeys
from drypoint.records.batch import Batch, join
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import Reduced, reduce_batch
from drypoint.run.bench_result import BenchResult, CheckedBlock, StatedCertificate
from drypoint.run.groups import overrides_of
from drypoint.run.progress import Watch
from drypoint.run.reading import Readings, read_study_records
from drypoint.run.study_run import provenance_of
from drypoint.store.cache import Cache
from drypoint.threads import one_in_algebra
from drypoint.tips.tip import Bench

#: Below this number of reference tests the scatter between them is not seen; our own choice.
_FEW_TESTS = 4


@one_in_algebra()
def calibrate_study(
    study: Study | Path | str, *, watch: Watch | None = None, use_cache: bool = True
) -> BenchResult:
    """Make the calibration that a study file describes. Nothing is written.

    Raises
    ------
    RecipeError
        When the study describes no calibration, or its references differ in bench or choices.
    CalibrationError
        When tip and frame cannot be found from the tests.
    """
    watch = watch or Watch()
    if not isinstance(study, Study):
        study = load_study(Path(study))
    keys = study.file.calibration
    if keys is None:
        raise RecipeError(
            "The study describes no calibration.",
            where=Where(str(study.path), key="calibration"),
            remedy="Add a table [calibration] with the reference materials; see the how-to page "
            "“Calibrate a bench”.",
        )
    journal = read_journal(study.decisions)
    cache = Cache.beside(study.path) if use_cache else None
    readings = read_study_records(study, cache, watch)
    state = journal.effective
    references = _references(study, keys)
    watch.at("calibrating", 0, 2, keys.name)
    batch, excluded = _kept(readings, set(references), state)
    if not len(batch):
        raise CalibrationError(
            "There is no test on a reference material.",
            remedy="Check the files that the study names, and what was set aside.",
        )
    before, options = _bench_and_options(study, keys, readings)
    calibrated = calibrate_batch(
        batch, before, options, references, _constraints(study, keys, before, references),
        Form(keys.form, keys.terms, keys.select, keys.most_terms),
        cycles=keys.cycles, overrides=overrides_of(study, state, batch), date=keys.day,
    )  # fmt: skip
    watch.at("verifying", 1, 2)
    blocks, more = _blocks(study, keys, readings, state, calibrated)
    stated = tuple(StatedCertificate(c.of, certificate(c)) for c in study.file.certificates)
    day = date.fromisoformat(keys.day)
    dates = [f for s in stated if (f := past_date(s.certificate, day)) is not None]
    watch.at("verifying", 2, 2)
    return BenchResult(
        study=study, before=before, batch=batch, calibrated=calibrated, blocks=blocks,
        noise=_noise(study, batch, calibrated), certificates=stated,
        findings=(
            *calibrated.calibration.findings, *_superseded(study, keys),
            *_plain(keys, calibrated, options, references), *dates, *_of_blocks(blocks),
        ),
        set_aside=readings.set_aside, excluded=(*excluded, *more),
        notes=(*study.notes, *journal.notes, *readings.notes),
        provenance=provenance_of(study, journal, readings),
    )  # fmt: skip


def _references(study: Study, keys: CalibrationKeys) -> dict[str, Reference]:
    """Reference material of each specimen. A certificate goes before the packaged values."""
    out = {}
    for r in keys.references:
        packaged = study.specimen(r.specimen).reference
        known = study.specimen_nu(r.specimen)
        nu = r.nu if r.nu is not None else float(known.mean[0])
        u_nu = r.u_nu if r.u_nu is not None else float(known.sd[0])
        material = None if packaged is None else materials.load(packaged)
        if r.E_GPa is None:
            assert material is not None  # by the rules of [calibration]
            out[r.specimen] = Reference.of(material.with_nu(nu, u_nu))
            continue
        name = r.specimen if material is None else material.name
        face = "" if material is None else material.face
        E, u_E = r.E_GPa * 1e9, (r.u_E_GPa or 0.0) * 1e9
        out[r.specimen] = Reference(name, E, nu, u_E, u_nu, face=face)
    return out


def _constraints(
    study: Study, keys: CalibrationKeys, bench: Bench, references: dict[str, Reference]
) -> tuple[Constraint, ...]:
    """What identifies frame and tip, as the recipe states it, with the bench's own values."""
    material = references[keys.constant_on].name if keys.constant_on is not None else None
    out: list[Constraint] = []
    for words in keys.identified_by:
        if words == "second material":
            out.append(SecondMaterial())
        elif words == "known compliance":
            out.append(_stated_compliance(study, bench))
        elif words == "leading term":
            g = bench.tip.geometry
            if not g.sides or g.angle is None:
                raise CalibrationError(
                    f"A {g.shape} has no leading term from a face angle.",
                    where=Where(key="calibration.identified_by"),
                    remedy="State another condition, for example a second material.",
                )
            out.append(leading_from_angle(g.sides, g.angle, g.u_angle))
        elif words == "constant hardness":
            low, high = keys.h_range_nm or (0.0, float("inf"))
            out.append(ConstantHardness(low * 1e-9, high * 1e-9, material))
        else:
            low, high = keys.F_range_mN or (0.0, float("inf"))
            out.append(ForceOverStiffnessSquared(low * 1e-3, high * 1e-3, material))
    return tuple(out)


def _stated_compliance(study: Study, bench: Bench) -> KnownCompliance:
    """The frame's compliance as certified or declared; one that nobody stated is not known."""
    f = bench.frame
    papers = [c for c in study.file.certificates if c.of == f.name and c.kind == "frame compliance"]
    if not papers and not f.u_compliance > 0:
        raise CalibrationError(
            "The frame's compliance is said to be known, but no value with an uncertainty is "
            "stated.",
            where=Where(str(study.path), key="calibration.identified_by"),
            remedy="Give compliance_nm_per_mN and u_compliance_nm_per_mN under [frame], or a "
            "certificate of the kind “frame compliance”.",
        )
    origin = certificate(papers[0]).origin if papers else "value declared in the recipe"
    return KnownCompliance(f.compliance, f.u_compliance, origin)


def _bench_and_options(
    study: Study, keys: CalibrationKeys, readings: Readings
) -> tuple[Bench, Options]:
    """The one bench and the one set of choices of all references."""
    names = {r.specimen for r in keys.references}
    parts = [p for p in readings.parts if p.specimen in names and len(p.batch)]
    benches = {(b.tip.name, b.frame.name): b for b in (study.bench_of(p.table) for p in parts)}
    choices = {study.options(s) for s in names}
    if len(benches) != 1 or len(choices) != 1:
        what = "tip and frame" if len(benches) != 1 else "choices of the analysis"
        raise RecipeError(
            f"The reference materials do not share {what}.",
            where=Where(str(study.path), key="calibration.references"),
            remedy="A calibration is of one tip in one frame under one rule.",
        )
    return next(iter(benches.values())), next(iter(choices))


def _kept(
    readings: Readings, specimens: set[str], state: Effective
) -> tuple[Batch, tuple[tuple[str, str], ...]]:
    """Tests on these specimens; those that a person excluded are left out and named."""
    parts = [p.batch for p in readings.parts if p.specimen in specimens and len(p.batch)]
    batch = join(parts)
    keep, out = [], []
    for i, t in enumerate(batch.tests):
        e = state.exclusion(t.name)
        if e is None:
            keep.append(i)
        else:
            out.append((t.name, f"{e.why} ({e.who}, {e.when})"))
    return batch.take(keep), tuple(out)


def _blocks(
    study: Study, keys: CalibrationKeys, readings: Readings, state: Effective, found: Calibrated
) -> tuple[tuple[CheckedBlock, ...], tuple[tuple[str, str], ...]]:
    c = found.calibration
    used = [r.name for r in c.tests.materials]
    checked: list[CheckedBlock] = []
    excluded: dict[str, str] = {}
    tested: dict[str, tuple[Batch, Reduced]] = {}  # a block may be certified for several quantities
    for b in keys.blocks:
        options = study.options(b.specimen)
        if b.specimen not in tested:
            batch, out = _kept(readings, {b.specimen}, state)
            excluded.update(out)
            nu = study.specimen_nu(b.specimen)
            reduced = reduce_batch(
                batch, c.bench, options, {b.specimen: (float(nu.mean[0]), float(nu.sd[0]))},
                overrides=overrides_of(study, state, batch),
            )  # fmt: skip
            tested[b.specimen] = (batch, reduced)
        batch, reduced = tested[b.specimen]
        a = options.analysis
        v = verify_reduction(
            reduced.tests, _block(b), limits=_limits(b), day=date.fromisoformat(keys.day),
            calibrated_on=used, epsilon=a.epsilon, radial_correction=a.radial_correction,
        )  # fmt: skip
        checked.append(CheckedBlock(b.specimen, batch, reduced, v, study.invented))
    return tuple(checked), tuple(excluded.items())


def _block(b: BlockKeys) -> Block:
    def day(text: str | None) -> date | None:
        return None if text is None else date.fromisoformat(text)

    return Block(
        b.specimen, b.quantity, b.value_GPa * 1e9, b.U_GPa * 1e9, b.k, b.number, day(b.issued),
        day(b.valid_until),
    )  # fmt: skip


def _limits(b: BlockKeys) -> Limits:
    return Limits(b.limit_error_percent / 100, b.limit_repeatability_percent / 100, b.fewest)


def _superseded(study: Study, keys: CalibrationKeys) -> list[Finding]:
    """Packaged values that are kept for older calibrations only."""
    out = []
    for r in keys.references:
        packaged = study.specimen(r.specimen).reference
        material = None if packaged is None or r.E_GPa is not None else materials.load(packaged)
        if material is not None and material.warning:
            out.append(
                Finding(
                    "superseded reference value",
                    f"{material.name}: {material.warning}",
                    f"Name it under [specimens.{r.specimen}], and calibrate again.",
                )
            )
    return out


def _plain(
    keys: CalibrationKeys, found: Calibrated, options: Options, references: dict[str, Reference]
) -> list[Finding]:
    """What a careful reader would ask before looking at any residual."""
    c = found.calibration
    out = []
    tests = len(set(c.tests.test.tolist()))
    if tests < _FEW_TESTS:
        out.append(
            Finding(
                "few tests",
                f"The calibration rests on {tests} test{'s' if tests > 1 else ''}; how much tests "
                "differ from one another can hardly be seen.",
                "Measure five or more on each reference.",
            )
        )
    for r in references.values():
        if r.u_E == 0:
            out.append(
                Finding(
                    "reference taken as exact",
                    f"No uncertainty of the modulus of {r.name} is stated; it counts as exact.",
                    "Give u_E_GPa from its certificate: it goes into every area.",
                )
            )
    if options.drift.method == "none":
        out.append(
            Finding(
                "drift not corrected",
                "Thermal drift is not taken out of the reference tests.",
                "Record a drift hold, and set corrections.drift.method.",
            )
        )
    h = keys.health_h_c_nm
    low, high = c.tip.area.h_min * 1e9, c.tip.area.h_max * 1e9
    if h is not None and not low <= h <= high:
        out.append(
            Finding(
                "health depth outside the range",
                f"The area is to be watched at {h:g} nm, but the tests lie between {low:.3g} and "
                f"{high:.3g} nm.",
                "Choose health_h_c_nm within that range; otherwise the area is a guess.",
                serious=True,
            )
        )
    return out


def _of_blocks(blocks: Sequence[CheckedBlock]) -> list[Finding]:
    out = []
    for b in blocks:
        v = b.verification
        if v.verdict == "pass":
            continue
        out.append(
            Finding(
                "verification failed" if v.verdict == "fail" else "verification undecided",
                f"Block “{b.specimen}”, {v.block.quantity}: {' '.join(v.reasons)}",
                "Do not use the bench for results that count until the cause is found."
                if v.verdict == "fail"
                else "The bench is not verified yet.",
                serious=True,
            )
        )
    if not blocks:
        out.append(
            Finding(
                "not verified",
                "No block verifies the calibration.",
                "Measure a certified block that the calibration does not use.",
            )
        )
    return out


def _noise(study: Study, batch: Batch, found: Calibrated) -> NoiseStudy | None:
    stretches = quiet_stretches(batch, found.reduced.segments)
    return replace(noise_study(stretches), invented=study.invented) if stretches else None
