"""The version of Drypoint, for provenance; the rooms take it from here."""

__version__ = "0.1.0.dev0"
