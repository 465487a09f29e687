"""Reference materials: packaged data files, one per material, each with its source and mark;
and tables of numbers that are shipped."""

from drypoint.materials.library import Material, change, load, names
from drypoint.materials.packaged import packaged_arrays

__all__ = ["Material", "change", "load", "names", "packaged_arrays"]
