"""Objects of an HDF5 file by their names, one link after the other, never out of the file.

The hash of a file covers what lies in it. An external link, a soft link that leads through one, or
any other way to an object of another file is refused and named.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import h5py

#: Soft links that may stand one behind the other.
_HOPS = 16


class Own:
    """What lies in one opened file. ``refused`` are the names that led elsewhere."""

    def __init__(self, file: h5py.File) -> None:
        import h5py

        self.file = file
        self.refused: dict[str, None] = {}
        self._number = h5py.h5o.get_info(file["/"].id).fileno

    def get(self, group: h5py.Group, name: str) -> Any:
        """A group or dataset by its name in a group; ``None`` where there is none in this file."""
        hops = [0]
        item = self._follow(group, name, hops)
        if item is None and hops[0] < 0:
            self.refused[f"{str(group.name).rstrip('/')}/{name.lstrip('/')}"] = None
        return item

    def children(self, group: h5py.Group) -> Iterator[tuple[str, Any]]:
        """Groups and datasets right in a group, with their names there."""
        for key in group:
            item = self.get(group, key)
            if item is not None:
                yield str(key), item

    def _follow(self, group: h5py.Group, name: str, hops: list[int]) -> Any:
        """Part by part. A negative count of hops says that the way led out of the file."""
        import h5py

        here: Any = self.file["/"] if name.startswith("/") else group
        for part in (p for p in name.split("/") if p not in ("", ".")):
            if not isinstance(here, h5py.Group):
                return None
            try:
                link = here.get(part, getlink=True)
            except KeyError:
                return None
            except TypeError:  # a kind of link that the library does not know
                hops[0] = -1
                return None
            if isinstance(link, h5py.ExternalLink):
                hops[0] = -1
                return None
            if isinstance(link, h5py.SoftLink):
                hops[0] += 1
                if hops[0] > _HOPS:
                    return None
                here = self._follow(here, str(link.path), hops)
            elif isinstance(link, h5py.HardLink):
                here = self._hard(here, part, hops)
            else:
                return None
            if here is None:
                return None
        return here

    def _hard(self, group: h5py.Group, part: str, hops: list[int]) -> Any:
        import h5py

        item = group.get(part)
        if not isinstance(item, (h5py.Group, h5py.Dataset)):
            return None
        if h5py.h5o.get_info(item.id).fileno != self._number:
            hops[0] = -1
            return None
        return item


def numbers_elsewhere(data: h5py.Dataset) -> bool:
    """Whether the numbers of a dataset lie in other files (or may, by a virtual dataset)."""
    return bool(data.external) or bool(data.is_virtual)
