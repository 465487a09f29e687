"""Reference materials: packaged data files, one per material, each with its source and mark."""

from drypoint.materials.library import Material, change, load, names

__all__ = ["Material", "change", "load", "names"]
