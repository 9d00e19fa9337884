"""The tank's section of the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from bmp.report.tank_rows import ESTIMATE, tank_tables
from bmp.tank.result import TankResult

_TEMPLATE: Final = """\
<section id="tank">
<h2>The main tank</h2>
<p class="verdict">{{ result.verdict }}</p>
<h3>Cautions</h3>
<ul>
{% for caution in result.cautions %}<li>{{ caution }}</li>
{% endfor %}</ul>
<p>{{ estimate }}</p>
{% for name, picture in pictures.items() %}<figure id="{{ name }}">{{ picture | safe }}</figure>
{% endfor %}
{% for table in tables %}<h3>{{ table.title }}</h3>
<table>
<thead><tr>{% for cell in table.header %}<th scope="col">{{ cell }}</th>{% endfor %}</tr></thead>
<tbody>
{% for row in table.rows %}<tr>{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>
{% endfor %}</tbody>
</table>
{% endfor %}
<p>{{ result.ramp_words }}</p>
{% if result.carbon_to_meat %}<p>{{ result.carbon_to_meat }}</p>
{% endif %}<h3>Taken for granted</h3>
<ul>
{% for words in result.assumed %}<li>{{ words }}</li>
{% endfor %}</ul>
</section>
"""


def tank_section(result: TankResult, pictures: Mapping[str, str]) -> str:
    """Return the section as HTML.

    Parameters
    ----------
    result
        The tank's answer; every text of it is escaped.
    pictures
        SVG by name, put in as it is.
    """
    from jinja2 import Environment

    template = Environment(autoescape=True).from_string(_TEMPLATE)
    return template.render(
        result=result, tables=tank_tables(result), pictures=pictures, estimate=ESTIMATE
    )
