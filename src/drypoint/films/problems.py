"""What the films room refuses."""

from __future__ import annotations

from drypoint.errors import DrypointError


class FilmError(DrypointError):
    """A question about a film cannot be answered from what was given."""
