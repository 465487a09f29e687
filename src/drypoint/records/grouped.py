"""What was set aside, put together by reason: every fault is listed, none twice."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from drypoint.errors import NoResultError, Where
from drypoint.records.layout import SetAside

#: Reasons, and places of one reason, that are shown; the count of the others is given.
REASONS, PLACES = 100, 20


def by_reason(items: Iterable[SetAside]) -> list[list[SetAside]]:
    """Records that were set aside for the same reason with the same remedy, in their order."""
    groups: dict[tuple[str, str], list[SetAside]] = {}
    for s in items:
        groups.setdefault((s.reason, s.remedy), []).append(s)
    return list(groups.values())


def place_of(s: SetAside) -> str:
    """File, line, column and test."""
    place = s.file + (f", line {s.line}" if s.line else "")
    place += f", column {s.column}" if s.column else ""
    return place + (f" (test {s.test})" if s.test else "")


def lines_of(items: Iterable[SetAside], indent: str = "  ") -> list[str]:
    """Lines for people: one for each reason, with its places below where there are several."""
    out: list[str] = []
    groups = by_reason(items)
    for group in groups[:REASONS]:
        s = group[0]
        if len(group) == 1:
            out.append(f"{indent}{place_of(s)}: {s.reason} {s.remedy}".rstrip())
            continue
        out.append(f"{indent}{len(group)} times: {s.reason} {s.remedy}".rstrip())
        out += [f"{indent}  {place_of(one)}" for one in group[:PLACES]]
        if len(group) > PLACES:
            out.append(f"{indent}  and {len(group) - PLACES} more")
    if len(groups) > REASONS:
        rest = sum(map(len, groups[REASONS:]))
        out.append(f"{indent}and {rest} more for other reasons")
    return out


def _problem(group: Sequence[SetAside]) -> tuple[Where, str, str]:
    s = group[0]
    more = "; ".join(place_of(one) for one in group[1:PLACES])
    rest = f"; and {len(group) - PLACES} more" if len(group) > PLACES else ""
    what = f"{s.reason} Also: {more}{rest}." if more else s.reason
    return Where(s.file or None, s.line, s.column, test=s.test), what, s.remedy


def no_result(items: Sequence[SetAside]) -> NoResultError:
    """The error for a study in which nothing could be evaluated: every reason with its places."""
    first = "No test gave a result."
    if not items:
        return NoResultError(first, remedy="Check the files that the study names.")
    groups = by_reason(items)
    problems = tuple(_problem(group) for group in groups[:REASONS])
    if len(items) == 1:
        where, what, remedy = problems[0]
        return NoResultError(f"{first} {what}", where=where, remedy=remedy, problems=problems)
    count = (
        f"{len(items)} were set aside, for {len(groups)} reason{'s' if len(groups) > 1 else ''}:"
    )
    text = "\n".join([f"{first} {count}", *lines_of(items)])
    return NoResultError(text, problems=problems)
