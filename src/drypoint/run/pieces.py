"""A long list of files or tests in pieces that are computed and kept by themselves.

Where a piece ends is decided by the content of its last file alone. So a file that is new, changed
or gone moves the ends of its own piece, and all other pieces stay as they are.
"""

from __future__ import annotations

from collections.abc import Sequence

#: Files in a piece, on the average.
USUAL = 32
#: Tests (or files) after which a piece ends in any case.
MOST = 512


def pieces(hashes: Sequence[str], usual: int = USUAL, most: int = MOST) -> list[range]:
    """Cut a list by the SHA-256 of each entry's file; tests of one file stand together.

    Parameters
    ----------
    hashes : sequence of str
        Hexadecimal, one for each entry.

    Returns
    -------
    list of range
        Indices of each piece, in order.
    """
    out = []
    first = 0
    for i, sha in enumerate(hashes):
        last_of_file = i + 1 == len(hashes) or hashes[i + 1] != sha
        ends = last_of_file and int(sha[-8:] or "0", 16) % usual == 0
        if ends or i + 1 - first >= most or i + 1 == len(hashes):
            out.append(range(first, i + 1))
            first = i + 1
    return out
