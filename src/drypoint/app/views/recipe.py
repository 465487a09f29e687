"""The study file itself: read, checked while it is changed, written when it is right."""

from __future__ import annotations

from drypoint.app.pages import View

VIEW = View("recipe", "Study file", of="any")
