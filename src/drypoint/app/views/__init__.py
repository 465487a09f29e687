"""Views of a study, in the order of the navigation. A new view is one line here."""

from drypoint.app.pages import View
from drypoint.app.views import files, recipe, test, tests

VIEWS: tuple[View, ...] = (
    tests.VIEW,
    test.VIEW,
    files.VIEW,
    recipe.VIEW,
)
