"""The first screen for a notebook: the template of the report, with a style of its own."""

from __future__ import annotations

from bmp.report.page import environment, unbroken
from bmp.report.sections import answer
from bmp.results import Results


def first_screen_html(results: Results) -> str:
    """Return the answer as HTML that needs nothing of the page around it."""
    made: str = (
        environment()
        .get_template("notebook.html")
        .render(title=results.trial.setup.title, c=answer(results))
    )
    return unbroken(made)
