"""What the command ``calibrate`` does."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from drypoint.cli.show import set_aside_lines, table
from drypoint.cli.work import watching
from drypoint.recipe import load_study
from drypoint.uncertainty.rounding import round_pair

if TYPE_CHECKING:
    from drypoint.run.bench_result import Acceptance, BenchResult


@dataclass(frozen=True)
class Wish:
    """What is asked of ``calibrate`` beside the study."""

    accept: bool
    who: str
    why: str
    despite: str
    when: str
    ledger: str | None
    no_ledger: bool
    out: Path | None
    report: bool


def calibrate_command(path: Path, wish: Wish) -> int:
    """Calibrate, print the verdict, write proposal and report; with ``accept`` register it."""
    from drypoint.run.bench_tables import write_bench
    from drypoint.run.calibrating import calibrate_study
    from drypoint.run.registering import accept_calibration, acceptance_of, check_acceptance

    study = load_study(path)
    with watching(False) as watch:
        result = calibrate_study(study, watch=watch)
        write_bench(result, study.results)
    print("\n".join(verdict_lines(result)))
    said = acceptance_of(result)
    if wish.accept:
        book = None
        check_acceptance(result, who=wish.who, despite=wish.despite, when=wish.when)
        if not wish.no_ledger:
            from drypoint.ledger import Ledger

            book = Ledger.open(wish.ledger)
        accepted = accept_calibration(
            result, who=wish.who, why=wish.why, despite=wish.despite, when=wish.when, ledger=book
        )
        said = accepted.acceptance
        print(f"Accepted by {wish.who}: {accepted.path}")
        print(f"SHA-256 of the file: {said.sha256}")
        if book is not None:
            print(f"{accepted.entries} entries are new in the ledger {book.place}.")
    if wish.report:
        from drypoint.report import write_calibration_html, write_calibration_pdf

        folder = wish.out or study.reports
        folder.mkdir(parents=True, exist_ok=True)
        with watching(False) as watch:
            watch.at("writing", 0, 2, "report")
            write_calibration_html(result, folder / "calibration.html", accepted=said)
            write_calibration_pdf(result, folder / "calibration.pdf", accepted=said)
        print(f"Report: {folder}")
    if not wish.accept:
        print("\n".join(_standing_lines(path, result, said)))
    return 3 if result.set_aside else 0


def _standing_lines(path: Path, result: BenchResult, said: Acceptance | None) -> list[str]:
    """Who accepted the calibration, also on the page; else what to do next."""
    if said is not None:
        on = said.when.replace("T", " ").replace("Z", " UTC")
        return [
            f"This calibration is accepted, by {said.who} on {on}: {said.why}",
            f"SHA-256 of the file: {said.sha256}",
        ]
    out = [f"A proposal, for looking at: {result.study.results / 'proposal.toml'}"]
    if result.obstacles:
        return [
            *out,
            "Next: mend what is serious and calibrate again; or accept it for a reason:",
            f"  drypoint calibrate {path} --accept --who NAME --despite REASON",
        ]
    return [*out, f"Next: drypoint calibrate {path} --accept --who NAME"]


def verdict_lines(result: BenchResult) -> list[str]:
    """Frame, area, verification and findings in a few lines."""
    c = result.calibrated.calibration
    out = []
    if result.study.file.study.invented:
        out.append("The data of this study are invented.")
    value, u = round_pair(c.frame.compliance * 1e6, c.frame.u_compliance * 1e6)
    out.append(f"Frame compliance {value} nm/mN, standard uncertainty {u} nm/mN.")
    low, high = c.tip.area.h_min, c.tip.area.h_max
    rows = []
    for h in (low, (low * high) ** 0.5, high):
        A, u_A = c.area(h)
        a, ua = round_pair(float(A[0]) * 1e12, float(u_A[0]) * 1e12)
        rows.append([f"{h * 1e9:.3g} nm", f"{a} µm²", f"{ua} µm²"])
    out += table(["contact depth", "area", "standard uncertainty"], rows).splitlines()
    out.append("Reference materials: " + "; ".join(m.words for m in c.tests.materials) + ".")
    by = "; ".join(c.identification.by)
    out.append(f"Tip and frame told apart by {by}; {len(c.tests)} unloadings.")
    for b in result.blocks:
        v = b.verification
        out.append(
            f"Block {b.specimen}, {v.block.quantity}: {v.verdict}. Error "
            f"{100 * v.relative_error:+.1f} % (U = {100 * v.U_error / v.block.value:.1f} %, limit "
            f"{100 * v.limits.error:g} %), E_n = {v.E_n:.2f}, {v.n} tests."
        )
    out.append(f"Verdict of the blocks: {result.verdict}.")
    if result.noise is not None:
        out += [*result.noise.sentences]
    for f in result.findings:
        out.append(f"{'SERIOUS: ' if f.serious else 'Finding: '}{f}")
    out += [f"Left out: {t}: {w}" for t, w in result.excluded]
    out += [f"Note: {n}" for n in result.notes]
    if result.set_aside:
        out.append(f"{len(result.set_aside)} set aside:")
        out += set_aside_lines(result.set_aside)
    return out
