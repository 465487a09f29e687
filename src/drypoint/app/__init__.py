"""The workbench: pages on this machine over the same studies, functions and results as the command
line. ``create_app`` makes the application, ``serve`` runs it. No physics and no units live here.
"""

from drypoint.app.create import create_app
from drypoint.app.settings import Settings

__all__ = ["Settings", "create_app"]
