"""The questions of a new trial, as forms: one row a question."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from wtforms import FieldList, Form, FormField, SelectField, StringField
from wtforms.fields import DateTimeLocalField

from bmp.plan.wish_checks import PLANNED_MEASURES
from bmp.plan.wishes import OUTLETS, PLACES, VESSELS
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
    Question("rating", "vessel rating [kPa]", "Gauge pressure the bottle is rated for [kPa]"),
    Question("measured", "measured", "What is read?", choices=PLANNED_MEASURES),
    Question("jar_volume", "jar volume [mL]", "Inner volume of an empty jar [mL]", "", "1000"),
    Question("collector", "collector [mL]", "Gas collector of a jar [mL]", "Empty: the plan says."),
    Question("jars", "jars per material", "Jars of each material", "", "3"),
    Question("available", "jars available", "Jars at hand", "Empty: as many as it takes."),
    Question("days", "days", "Days", "", "40"),
    Question("VS", "substrate VS [g]", "VS of feed in a jar [g]", "Empty: the plan chooses."),
    Question("temperature", "incubation temperature [°C]", "Temperature of jars [°C]", "", "37"),
    Question("altitude", "altitude [m]", "Height above sea level [m]", "For the air pressure."),
)
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
    return StringField(question.label, default=question.default)


class MaterialForm(Form):
    """One material."""

    material = StringField("Material")
    role = SelectField("Role", choices=_choices(ROLES))
    TS = StringField("TS [% of fresh mass]")
    VS = StringField("VS [%]")
    like = SelectField("It is like", choices=_choices(()))
    kg = StringField("At hand [kg]")


COLUMNS: Final[Mapping[str, str]] = {
    "material": "material",
    "role": "role",
    "TS": "TS [% of fresh mass]",
    "VS": "VS [% of {of}]",
    "like": "like",
    "kg": "available [kg]",
}
"""Header in the table `materials` by field of `MaterialForm`."""

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


def plan_form(answers: Any, feeds: Iterable[str]) -> Any:
    """Return the form with its answers; `feeds` are the literature's, to compare a feed with."""
    form = PlanForm(answers)
    names = ["", *feeds]
    for row in form.materials:
        row.form.like.choices = _choices(names)
    if not answers:
        form.materials[0].form.role.data = "inoculum"
        for row in list(form.materials)[1:]:
            row.form.role.data = "substrate"
    return form


def answered(form: Any) -> tuple[list[tuple[str, str]], list[list[str]]]:
    """Return the tables `plan` (item, value) and `materials` (with its header) of the answers."""
    items = [(q.item, _answer(form[q.name])) for q in QUESTIONS]
    header = [text.format(of=form.VS_of.data) for text in COLUMNS.values()]
    rows = [[_answer(row.form[name]) for name in COLUMNS] for row in _filled(form)]
    return [(item, answer) for item, answer in items if answer], [header, *rows]


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
        words = f"{problem.what}; {problem.wanted}"
        field = None
        at = (problem.row or 0) - 2
        if problem.table == "plan.csv" and 0 <= at < len(asked):
            field = form[asked[at].name]
        elif problem.table == "materials.csv" and 0 <= at < len(filled):
            field = filled[at].form[_material_field(problem.column)]
        if field is None:
            left.append(words)
        else:
            field.errors = [*field.errors, words]
    return left


def _material_field(column: str | None) -> str:
    name = (column or "material").partition("[")[0].strip()
    return next(
        (field for field, header in COLUMNS.items() if header.partition("[")[0].strip() == name),
        "material",
    )
