"""The page: one HTML file that needs nothing else."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

import bmp
from bmp.report.page_beside import page_beside
from bmp.report.rounding import number
from bmp.report.sections import SECTIONS
from bmp.report.series_style import INK, LOOKS
from bmp.results import Results


def render_page(results: Results, svg: Mapping[str, str], digest: str = "") -> str:
    """Return the whole report as one HTML page.

    Parameters
    ----------
    results : Results
    svg : mapping of str to str
        SVG text by name of the picture, as `save_figures` returns it. A picture that is not there
        is left out.
    digest : str
        SHA-256 of the input, where it came from files.
    """
    drawn = {name: inline_svg(name, text) for name, text in svg.items()}
    sections = [
        (section, content)
        for section in SECTIONS
        if (content := section.content(results)) is not None
    ]
    page = (
        environment()
        .get_template("report.html")
        .render(
            title=results.trial.setup.title,
            sections=sections,
            figures=drawn,
            version=bmp.__version__,
            digest=digest,
        )
    )
    return page_beside(page, results.trial.setup.show_units)


_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=%|°C|NmL\b|NL\b|mL\b|kPa\b|kWh\b|°F|psi\b|inHg\b|cu ft\b|lb\b)"
)


def unbroken(page: str) -> str:
    """Return a page in which no line breaks between a number and its unit."""
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", page)


def inline_svg(name: str, text: str) -> Markup:
    """Return an SVG picture for use inside a page.

    Its ids get the picture's name in front so that two pictures never share one, its ink and its
    series' colours become the page's own, so that they suit a light and a dark screen.
    """
    drawing = text[text.index("<svg") :]
    drawing = re.sub(r"<metadata>.*?</metadata>", "", drawing, flags=re.DOTALL)
    drawing = re.sub(r'\bid="', f'id="{name}-', drawing)
    drawing = drawing.replace("url(#", f"url(#{name}-").replace('href="#', f'href="#{name}-')
    drawing = drawing.replace("fill: #ffffff", "fill: none").replace(INK, "currentColor")
    for place, look in enumerate(LOOKS):
        drawing = drawing.replace(look.colour, f"var(--series-{place})")
    drawing = drawing.replace("<svg ", f'<svg role="img" aria-label="{name.replace("-", " ")}" ', 1)
    drawing = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", drawing, count=1)
    drawing = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", drawing, count=1)
    return Markup(drawing)  # drawn by us from escaped text


@cache
def environment() -> Environment:
    """Return the templates of every page."""
    made = Environment(
        loader=PackageLoader("bmp.report"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    made.filters["number"] = number
    return made
