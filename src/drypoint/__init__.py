"""Hardness and modulus from instrumented-indentation and scratch records, with uncertainty."""

__version__ = "0.1.0.dev0"
