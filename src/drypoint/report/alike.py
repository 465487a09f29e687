"""Sentences that differ in their numbers only, said once with the span of each number."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence

#: A number that stands alone: not part of a name such as ``F-01`` or ``h2``.
_NUMBER = re.compile(r"(?<![\w.,-])[-−]?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w-])")


def alike(sentences: Sequence[str]) -> list[tuple[str, list[int]]]:
    """Group sentences that differ in their numbers only.

    Returns, in order of first appearance, the sentence of each group and the indices of its
    members. A number that differs among them stands as its smallest to its largest value, as
    written.
    """
    groups: dict[str, list[int]] = defaultdict(list)
    for k, sentence in enumerate(sentences):
        groups[_NUMBER.sub("\0", sentence)].append(k)
    return [(_together(form, [sentences[k] for k in of]), of) for form, of in groups.items()]


def _together(form: str, sentences: list[str]) -> str:
    columns = zip(*(_NUMBER.findall(s) for s in sentences), strict=True)
    parts = form.split("\0")
    spans = [_span(column) for column in columns]
    return parts[0] + "".join(a + b for a, b in zip(spans, parts[1:], strict=True))


def _span(numbers: Sequence[str]) -> str:
    low, high = (f(numbers, key=lambda n: float(n.replace("−", "-"))) for f in (min, max))
    return low if low == high else f"{low} to {high}"
