"""Hidden characters are shown, others are left: properties of Unicode from ``unicodedata``."""

from __future__ import annotations

import io
import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from drypoint.visible import VisibleStream, visible, visible_in


def test_every_control_of_unicode_is_shown_and_every_letter_stays() -> None:
    for code in range(0x110000):
        c = chr(code)
        kind, bidi = unicodedata.category(c), unicodedata.bidirectional(c)
        controls = bidi in ("LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI")
        if controls or kind in ("Cs", "Zl", "Zp") or (kind == "Cc" and c not in "\t\n"):
            assert visible(c) == f"[U+{code:04X}]", hex(code)
        elif kind[0] in "LNPSM" or kind == "Zs":
            assert visible(c) == c, hex(code)


@given(st.text())
def test_shown_text_is_stable_and_can_be_written(text: str) -> None:
    once = visible(text)
    assert visible(once) == once
    once.encode("utf-8")


def test_piles_of_marks_and_line_breaks() -> None:
    assert visible("a" + "\u0301" * 30) == "a" + "\u0301" * 30
    assert (
        visible("a" + "\u0301" * 100_000 + "b") == "a" + "\u0301" * 30 + "[99970 combining marks]b"
    )
    assert visible("a\r\nb\rc\td\n") == "a\r\nb[U+000D]c\td\n"
    assert visible_in({"k": ["\u202e", 1, ("\u2066",)]}) == {"k": ["[U+202E]", 1, ("[U+2066]",)]}


def test_a_stream() -> None:
    out = io.StringIO()
    stream = VisibleStream(out)
    print("x\u202ey", file=stream)
    stream.writelines(["\x1b[31m", "µ"])
    assert out.getvalue() == "x[U+202E]y\n[U+001B][31mµ"
