"""Reference materials: packaged data files, one per material, each with its source and mark."""

from drypoint.materials.library import Material, load, names

__all__ = ["Material", "load", "names"]
