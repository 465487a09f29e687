"""Questions to a ledger, answered with corrections applied."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import LedgerError
from drypoint.ledger.body import Body
from drypoint.ledger.entry import Entry
from drypoint.ledger.fields import day_of, instant, may_follow, moment_of
from drypoint.ledger.kinds import (
    BlockBody,
    CalibrationBody,
    CertificateBody,
    HealthBody,
    MountingBody,
    SignatureBody,
    StudyBody,
    VerificationBody,
)

B = TypeVar("B", bound=Body)
Dated = TypeVar("Dated", CalibrationBody, MountingBody, VerificationBody, HealthBody, StudyBody)
When = str | date | datetime


@dataclass(frozen=True)
class InUse:
    """Which tip a frame had, and the entry that says so. ``tip`` is ``None`` for an empty frame."""

    tip: str | None
    by: Entry[Body]


@dataclass(frozen=True)
class PastDate:
    """An entry that is past its date, and by how many days."""

    entry: Entry[CalibrationBody] | Entry[CertificateBody] | Entry[VerificationBody]
    days: int


@dataclass(frozen=True)
class SinceGood:
    """What used a tip since its last good verification.

    ``good`` is that verification, ``None`` where there was none; ``bad`` are the verifications
    since, which did not pass; ``studies`` those with tests made since, the oldest first.
    """

    tip: str
    good: Entry[VerificationBody] | None
    bad: tuple[Entry[VerificationBody], ...]
    studies: tuple[Entry[StudyBody], ...]


@dataclass(frozen=True)
class Readings:
    """Health of a tip over time, for a control chart: arrays (n,) in order of time, SI.

    ``u_area`` is what varies from check to check; ``entries`` are where the readings come from.
    """

    tip: str
    depth: float
    days: tuple[date, ...]
    area: NDArray[np.float64]
    u_area: NDArray[np.float64]
    entries: tuple[Entry[HealthBody], ...]

    def __len__(self) -> int:
        return len(self.days)


@dataclass(frozen=True)
class Signed(Generic[B]):
    """A signature, and the entry it is under (``None`` where it is of something else).

    ``holds`` is false when another entry stands in the place of the signed one.
    """

    signature: Entry[SignatureBody]
    entry: Entry[B] | None
    holds: bool


class Queries(ABC):
    """What can be asked. :class:`~drypoint.ledger.book.Ledger` has all of it."""

    @abstractmethod
    def current(
        self,
        kind: type[B],
        *,
        name: str | None = None,
        tip: str | None = None,
        frame: str | None = None,
        block: str | None = None,
        calibration: str | None = None,
    ) -> tuple[Entry[B], ...]:
        """Entries of one kind that hold now."""

    @abstractmethod
    def entry(self, number: int) -> Entry[Body]:
        """One entry."""

    @abstractmethod
    def versions(self, number: int) -> tuple[Entry[Body], ...]:
        """An entry with all that stood or stands in its place."""

    @abstractmethod
    def _signed(self, numbers: Iterable[int]) -> tuple[dict[int, Entry[Body]], set[int]]:
        """Entries by number, and which of them have another in their place."""

    def tip_in_use(self, frame: str, at: When) -> InUse | None:
        """The tip in a frame at a date or time: by the last mounting, calibration or check that
        names it; ``None`` where nothing is known. A date means the end of that day."""
        moment = moment_of(at)
        found: list[Entry[MountingBody] | Entry[CalibrationBody] | Entry[VerificationBody]] = [
            *self.current(MountingBody, frame=frame),
            *self.current(CalibrationBody, frame=frame),
            *(v for v in self.current(VerificationBody, frame=frame) if v.body.tip is not None),
        ]
        known = [e for e in found if _by(e.body.on, moment)]
        if not known:
            return None
        last = max(known, key=lambda e: (instant(e.body.on), e.id))
        return InUse(last.body.tip, last)

    def calibration_in_force(self, tip: str, frame: str, at: When) -> Entry[CalibrationBody] | None:
        """The last calibration of a tip in a frame up to a date or time."""
        moment = moment_of(at)
        known = [
            e for e in self.current(CalibrationBody, tip=tip, frame=frame)
            if _by(e.body.on, moment)
        ]  # fmt: skip
        return max(known, key=lambda e: (instant(e.body.on), e.id), default=None)

    def past_date(self, on: When) -> tuple[PastDate, ...]:
        """Calibrations, certificates and verifications whose last day lies before ``on``.

        Of those that follow one another on the same thing only the newest counts.
        """
        today = day_of(moment_of(on))
        newest: dict[
            tuple[object, ...],
            tuple[datetime, int, Entry[CalibrationBody] | Entry[CertificateBody]
                  | Entry[VerificationBody]],
        ] = {}  # fmt: skip

        def put(
            key: tuple[object, ...],
            since: str,
            entry: Entry[CalibrationBody] | Entry[CertificateBody] | Entry[VerificationBody],
        ) -> None:
            item = (instant(since), entry.id, entry)
            if day_of(since) <= today and (key not in newest or newest[key][:2] < item[:2]):
                newest[key] = item

        for c in self.current(CalibrationBody):
            put(("calibration", c.body.tip, c.body.frame), c.body.on, c)
        for d in self.current(CertificateBody):
            put(("certificate", d.body.of, d.body.item, d.body.quantity), d.body.issued, d)
        for v in self.current(VerificationBody):
            put((v.body.how, v.body.tip, v.body.frame, v.body.block), v.body.on, v)
        out = []
        for _, _, entry in newest.values():
            last = entry.body.valid_until
            if last is not None and day_of(last) < today:
                out.append(PastDate(entry, (today - day_of(last)).days))
        return tuple(sorted(out, key=lambda p: p.entry.id))

    def studies_since_good(
        self, tip: str, *, frame: str | None = None, before: When | None = None
    ) -> SinceGood:
        """Studies that used a tip since its last good (passed, indirect) verification.

        Parameters
        ----------
        tip : str
            Name of the tip.
        frame : str, optional
            Only the tip in this frame.
        before : date or time, optional
            Look back from here, for example from the day on which a chart shows the change;
            verifications behind it do not count as the last good one.

        Notes
        -----
        A study counts by its last measurement, or where that is not known by when it was run. On
        the day of the verification, when the order is not known, it counts.
        """
        limit = None if before is None else moment_of(before)
        checks = [
            v for v in self.current(VerificationBody, tip=tip)
            if v.body.how == "indirect" and frame in (None, v.body.frame)
        ]  # fmt: skip
        checks = _in_time(checks)
        passed = [
            v
            for v in checks
            if v.body.verdict == "pass" and (limit is None or not may_follow(v.body.on, limit))
        ]
        good = passed[-1] if passed else None
        since = checks[checks.index(good) + 1 :] if good is not None else checks
        studies = [
            s for s in self.current(StudyBody, tip=tip)
            if frame is None or any((u.tip, u.frame) == (tip, frame) for u in s.body.used)
        ]  # fmt: skip
        after = [
            s
            for s in _in_time(studies)
            if good is None or may_follow(s.body.measured_to or s.body.on, good.body.on)
        ]
        bad = tuple(v for v in since if v.body.verdict != "pass")
        return SinceGood(tip, good, bad, tuple(after))

    def health(
        self, tip: str, *, depth: float | None = None, since: When | None = None
    ) -> Readings:
        """Areas of a tip over time at one contact depth (m), for a control chart.

        Raises
        ------
        LedgerError
            When there are readings at several depths and none is chosen, or none at ``depth``.
        """
        found = _in_time(self.current(HealthBody, tip=tip))
        depths = sorted({e.body.depth_m for e in found})
        shown = ", ".join(f"{d * 1e9:.4g} nm" for d in depths) or "none"
        if depth is None and len(depths) > 1:
            raise LedgerError(
                f"Tip “{tip}” was checked at several depths: {shown}.",
                remedy="Say at which; areas at different depths do not go on one chart.",
            )
        if depth is not None:
            found = [e for e in found if np.isclose(e.body.depth_m, depth, rtol=1e-6, atol=0)]
        if not found:
            at = "" if depth is None else f" at {depth * 1e9:.4g} nm"
            raise LedgerError(
                f"There is no reading of tip “{tip}”{at}.",
                remedy=f"Depths with readings: {shown}. Enter a health reading after each check.",
            )
        if since is not None:
            first = moment_of(since)
            found = [e for e in found if may_follow(e.body.on, first)]
        return Readings(
            tip,
            depths[0] if depth is None else depth,
            tuple(day_of(e.body.on) for e in found),
            np.array([e.body.area_m2 for e in found], dtype=np.float64),
            np.array([e.body.u_area_m2 for e in found], dtype=np.float64),
            tuple(found),
        )

    def signatures(
        self, *, entry: int | None = None, who: str | None = None, sha256: str | None = None
    ) -> tuple[Signed[Body], ...]:
        """Who signed what, in order; of one entry (any of its versions), person or hash."""
        wanted = None if entry is None else {e.id for e in self.versions(entry)}
        found = [
            s
            for s in self.current(SignatureBody)
            if who in (None, s.who)
            and sha256 in (None, s.body.sha256)
            and (wanted is None or s.body.entry in wanted)
        ]
        entries, replaced = self._signed(s.body.entry for s in found if s.body.entry is not None)
        return tuple(
            Signed(s, entries.get(s.body.entry or 0), s.body.entry not in replaced) for s in found
        )

    def blocks(self, on: When) -> tuple[tuple[Entry[BlockBody], bool], ...]:
        """Reference blocks, and whether each has a certificate that is valid on a day."""
        today = day_of(moment_of(on))
        good = {
            c.body.item
            for c in self.current(CertificateBody)
            if c.body.of == "block"
            and day_of(c.body.issued) <= today
            and (c.body.valid_until is None or today <= day_of(c.body.valid_until))
        }
        return tuple((b, b.body.name in good) for b in self.current(BlockBody))


def _by(moment: str, limit: str) -> bool:
    """Whether a moment lies at or before another; a date as limit means the end of that day."""
    end = instant(limit) + (timedelta(days=1) if len(limit) == 10 else timedelta())
    return instant(moment) < end or (len(limit) > 10 and instant(moment) == end)


def _in_time(entries: Iterable[Entry[Dated]]) -> list[Entry[Dated]]:
    return sorted(entries, key=lambda e: (instant(e.body.on), e.id))
