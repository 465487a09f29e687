"""Views of a study, in the order of the navigation. A new view is one line here."""

from drypoint.app.pages import View
from drypoint.app.views import files, recipe, report, stress, test, tests

VIEWS: tuple[View, ...] = (
    tests.VIEW,
    test.VIEW,
    files.VIEW,
    stress.VIEW,
    report.VIEW,
    recipe.VIEW,
)
