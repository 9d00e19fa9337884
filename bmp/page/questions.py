"""The questions of a new trial, as forms: one row a question."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from wtforms import FieldList, Form, FormField, SelectField, StringField
from wtforms.fields import DateTimeLocalField

from bmp.page.own_units import header_in, unit_in
from bmp.page.typed_numbers import in_unit
from bmp.plan.literature import UNKNOWN_FEED
from bmp.plan.plan_request import METHANE_KNOWN_BY, OUTLETS, PLACES, VESSELS
from bmp.plan.request_checks import PLANNED_MEASURES
from bmp.problem import Problem


@dataclass(frozen=True)
class Question:
    """One question and the item of the table `plan` that its answer goes to."""

    name: str
    item: str
    label: str
    hint: str = ""
    default: str = ""
    choices: tuple[str, ...] = ()
    width: str = "short"
    """`short` for a number, `long` for words."""
    kind: str = ""
    """Of `own_units.CHOICES`: its unit, default and example are those that a person chose."""
    example: str = ""
    """A number that the hint names, in the unit of the item."""

    @property
    def of_number(self) -> bool:
        """Tell whether the answer is a number."""
        return not self.choices and self.width == "short" and self.name != "started"

    def in_units(self, units: Mapping[str, str]) -> Question:
        """Return the question as it is asked of a person with those units."""
        item, label = (header_in(text, self.kind, units) for text in (self.item, self.label))
        old, new = unit_in(self.item), unit_in(item)
        example = in_unit(f"{self.example} {old}", new, 2) if self.example else ""
        default = self.default
        if default and old != new:
            default = in_unit(f"{default} {old}", new, 3)
        hint = self.hint.format(example=example)
        return replace(self, item=item, label=label, default=default, hint=hint)


QUESTIONS: Final[tuple[Question, ...]] = (
    Question("title", "title", "What is the trial called?", "", "My trial", width="long"),
    Question("place", "place", "Where is it done?", choices=PLACES),
    Question("started", "started", "When will the jars be closed?", "Empty: count days instead."),
    Question("vessel", "vessel", "What are the jars?", choices=VESSELS),
    Question(
        "outlet",
        "outlet",
        "Outlet between readings",
        "Only a rated bottle may ever be closed.",
        choices=OUTLETS,
    ),
    Question(
        "rating",
        "vessel rating [kPa]",
        "Gauge pressure the bottle is rated for [kPa]",
        kind="pressure in the jar",
    ),
    Question("measured", "measured", "What is read?", choices=PLANNED_MEASURES),
    Question(
        "methane_known_by",
        "methane known by",
        "How will the methane share be found?",
        "None: a share by the kind of feed is assumed, and yields are less certain.",
        choices=("", *METHANE_KNOWN_BY),
    ),
    Question(
        "jar_volume",
        "jar volume [mL]",
        "Inner volume of an empty jar [mL]",
        default="1000",
        kind="size of a jar",
    ),
    Question(
        "collector",
        "collector [mL]",
        "Gas collector of a jar [mL]",
        "Empty: the plan says.",
        kind="gas volume",
    ),
    Question("available", "jars available", "Jars at hand", "Empty: as many as it takes."),
    Question("jars", "jars per material", "Jars of each material", "Empty: the plan chooses."),
    Question("blanks", "blanks", "Jars with inoculum alone (blanks)", "Empty: the plan chooses."),
    Question(
        "control",
        "control",
        "Jars with cellulose, to see whether the inoculum is sound",
        "Empty: where there are jars enough.",
        choices=("", "yes", "no"),
    ),
    Question(
        "scale",
        "scale [g]",
        "Smallest step of the scale [g]",
        "A kitchen scale: {example}.",
        "0.01",
        kind="mass",
        example="1",
    ),
    Question("days", "days", "Days", "", "40"),
    Question("VS", "substrate VS [g]", "VS of feed in a jar [g]", "Empty: the plan chooses."),
    Question("fill", "fill [%]", "How full the jars are [%]", "Empty: the plan chooses."),
    Question(
        "ratio",
        "inoculum to substrate",
        "VS of inoculum to VS of feed",
        "2 in general; up to 4 for food waste, down to 1 for straw.",
        "2",
    ),
    Question(
        "least_feed", "least feed [g]", "Feed below which a jar is no fair sample [g]", kind="mass"
    ),
    Question("scatter", "expected scatter [%]", "Scatter expected between jars [%]", "", "6"),
    Question(
        "room",
        "room temperature [°C]",
        "Temperature of the room [°C]",
        default="20",
        kind="temperature",
    ),
    Question(
        "ambient",
        "ambient [kPa]",
        "Air pressure where you are [kPa]",
        "Empty: by the height.",
        kind="air pressure",
    ),
    Question(
        "temperature",
        "incubation temperature [°C]",
        "Temperature of jars [°C]",
        default="37",
        kind="temperature",
    ),
    Question(
        "altitude",
        "altitude [m]",
        "Height above sea level [m]",
        "For the air pressure.",
        kind="height above sea level",
    ),
)
NO_UNITS: Final[Mapping[str, str]] = {}
ROLES: Final = ("", "inoculum", "substrate", "control")
ROWS_AT_FIRST: Final = 3
MOST_ROWS: Final = 40


def _choices(words: Iterable[str]) -> Any:
    """Return choices whose values are their labels; the library's stubs do not know such."""
    return list(words)


def _field(question: Question) -> Any:
    if question.choices:
        return SelectField(question.label, choices=_choices(question.choices))
    if question.name == "started":
        return DateTimeLocalField(question.label)
    keypad = {"inputmode": "decimal"} if question.of_number else {}
    return StringField(question.label, default=question.default, render_kw=keypad)


_KEYPAD: Final = {"inputmode": "decimal"}


class MaterialForm(Form):
    """One material."""

    material = StringField("Material")
    role = SelectField("Role", choices=_choices(ROLES))
    TS = StringField("TS [% of fresh mass]", render_kw=_KEYPAD)
    VS = StringField("VS [%]", render_kw=_KEYPAD)
    like = SelectField("It is like", choices=_choices(()))
    kg = StringField("At hand [kg]", render_kw=_KEYPAD)
    empty = StringField("Crucible, empty [g]")
    wet = StringField("with sample [g]")
    dry = StringField("after 105 °C [g]")
    ash = StringField("after 550 °C [g]")


COLUMNS: Final[Mapping[str, str]] = {
    "material": "material",
    "role": "role",
    "TS": "TS [% of fresh mass]",
    "VS": "VS [% of {of}]",
    "like": "like",
    "kg": "available [kg]",
}
"""Header in the table `materials` by field of `MaterialForm`."""

CRUCIBLES: Final[Mapping[str, str]] = {
    "empty": "empty [g]",
    "wet": "with sample [g]",
    "dry": "after 105 °C [g]",
    "ash": "after 550 °C [g]",
}
"""Header in the table `crucibles` by field of `MaterialForm`; several crucibles with semicolons."""

PlanForm = type(
    "PlanForm",
    (Form,),
    {
        **{question.name: _field(question) for question in QUESTIONS},
        "VS_of": SelectField("VS is a share of", choices=_choices(("fresh mass", "TS"))),
        "materials": FieldList(
            FormField(MaterialForm), min_entries=ROWS_AT_FIRST, max_entries=MOST_ROWS
        ),
        "__doc__": "All questions of a new trial.",
    },
)


def questions_in(units: Mapping[str, str]) -> tuple[Question, ...]:
    """Return all questions as they are asked of a person with those units."""
    return tuple(question.in_units(units) for question in QUESTIONS)


def plan_form(answers: Any, feeds: Iterable[str], units: Mapping[str, str] = NO_UNITS) -> Any:
    """Return the form with its answers.

    Parameters
    ----------
    answers
        What was typed; empty: the form is filled with what is usual.
    feeds
        Those of the literature, to compare a feed with.
    units
        Of the person's instruments, by kind.
    """
    form = PlanForm(answers)
    form.units = units
    for question in questions_in(units):
        form[question.name].label.text = question.label
        if not answers and question.default:
            form[question.name].data = question.default
    # a feed of which nothing is known stands in for no missing figure
    names = ["", *(name for name in feeds if name != UNKNOWN_FEED)]
    for row in form.materials:
        row.form.like.choices = _choices(names)
        for field in (row.form.kg, *(row.form[name] for name in CRUCIBLES)):
            field.label.text = header_in(field.label.text, "mass", units)
    if not answers:
        form.materials[0].form.role.data = "inoculum"
        for row in list(form.materials)[1:]:
            row.form.role.data = "substrate"
    return form


def answered(form: Any) -> tuple[list[tuple[str, str]], list[list[str]]]:
    """Return the tables `plan` (item, value) and `materials` (with its header) of the answers."""
    asked = questions_in(form.units)
    items = [(q.item, _in_unit(_answer(form[q.name]), q.item)) for q in asked]
    header = [
        header_in(text, "mass" if name == "kg" else "", form.units).format(of=form.VS_of.data)
        for name, text in COLUMNS.items()
    ]
    rows = [
        [
            _in_unit(_answer(row.form[name]), head)
            for name, head in zip(COLUMNS, header, strict=True)
        ]
        for row in _filled(form)
    ]
    return [(item, answer) for item, answer in items if answer], [header, *rows]


def crucibles(form: Any) -> list[list[str]]:
    """Return the table `crucibles` of the answers: its header alone where nobody weighed any."""
    rows = []
    for row in _filled(form):
        split = [
            [one.strip() for one in re.split(r"[;\n]", _answer(row.form[name]))]
            for name in CRUCIBLES
        ]
        count = max(len(one) for one in split)
        if any(any(one) for one in split):
            name = _answer(row.form.material)
            rows += [
                [name, *(one[n] if n < len(one) else "" for one in split)] for n in range(count)
            ]
    headers = [header_in(text, "mass", form.units) for text in CRUCIBLES.values()]
    return [["material", *headers], *rows]


def _in_unit(text: str, header: str) -> str:
    """Return what was typed as a number in the unit of its item: `98 °F`, `1 qt`, `30 %`."""
    unit = unit_in(header)
    return in_unit(text, unit) if unit else text


def _answer(field: Any) -> str:
    raw = field.raw_data[0] if field.raw_data else field.data
    return str(raw or "").strip()


def _filled(form: Any) -> list[Any]:
    return [row for row in form.materials if _answer(row.form.material)]


def place_problems(form: Any, problems: Iterable[Problem]) -> list[str]:
    """Put every problem at its field, and return those that have none."""
    asked = [q for q in QUESTIONS if _answer(form[q.name])]
    filled = _filled(form)
    left = []
    for problem in problems:
        words = f"{problem.what}; {problem.wanted}".replace("`", "")
        field = None
        at = (problem.row or 0) - 2
        if problem.table == "plan.csv" and 0 <= at < len(asked):
            field = form[asked[at].name]
        elif problem.table == "materials.csv" and 0 <= at < len(filled):
            field = filled[at].form[_material_field(problem.column)]
        elif problem.table == "materials.csv":
            field = _named_in(filled, problem.what)
        if field is None:
            left.append(words)
        else:
            field.errors = [*field.errors, words]
    return left


def _named_in(filled: list[Any], words: str) -> Any:
    """Return the field of the material that a problem without a row names."""
    for row in filled:
        if f"material {_answer(row.form.material)}" in words:
            return row.form.VS if "VS" in words else row.form.material
    return None


def _material_field(column: str | None) -> str:
    name = (column or "material").partition("[")[0].strip()
    return next(
        (field for field, header in COLUMNS.items() if header.partition("[")[0].strip() == name),
        "material",
    )
