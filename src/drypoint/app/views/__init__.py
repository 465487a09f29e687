"""Views of a study, in the order of the navigation. A new view is one line here."""

from drypoint.app.pages import View
from drypoint.app.views import (
    bench,
    budget,
    depth,
    files,
    recipe,
    report,
    scratch,
    stress,
    test,
    tests,
)

VIEWS: tuple[View, ...] = (
    tests.VIEW,
    test.VIEW,
    depth.VIEW,
    scratch.VIEW,
    bench.VIEW,
    stress.VIEW,
    budget.VIEW,
    report.VIEW,
    files.VIEW,
    recipe.VIEW,
)
