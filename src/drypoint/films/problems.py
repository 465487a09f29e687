"""What the films room refuses."""

from __future__ import annotations

from drypoint.errors import DrypointError

#: End of the sentence by which a model refuses more than one film, or one that slips.
ONE_FILM = "knows one bonded film only."


class FilmError(DrypointError):
    """A question about a film cannot be answered from what was given."""
