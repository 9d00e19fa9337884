"""The web application: pages, guard and templates put together."""

from __future__ import annotations

import mimetypes
from pathlib import Path
from typing import Any, Final

from flask import Flask, render_template, request
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException

from bmp.page import (
    compare_view,
    guide,
    own_sheet,
    readings_view,
    table_view,
    trial_list,
    trial_view,
)
from bmp.page.folder_state import Site, spoken
from bmp.page.guard import LARGEST_UPLOAD_BYTES, Access, install
from bmp.page.reasons import reason
from bmp.page.results_to_date import Analyses
from bmp.page.worker import Run, directly
from bmp.problem import UnusableInput

KINDS: Final = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
"""Said here: some Windows computers call a script plain text, and no browser runs that."""


def make_app(root: Path, access: Access, only: str = "", run: Run = directly) -> Flask:
    """Return the application over a folder of trials.

    Parameters
    ----------
    root
        The folder; it must be there.
    access
        Who may ask.
    only
        Name of the one trial to show.
    run
        How what takes long is called.
    """
    app = Flask(__name__, static_folder="static", template_folder="templates")
    app.config.update(
        MAX_CONTENT_LENGTH=LARGEST_UPLOAD_BYTES,
        MAX_FORM_MEMORY_SIZE=2_000_000,
        MAX_FORM_PARTS=5_000,
        TRUSTED_HOSTS=None,
    )
    # a name that is not there is an error, never a blank
    app.jinja_options = {
        "trim_blocks": True,
        "lstrip_blocks": True,
        "undefined": StrictUndefined,
    }
    app.extensions["bmp"] = Site(root.resolve(), {only} if only else set(), Analyses(run), run)
    app.extensions["bmp-access"] = access
    install(app, access)
    for ending, kind in KINDS.items():
        mimetypes.add_type(kind, ending)
    app.register_blueprint(trial_list.pages)
    app.register_blueprint(compare_view.pages)
    app.register_blueprint(guide.pages)
    for pages in (trial_view.pages, readings_view.pages, table_view.pages, own_sheet.pages):
        app.register_blueprint(pages, url_prefix="/trials/<name>")
    app.add_template_filter(spoken, "spoken")
    app.add_template_global(guide.page_of, "guide_page")
    app.add_template_global(app.extensions["bmp"].behind, "behind")
    _register_errors(app)
    return app


def _register_errors(app: Flask) -> None:
    @app.errorhandler(HTTPException)
    def http_error(error: HTTPException) -> Any:
        words = error.description or "This is not possible."
        if error.code == 413:
            words = f"A workbook may have at most {LARGEST_UPLOAD_BYTES // 1_000_000} MB."
        return _answer(words, error.code or 500)

    @app.errorhandler(UnusableInput)
    def unusable(error: UnusableInput) -> Any:
        return _answer("; ".join(str(p) for p in error.problems[:3]), 422)

    @app.errorhandler(OSError)
    def not_kept(error: OSError) -> Any:
        return _answer(f"Not kept: {reason(error)}.", 507)

    @app.errorhandler(Exception)
    def unknown(error: Exception) -> Any:
        app.logger.exception("a page failed")
        return _answer(f"This failed ({reason(error)}).", 500)


def _answer(words: str, status: int) -> Any:
    if request.accept_mimetypes.best == "application/json":
        return {"words": words}, status
    if status == 401:
        return render_template("code.html", words=words), status
    return render_template("error.html", words=words, status=status), status
