"""An invented bench for the tests of the ledger."""

from __future__ import annotations

from drypoint.ledger import (
    BlockBody,
    Body,
    CalibrationBody,
    Entry,
    FrameBody,
    HealthBody,
    Ledger,
    StudyBody,
    TipBody,
    Used,
    VerificationBody,
)

WHO, WHY = "A. Person", "test"
HASH = "ab" * 32


def put(ledger: Ledger, *bodies: Body) -> list[Entry[Body]]:
    """Accept bodies in one go."""
    return [*ledger.accept_all([ledger_draft(b) for b in bodies], WHO, WHY)]


def ledger_draft(body: Body):  # type: ignore[no-untyped-def]
    """A draft that is only checked when it is written."""
    from drypoint.ledger import Draft

    return Draft(body)


def bench(ledger: Ledger) -> None:
    """Two tips, a frame, a block: entries 1 to 4."""
    put(
        ledger,
        TipBody(name="B1", shape="modified Berkovich", serial="T-0042"),
        TipBody(name="B2", shape="Berkovich"),
        FrameBody(name="F"),
        BlockBody(name="glass", material="fused silica"),
    )


def calibration(n: int = 1, *, tip: str = "B1", on: str = "2026-01-10", **more: object) -> Body:
    return CalibrationBody(tip=tip, frame="F", on=on, text=f"calibration = {n}\n", **more)  # type: ignore[arg-type]


def verification(on: str, verdict: str = "pass", *, tip: str = "B1") -> Body:
    return VerificationBody(
        how="indirect", on=on, verdict=verdict, tip=tip, frame="F", block="glass"
    )  # type: ignore[arg-type]


def study(name: str, on: str, *, tip: str = "B1", frame: str = "F", **more: object) -> Body:
    return StudyBody(
        name=name,
        recipe_sha256=HASH,
        results_sha256=HASH,
        used=(Used(tip=tip, frame=frame),),
        version="0.1",
        on=on,
        **more,  # type: ignore[arg-type]
    )


def health(on: str, area: float, *, depth: float = 200e-9, tip: str = "B1") -> Body:
    return HealthBody(tip=tip, frame="F", on=on, depth_m=depth, area_m2=area, u_area_m2=1e-15)
